//! What a label lists: INCI names by falling weight, the 1 % line, colours last, fragrance allergens over their threshold.
//!
//! Regulation (EC) 1223/2009, Article 19(1)(g): ingredients in descending order of weight when they are added; those under 1 % in any
//! order after those of more; colours, but for those of hair, in any order after all others. Fragrance stands as `Parfum`, its allergens
//! by name beyond a threshold. What has no INCI name is listed with what is missing, never left out.

use crate::formula::allergens::{self as known_allergens, is_perfume};
use crate::formula::{Formula, Function, Ingredient, Item, Line, beyond_tables, is_water_name};
use crate::source::{CalendarDate, same_word, without_brackets, words};
use crate::tables::{Allergen, AllergenKind, FormulaTables};

words! {
    /// Where an ingredient stands in the list.
    pub enum Group {
        /// By falling weight.
        Falling = "falling",
        /// Under 1 %: in any order.
        UnderOnePct = "under-1-pct",
        /// A colour: in any order, last.
        Colour = "colour",
    }
}

/// An entry of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct ListedName {
    /// INCI name, or what is missing, in brackets.
    pub inci: String,
    /// % w/w of the scrub when it is added.
    pub pct: f64,
    /// Where it stands.
    pub group: Group,
    /// Whether it is a name that a label can bear.
    pub known: bool,
    /// What brings it.
    pub of: Vec<String>,
}

/// A fragrance allergen that is in the scrub.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundAllergen<'t> {
    /// Its row.
    pub row: &'t Allergen,
    /// % w/w of the scrub.
    pub pct: f64,
    /// From this much it is named, % w/w.
    pub limit_pct: f64,
    /// Whether it is named.
    pub listed: bool,
}

/// The list of a label.
#[derive(Debug, Clone, PartialEq)]
pub struct Label<'t> {
    /// In the order of the label.
    pub entries: Vec<ListedName>,
    /// Fragrance allergens, by falling weight.
    pub allergens: Vec<FoundAllergen<'t>>,
    /// What is missing, each with what to give.
    pub open: Vec<String>,
    /// What was taken to be so.
    pub assumed: Vec<String>,
}

/// Where the order of the list is law.
const LIST_REGIONS: [&str; 1] = ["EU"];

/// Shares under this stand in any order.
const ONE_PCT: f64 = 1.0;

/// INCI name of water.
const WATER: &str = "Aqua";

/// INCI name of a fragrance.
const PARFUM: &str = "Parfum";

/// INCI name of a flavour, which stands by that name.
const AROMA: &str = "Aroma";

/// A substance that a line brings.
struct LabelPiece {
    /// INCI name, or why there is none.
    name: Result<String, String>,
    pct: f64,
    colour: bool,
}

impl<'t> Label<'t> {
    /// The list for a product that is made on a day, and new on the market when it says, or then; without a day every rule of the
    /// tables counts. It goes by the law of the European Union; what the tables do not hold of another market is open.
    pub fn new(formula: &Formula, tables: &'t FormulaTables, date: Option<CalendarDate>) -> Self {
        let mut entries: Vec<ListedName> = Vec::new();
        let (mut open, mut assumed) = (Vec::new(), Vec::new());
        for line in formula.lines().into_iter().filter(|l| l.pct > 0.0) {
            for piece in pieces(&line, tables, &mut open, &mut assumed) {
                add(&mut entries, piece, line.name());
            }
        }
        if formula.phases().is_empty() {
            let why = "everything but the powders";
            let piece =
                LabelPiece { name: Err(why.to_owned()), pct: 100.0 - formula.scrub().load.get(), colour: false };
            open.push(
                "the file lists no ingredients beside the powders; add [[phase]] with [[phase.ingredient]]".to_owned(),
            );
            add(&mut entries, piece, "base");
        }
        let allergens = allergens(formula, tables, date);
        for found in allergens.iter().filter(|a| a.listed) {
            // What is listed in its own right already gets what other ingredients bring of it.
            let own: f64 = entries.iter().filter(|e| found.row.is(&e.inci)).map(|e| e.pct).sum();
            if found.pct > own * (1.0 + 1e-9) {
                let piece = LabelPiece { name: Ok(found.row.word.clone()), pct: found.pct - own, colour: false };
                add(&mut entries, piece, "fragrance allergens");
            }
        }
        let beyond = |covered: &[&str], what| beyond_tables(&formula.usage, covered, what);
        open.extend(beyond(&known_allergens::REGIONS, "list of allergens"));
        open.extend(beyond(&LIST_REGIONS, "rules for a list of ingredients (names, order, language)"));
        // A plant's oil stands under its own name; the rule on allergens has another for it.
        for entry in &entries {
            let row = allergens.iter().filter(|a| a.listed).map(|a| a.row).find(|row| row.is(&entry.inci));
            if let Some(row) = row.filter(|row| !same_word(&row.word, &entry.inci)) {
                let word = &row.word;
                open.push(format!(
                    "{}: the rule on allergens names it {word}; ask which of both the list is to bear",
                    entry.inci
                ));
            }
        }
        open.extend(untold(formula, tables));
        open.extend(strange(formula, tables));
        // Stable: what weighs the same keeps the order of the file.
        entries.sort_by(|a, b| a.group.cmp(&b.group).then(b.pct.total_cmp(&a.pct)));
        Self { entries, allergens, open, assumed }
    }

    /// The list as it is printed.
    pub fn list(&self) -> String {
        self.entries.iter().map(|e| e.inci.as_str()).collect::<Vec<_>>().join(", ")
    }

    /// Whether every entry has a name that a label can bear.
    pub fn is_complete(&self) -> bool {
        self.entries.iter().all(|e| e.known)
    }
}

/// Adds a substance to the list, to what is there of it.
fn add(entries: &mut Vec<ListedName>, piece: LabelPiece, of: &str) {
    let (inci, known) = match piece.name {
        Ok(name) => (name, true),
        Err(missing) => (format!("[INCI name missing: {missing}]"), false),
    };
    // With its common name in brackets and without it is one.
    let bare = without_brackets(&inci);
    match entries.iter_mut().find(|e| same_word(&without_brackets(&e.inci), &bare)) {
        Some(entry) => {
            if entry.inci.len() < inci.len() {
                entry.inci = inci;
            }
            entry.pct += piece.pct;
            entry.of.push(of.to_owned());
            // A colour that is there for something else too is listed with the rest.
            if !piece.colour {
                entry.group = Group::Falling;
            }
        }
        None => {
            let group = if piece.colour { Group::Colour } else { Group::Falling };
            entries.push(ListedName { inci, pct: piece.pct, group, known, of: vec![of.to_owned()] })
        }
    }
    for entry in entries.iter_mut().filter(|e| e.group != Group::Colour) {
        entry.group = if entry.pct < ONE_PCT { Group::UnderOnePct } else { Group::Falling };
    }
}

/// The substances of a line; what is missing or assumed goes into the lists.
fn pieces(line: &Line, tables: &FormulaTables, open: &mut Vec<String>, assumed: &mut Vec<String>) -> Vec<LabelPiece> {
    let colour = line.is(Function::Colour) || is_colour_alone(line);
    let piece = |name, pct| LabelPiece { name, pct, colour };
    let missing = |why: String, open: &mut Vec<String>| {
        open.push(why);
        vec![piece(Err(line.name().to_owned()), line.pct)]
    };
    let ingredient = match line.item {
        Item::Ingredient(ingredient) => Some(ingredient),
        Item::Powder(..) => None,
    };
    if ingredient.is_some_and(|i| !i.parts.is_empty()) {
        return line.substances().filter_map(|s| Some(piece(Ok(spelt(s.inci()?)), s.pct()))).collect();
    }
    let Some(inci) = line.inci().map(str::trim).filter(|i| !i.is_empty()) else {
        let give = if ingredient.is_some() { "give inci, or parts = [{ inci, pct }] of a blend" } else { "give inci" };
        return missing(format!("{}: its INCI name is missing; {give}", line.name()), open);
    };
    if is_blend(inci, tables) {
        let why =
            format!("{}: \"{inci}\" is a blend whose shares are missing; give parts = [{{ inci, pct }}]", line.name());
        open.push(why);
        return vec![piece(Err(format!("shares of {inci}")), line.pct)];
    }
    if ingredient.is_some_and(Ingredient::is_water) {
        return vec![piece(Ok(WATER.to_owned()), line.pct)];
    }
    if colour && !inci.to_lowercase().starts_with("ci ") {
        open.push(format!(
            "{}: a colour stands by its Colour Index number (CI ...) where it has one; look it up",
            line.name()
        ));
    }
    let solvent = line.pct - line.active_pct();
    let mut all = vec![piece(Ok(spelt(inci)), line.active_pct())];
    if solvent > 1e-9 {
        assumed.push(format!("what {} is dissolved in is taken to be water", line.name()));
        all.push(LabelPiece { name: Ok(WATER.to_owned()), pct: solvent, colour: false });
    }
    all
}

/// Whether an INCI name is that of several substances. A slash and a comma stand within names too, so a slash tells only where what is
/// beside it is water or a preservative, a comma where a space follows.
fn is_blend(inci: &str, tables: &FormulaTables) -> bool {
    let is_known = |name: &str| {
        let is_preservative = || tables.preservatives.iter().any(|p| p.names.len() == 1 && same_word(&p.inci, name));
        is_water_name(name) || is_preservative()
    };
    let is_slashed = || inci.contains('/') && !is_water_name(inci) && inci.split('/').any(is_known);
    let joined = [" + ", " & ", ", ", ";"].iter().any(|mark| inci.contains(mark));
    joined || inci.to_lowercase().contains("(and)") || is_slashed()
}

/// Whether a line is told by its number in the Colour Index and by no function: a colour and nothing else.
fn is_colour_alone(line: &Line) -> bool {
    let Item::Ingredient(ingredient) = line.item else { return false };
    let digits = line.inci().and_then(|inci| inci.trim().strip_prefix("CI ")).unwrap_or_default();
    ingredient.functions.is_empty() && digits.len() == 5 && digits.bytes().all(|b| b.is_ascii_digit())
}

/// A name as the list spells it.
fn spelt(inci: &str) -> String {
    match inci.trim() {
        inci if is_water_name(inci) => WATER.to_owned(),
        inci if is_perfume(inci) && inci.to_lowercase().contains("flavo") => AROMA.to_owned(),
        inci if is_perfume(inci) && !inci.eq_ignore_ascii_case(AROMA) => PARFUM.to_owned(),
        inci => inci.to_owned(),
    }
}

/// Fragrance allergens that the formula is known to hold.
fn allergens<'t>(formula: &Formula, tables: &'t FormulaTables, date: Option<CalendarDate>) -> Vec<FoundAllergen<'t>> {
    let rinsed = formula.usage.rinse_off == Some(true);
    let of = |row: &'t Allergen| {
        let pct = known_allergens::pct(formula, row);
        let limit_pct = if rinsed { row.rinse_pct } else { row.leave_pct };
        let in_force = row.is_named_on(formula.usage.on_market, date);
        (pct > 0.0).then_some(FoundAllergen { row, pct, limit_pct, listed: in_force && pct > limit_pct })
    };
    let rows = tables.allergens.iter().filter(|a| a.kind == AllergenKind::Fragrance);
    let mut found: Vec<FoundAllergen> = rows.filter_map(of).collect();
    found.sort_by(|a, b| b.pct.total_cmp(&a.pct));
    found
}

/// Of whose fragrance allergens nothing is said.
fn untold(formula: &Formula, tables: &FormulaTables) -> Option<String> {
    let names = known_allergens::untold(formula, &tables.allergens);
    let give = "ask for the allergens and give allergens = [{ inci, pct }], pct = 0 for what its certificate denies";
    (!names.is_empty()).then(|| format!("{}: nothing is said of its fragrance allergens; {give}", names.join(", ")))
}

/// Declared allergens that the table does not hold.
fn strange(formula: &Formula, tables: &FormulaTables) -> Option<String> {
    let names = known_allergens::strangers(formula, &tables.allergens);
    let look = "not in the allergens table; look up whether it is to be named, it is not in the list";
    (!names.is_empty()).then(|| format!("{}: {look}", names.join(", ")))
}
