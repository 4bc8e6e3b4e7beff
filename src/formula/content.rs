//! What acid a formula holds, and which bases stand against it.

use super::allergens::{is_aromatic, is_perfume};
use super::balance::{Balance, Ion, Protolyte, Sparing, free_share};
use super::by_name::{blends_a_base, carbonate, proton_kind};
use super::{AcidPlan, Formula, Function, Ingredient, Item, Kind, Line, Substance};
use crate::source::{same_word, substances_of, without_brackets};
use crate::tables::{
    Acid, AcidKind, FormulaTables, Neutraliser, NeutraliserKind, Origin, ProtolyteRow, ProtonKind, Status,
};
use serde::Serialize;

/// Mass of a proton, g/mol.
const PROTON: f64 = 1.008;

/// Mass of the sodium that stands for a proton, g/mol.
const SODIUM: f64 = 22.990;

/// What takes up base in no amount that a table holds, as fatty acids, acrylates and oils do.
#[derive(Debug, Clone, Default)]
pub(super) struct Takers {
    /// The substances.
    pub names: Vec<String>,
    /// The most that all of them could take, mol per kg of scrub.
    pub most_mol: f64,
}

impl Takers {
    /// Molar mass per proton, g/mol, of what takes most for its mass: acrylic acid, caprylic acid, trilaurin.
    const ACRYLIC: f64 = 72.06;
    const CAPRYLIC: f64 = 144.21;
    const TRILAURIN: f64 = 639.0 / 3.0;

    fn add(&mut self, substance: &Substance, kind: ProtonKind) {
        let mw = match kind {
            ProtonKind::Fat => Self::TRILAURIN,
            ProtonKind::FattyAcid => Self::CAPRYLIC,
            _ => Self::ACRYLIC,
        };
        self.names.push(substance.name().into_owned());
        self.most_mol += mol(substance.pct(), mw);
    }
}

/// The acid of a formula.
#[derive(Debug, Clone)]
pub struct AcidContent<'f> {
    /// Which acid, and what is intended with it.
    pub plan: &'f AcidPlan,
    /// Acid, its salts counted as acid as limits do, % w/w of the scrub.
    pub as_acid_pct: f64,
    /// The same, mol per kg of scrub.
    pub acid_mol: f64,
    /// All that takes or gives protons.
    pub balance: Balance,
    /// Names of the ingredients that are bases; salts are none.
    pub neutralised_with: Vec<String>,
    /// Ingredients that take or give protons, of which no constant or no share is known.
    pub uncounted: Vec<String>,
    /// Substances that are another acid of the table, or its salt, with that acid.
    pub others: Vec<(Substance<'f>, Brought<'f>)>,
    /// Substances with the function of an acid, or named as a salt of one, that the table does not hold.
    pub foreign: Vec<String>,
    /// Fatty acids, acrylates and the like.
    pub(super) weak: Takers,
    /// Ingredients with the function of a neutraliser that the table does not hold.
    pub unknown_bases: Vec<String>,
    /// Carbonates, grains among them: their names, mol of protons that they take, and the row.
    pub carbonates: Vec<(String, f64, &'f Neutraliser)>,
    /// Some of these foreign acids have no constants.
    is_open: bool,
    /// Other acids from which they are more than a pinch, % w/w.
    pinch_pct: f64,
}

/// mol per kg of scrub from % w/w and g/mol.
fn mol(pct: f64, mw: f64) -> f64 {
    10.0 * pct / mw
}

/// An acid of the table that an ingredient brings, mol per kg of scrub.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brought<'t> {
    /// The acid.
    pub acid: &'t Acid,
    /// How much of it, its salt counted as acid.
    pub mol: f64,
}

impl Brought<'_> {
    /// As acid, % w/w of the scrub.
    pub fn as_acid_pct(&self) -> f64 {
        self.mol * self.acid.mw / 10.0
    }
}

/// What an INCI name is to an acid.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Form<'t> {
    Acid,
    /// Its charge, g/mol of acid, and the base of its cation.
    Salt(f64, f64, &'t Neutraliser),
    UnknownSalt,
}

fn form<'t>(inci: &str, acid: &Acid, neutralisers: &'t [Neutraliser]) -> Option<Form<'t>> {
    let inci = &*without_brackets(inci);
    if inci.eq_ignore_ascii_case(&acid.inci) {
        return Some(Form::Acid);
    }
    let (_, anion) = acid.salt.split_once(' ')?;
    let lower = inci.to_lowercase();
    let (cation, last) = lower.rsplit_once([' ', '-'])?;
    if !last.eq_ignore_ascii_case(anion) {
        return None;
    }
    // Of two cations, as Rochelle salt, no row says how much of it is the acid.
    if cation.contains(' ') && cation.split(' ').all(|word| base_of(word, neutralisers).is_some()) {
        return Some(Form::UnknownSalt);
    }
    // "Ethyl Lactate" is an ester: INCI names of those end in -yl before the acid.
    let is_salt = !cation.contains([' ', '-']) && !cation.ends_with("yl");
    is_salt.then(|| salt(cation, acid, neutralisers).unwrap_or(Form::UnknownSalt))
}

/// The base that gives a cation, by its name in small letters.
fn base_of<'t>(cation: &str, neutralisers: &'t [Neutraliser]) -> Option<&'t Neutraliser> {
    neutralisers.iter().find(|n| n.cation.to_lowercase() == cation && !cation.is_empty())
}

/// A salt by its cation, such as `potassium` or `disodium`.
fn salt<'t>(cation: &str, acid: &Acid, neutralisers: &'t [Neutraliser]) -> Option<Form<'t>> {
    let counts = [("mono", 1.0), ("di", 2.0), ("tri", 3.0)];
    let counted = counts.iter().find_map(|(prefix, n)| Some((*n, cation.strip_prefix(prefix)?)));
    let base = |name: &str| base_of(name, neutralisers);
    let (charge, base) = match (base(cation), counted) {
        (Some(base), _) => (acid.salt_charge, base),
        (None, Some((n, name))) => (n, base(name)?),
        (None, None) => return None,
    };
    // The salt of a lactone is that of its acid, so the mass comes from the sodium salt.
    let free = acid.salt_mw - acid.salt_charge * (SODIUM - PROTON);
    Some(Form::Salt(charge, free + charge * (base.cation_mw? - PROTON), base))
}

/// The acid of the table that a substance is by its INCI name, or salt of.
fn form_of<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<(&'t Acid, Form<'t>)> {
    let inci = substance.inci()?;
    tables.acids.iter().find_map(|a| Some((a, form(inci, a, &tables.neutralisers)?)))
}

/// The acid of the table that an ingredient brings by one of its INCI names, or the salt of, whatever it is there for.
pub(super) fn acids_in<'t>(ingredient: &Ingredient, tables: &'t FormulaTables) -> Vec<&'t Acid> {
    let names = ingredient.inci_names();
    let of = |name: &String| tables.acids.iter().find(|acid| form(name, acid, &tables.neutralisers).is_some());
    names.iter().filter_map(of).collect()
}

/// The acid of the table that an ingredient is by its INCI name, or salt of, unless it is a preservative.
fn form_of_acid<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<(&'t Acid, Form<'t>)> {
    substance.ingredient().filter(|ingredient| !ingredient.is_to_preserve())?;
    form_of(substance, tables)
}

/// The same with its amount, which is `None` for a salt that the table does not hold.
fn named<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<(&'t Acid, Option<Brought<'t>>)> {
    let (acid, form) = form_of_acid(substance, tables)?;
    let mw = match form {
        Form::Acid => acid.mw,
        Form::Salt(_, mw, _) => mw,
        Form::UnknownSalt => return Some((acid, None)),
    };
    Some((acid, Some(Brought { acid, mol: mol(substance.pct(), mw) })))
}

/// The row that an INCI name is.
fn protolyte<'t>(inci: &str, tables: &'t FormulaTables) -> Option<&'t ProtolyteRow> {
    tables.protolytes.iter().find(|p| same_word(&p.inci, inci))
}

/// The acid of the table that a substance sounds like and is not taken for, by its name or INCI name: "L-Lactic Acid", "Glycolic Acid 70 %",
/// "Salicylsäure".
pub(super) fn sounds_like<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<&'t Acid> {
    let ingredient = substance.ingredient()?;
    if ingredient.is_to_preserve() || form_of(substance, tables).is_some() {
        return None;
    }
    let name = format!("{} {}", substance.name(), substance.inci().unwrap_or_default()).to_lowercase();
    // "acide" and "acido" too.
    if !["acid", "säure", "saure", "ácido"].iter().any(|word| name.contains(word)) {
        return None;
    }
    let stem =
        |acid: &Acid| acid.inci.split(' ').next().map(|first| first.to_lowercase().trim_end_matches("ic").to_owned());
    let words = || name.split(|c: char| !c.is_alphabetic());
    let is = |acid: &&Acid| stem(acid).is_some_and(|stem| words().any(|word| word.starts_with(&stem)));
    tables.acids.iter().find(is)
}

/// Whether it is a blend without known shares that names an acid of the table, and none that the preservatives table knows.
pub(super) fn hides_acid(substance: &Substance, tables: &FormulaTables) -> bool {
    let Some(ingredient) = substance.ingredient().filter(|_| substance.part.is_none()) else { return false };
    let mut names = ingredient.inci_names();
    if names.len() < 2 {
        return false;
    }
    names.sort_unstable();
    let is_preservative = ingredient.is_to_preserve() || tables.preservatives.iter().any(|row| row.names == names);
    !is_preservative && !acids_in(ingredient, tables).is_empty() && form_of(substance, tables).is_none()
}

/// Whether a blend of INCI names holds something that takes or gives protons, so that its share would have to be known.
fn blends_a_protolyte(inci: &str, tables: &FormulaTables) -> bool {
    let names_acid = |part: &str| tables.acids.iter().any(|a| form(part, a, &tables.neutralisers).is_some());
    substances_of(inci).iter().any(|part| protolyte(part, tables).is_some() || names_acid(part))
}

/// Whether the acids, neutralisers or protolytes table has a row for a substance by itself.
fn is_in_tables(substance: &Substance, tables: &FormulaTables) -> bool {
    let in_row =
        |inci: &str| protolyte(inci, tables).is_some() || tables.neutralisers.iter().any(|n| same_word(&n.inci, inci));
    form_of(substance, tables).is_some() || substance.inci().is_some_and(in_row)
}

/// What the name of a substance that no table has tells of protons: of a blend, the base that it lists.
fn told_by_name(substance: &Substance, tables: &FormulaTables) -> Option<ProtonKind> {
    match blends_a_base(substance, tables) {
        _ if is_in_tables(substance, tables) => None,
        true => Some(ProtonKind::Base),
        false => proton_kind(substance, tables),
    }
}

impl Balance {
    /// Adds what a substance brings; false where it takes or gives protons in a way that cannot be counted. `planned` is the acid
    /// that it is where it has no INCI name.
    fn add(&mut self, substance: &Substance, planned: Option<&Acid>, tables: &FormulaTables) -> bool {
        let pct = substance.pct();
        match form_of(substance, tables) {
            Some((acid, Form::Acid)) => self.add_acid(acid, mol(pct, acid.mw)),
            Some((acid, Form::Salt(charge, mw, base))) => {
                self.add_acid(acid, mol(pct, mw));
                self.add_base(base, charge * mol(pct, mw), tables);
            }
            Some((_, Form::UnknownSalt)) => return false,
            None => {
                let Some(inci) = substance.inci() else {
                    if let Some(planned) = planned.filter(|_| substance.is(Function::Acid)) {
                        self.add_acid(planned, mol(pct, planned.mw));
                    }
                    return true;
                };
                let is_base = |n: &&Neutraliser| n.kind == NeutraliserKind::Base && same_word(&n.inci, inci);
                match (protolyte(inci, tables), tables.neutralisers.iter().find(is_base)) {
                    (Some(row), _) => return self.add_row(row, mol(pct, row.mw)),
                    (None, Some(base)) => self.add_base(base, base.equivalents * mol(pct, base.mw), tables),
                    (None, None) => return !blends_a_protolyte(inci, tables),
                }
            }
        }
        true
    }

    fn add_acid(&mut self, acid: &Acid, mol: f64) {
        let in_all = acid.soluble_g_per_100ml.map(|g| 10.0 * g / acid.mw);
        let sparing = in_all.map(|most| Sparing::new(acid.name.to_lowercase(), most, acid.pka1, acid.origin()));
        self.add_protolyte(Protolyte { pkas: acid.pkas(), top: 0, mol, sparing });
    }

    /// A base that takes so many mol of protons: a weak one as what it is, a strong one as its cation.
    fn add_base(&mut self, base: &Neutraliser, protons: f64, tables: &FormulaTables) {
        match protolyte(&base.inci, tables) {
            Some(row) => _ = self.add_row(row, protons),
            None => self.ions.push(Ion {
                charge: base.equivalents as i32,
                mol: protons / base.equivalents,
                hydroxide_pk: base.hydroxide_pk,
            }),
        }
    }

    fn add_row(&mut self, row: &ProtolyteRow, mol: f64) -> bool {
        if row.pkas.is_empty() {
            return false;
        }
        let sparing = row.soluble_mmol_per_kg.zip(row.pkas.first()).map(|(most, pka)| {
            let name = if row.ions == 0 {
                row.inci.to_lowercase()
            } else {
                format!("the acid of {}", row.inci.to_lowercase())
            };
            let status = row.soluble_status.unwrap_or(Status::FromMemory);
            Sparing::new(name, most / 1000.0, *pka, Origin { status, source: row.soluble_source.clone() })
        });
        self.add_protolyte(Protolyte { pkas: row.pkas.clone(), top: row.charge, mol, sparing });
        if row.ions != 0 {
            self.ions.push(Ion::free(row.ions.signum(), mol * f64::from(row.ions.abs())));
        }
        true
    }
}

/// Whether an acid of these kinds is planned, or listed by its INCI name or that of its salt.
pub(crate) fn holds_acid(formula: &Formula, tables: &FormulaTables, kinds: &[AcidKind]) -> bool {
    let planned = formula.acid.as_ref().is_some_and(|plan| kinds.contains(&plan.acid.kind));
    let of_kind = |i: &Ingredient| acids_in(i, tables).iter().any(|acid| kinds.contains(&acid.kind));
    // A neutraliser is there for something else, but the skin does not ask what for; a pinch that sets the pH, or preserves, it does not feel.
    let pinch_pct = tables.constants.aha_pct.value;
    let is_bha = kinds.contains(&AcidKind::Bha);
    let is_much = |i: &Ingredient| is_bha || (i.active_pct() >= pinch_pct && !i.is_to_preserve());
    planned || formula.ingredients().any(|(_, i)| is_much(i) && of_kind(i))
}

/// Whether acid or lye is at hand as a liquid when it is made: whoever makes it handles them undiluted.
pub(crate) fn handles_acid_or_lye(formula: &Formula) -> bool {
    let is_dry = formula.usage.kind == Some(Kind::Dry);
    lists_lye(formula) || (formula.acid.is_some() && !is_dry)
}

/// What takes or gives protons in a formula without a plan for an acid.
pub(super) struct Unplanned<'f> {
    /// As far as it can be counted.
    pub balance: Balance,
    /// What is counted, preservatives apart.
    pub movers: Vec<String>,
    /// Acids and bases that no table holds, blends of them, and those that come as powders.
    pub unknown: Vec<String>,
    /// Oxides, which only an acid dissolves.
    pub oxides: Vec<String>,
    /// What cannot be counted and moves a pH less: with a base or an acid beside it the pH cannot be told.
    pub weak: Takers,
    /// Oils and butters, of which lye makes soap.
    pub fats: Takers,
    /// Carbonates, grains among them.
    pub carbonates: Vec<(String, &'f Neutraliser)>,
}

impl<'f> Unplanned<'f> {
    pub(super) fn new(formula: &'f Formula, tables: &'f FormulaTables) -> Self {
        let [movers, unknown, oxides] = [const { Vec::new() }; 3];
        let [weak, fats] = [const { Takers { names: Vec::new(), most_mol: 0.0 } }; 2];
        let balance = Balance { water_kg: formula.water_pct() / 100.0, ..Balance::default() };
        let mut all = Self { balance, movers, unknown, oxides, weak, fats, carbonates: Vec::new() };
        for substance in formula.lines().into_iter().flat_map(Line::substances) {
            match carbonate(&substance, tables) {
                Some(row) => all.carbonates.push((substance.name().into_owned(), row)),
                None => all.add(&substance, tables),
            }
        }
        all
    }

    fn add(&mut self, substance: &Substance, tables: &FormulaTables) {
        let name = substance.name().into_owned();
        let is_powder = substance.ingredient().is_none();
        let is_counted = is_powder || self.balance.add(substance, None, tables);
        let moves = is_in_tables(substance, tables);
        let is_there_for_it = substance.is(Function::Neutraliser) || substance.is(Function::Acid);
        let told = told_by_name(substance, tables).unwrap_or(ProtonKind::None);
        match told {
            // Of grains nobody knows how fast they dissolve.
            _ if moves && is_powder => self.unknown.push(name),
            _ if is_preservative(substance, tables) => {}
            ProtonKind::Base | ProtonKind::StrongAcid => self.unknown.push(name),
            ProtonKind::Oxide => self.oxides.push(name),
            ProtonKind::Acid if substance.pct() >= tables.constants.aha_pct.value => self.unknown.push(name),
            ProtonKind::Acid | ProtonKind::Weak | ProtonKind::FattyAcid => self.weak.add(substance, told),
            _ if !is_counted && is_there_for_it => self.unknown.push(name),
            _ if !is_counted => self.weak.add(substance, told),
            _ if moves => self.movers.push(name),
            _ if is_there_for_it => self.unknown.push(name),
            // Lye makes no soap of what smells.
            _ if substance.inci().is_some_and(|inci| is_perfume(inci) || is_aromatic(inci, &tables.allergens)) => {}
            _ if told == ProtonKind::Fat || substance.is(Function::Oil) => self.fats.add(substance, ProtonKind::Fat),
            _ => {}
        }
    }
}

impl Unplanned<'_> {
    /// Names of the carbonates, and their rows.
    pub(super) fn carbonates(&self) -> Vec<(&str, &Neutraliser)> {
        self.carbonates.iter().map(|(name, row)| (name.as_str(), *row)).collect()
    }

    /// All that may take up lye.
    pub(super) fn takers(&self) -> impl Iterator<Item = &str> {
        self.weak.names.iter().chain(&self.fats.names).map(String::as_str)
    }
}

/// Whether it is there to preserve: by its function or key, or as one substance of the law.
fn is_preservative(substance: &Substance, tables: &FormulaTables) -> bool {
    let of_law = || tables.preservatives.iter().any(|row| !row.entry.is_empty() && substance.is_inci(&row.inci));
    substance.ingredient().is_some_and(Ingredient::is_to_preserve) || of_law()
}

/// Whether a base that burns is listed: whoever makes the scrub handles it undiluted.
fn lists_lye(formula: &Formula) -> bool {
    let burns = |s: &Substance| {
        let words = s.spelled();
        ["hydroxide", "lye", "caustic soda", "caustic potash"].iter().any(|word| words.holds(word))
    };
    formula.substances().any(|s| burns(&s))
}

/// How the pH goes as phases go in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AfterPhase {
    /// The phase.
    pub phase: String,
    /// By Davies' equation, once it is in.
    pub ph: f64,
}

/// The pH that a formula comes to as it is listed. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reckoned {
    /// In water without salt effects.
    pub ideal: f64,
    /// By Davies' equation.
    pub in_salt: f64,
    /// Of all ions at that pH, mol per kg of water.
    pub ionic_strength: f64,
    /// Strong base that the pH stated needs beyond what is listed, by Davies' equation, mol per kg of scrub; absent without one.
    pub base_missing_mol_per_kg: Option<f64>,
    /// By Davies' equation after each phase that moves it, from the first acid on.
    pub by_phase: Vec<AfterPhase>,
}

/// Whether a substance is an acid of the table or its salt by its INCI name, and no preservative.
pub(super) fn is_named(substance: &Substance, tables: &FormulaTables) -> bool {
    named(substance, tables).is_some()
}

/// Whether it is an acid of the table or its salt by its INCI name, whatever brings it.
pub(super) fn is_of_acid(substance: &Substance, tables: &FormulaTables) -> bool {
    form_of(substance, tables).is_some()
}

/// Whether it is a salt of an acid of the table, of which the table does not tell how much acid it is.
pub(super) fn is_salt_of_unknown_share(substance: &Substance, tables: &FormulaTables) -> bool {
    named(substance, tables).is_some_and(|(_, brought)| brought.is_none())
}

/// Whether a substance is an acid or a part of one, by function or by name.
pub(super) fn is_acid(substance: &Substance, tables: &FormulaTables) -> bool {
    substance.line.is(Function::Acid) || is_named(substance, tables)
}

/// Whether a substance is an acid of the table by its name, and not a salt of one.
pub(super) fn is_named_acid(substance: &Substance, tables: &FormulaTables) -> bool {
    matches!(form_of_acid(substance, tables), Some((_, Form::Acid)))
}

/// Acids of the table that are listed, and how much of each, % w/w, its salts counted as acid.
pub(super) fn named_acids<'t>(formula: &Formula, tables: &'t FormulaTables) -> Vec<(&'t Acid, f64)> {
    let substances = formula.lines().into_iter().flat_map(Line::substances);
    added_up(Vec::new(), substances.filter_map(|s| named(&s, tables)?.1))
}

/// Acids with their share, % w/w, each once, and what more is brought of them.
fn added_up<'t>(mut all: Vec<(&'t Acid, f64)>, more: impl Iterator<Item = Brought<'t>>) -> Vec<(&'t Acid, f64)> {
    for brought in more {
        match all.iter_mut().find(|(acid, _)| acid.key == brought.acid.key) {
            Some((_, pct)) => *pct += brought.as_acid_pct(),
            None => all.push((brought.acid, brought.as_acid_pct())),
        }
    }
    all
}

/// Those of the ingredients, % w/w.
pub(super) fn named_pct(formula: &Formula, tables: &FormulaTables) -> f64 {
    formula.substances().filter_map(|s| named(&s, tables)?.1).map(|b| b.as_acid_pct()).sum()
}

impl<'f> AcidContent<'f> {
    /// Of a formula that names an acid and holds it, where the pH follows from what is listed.
    pub fn new(formula: &'f Formula, tables: &'f FormulaTables) -> Option<Self> {
        let content = Self::listed(formula, tables)?;
        let clear = content.unreckoned().is_empty() && content.carbonates.is_empty();
        (clear && content.acid_mol > 0.0).then_some(content)
    }

    /// What is listed, whether or not it can be reckoned with; `None` when no acid is planned. A substance is the acid by
    /// its INCI name or, where it has none, by its function.
    pub(super) fn listed(formula: &'f Formula, tables: &'f FormulaTables) -> Option<Self> {
        let plan = formula.acid.as_ref()?;
        let water_kg = formula.water_pct() / 100.0;
        let mut content = Self {
            plan,
            as_acid_pct: 0.0,
            acid_mol: 0.0,
            balance: Balance { water_kg, ..Balance::default() },
            neutralised_with: Vec::new(),
            uncounted: Vec::new(),
            others: Vec::new(),
            foreign: Vec::new(),
            weak: Takers::default(),
            unknown_bases: Vec::new(),
            carbonates: Vec::new(),
            is_open: false,
            pinch_pct: tables.constants.aha_pct.value,
        };
        for line in formula.lines() {
            if let Item::Ingredient(ingredient) = line.item {
                line.substances().for_each(|s| content.add(&s, tables));
                content.ask_of_blend(ingredient, line, tables);
            }
            for substance in line.substances() {
                match carbonate(&substance, tables) {
                    Some(row) => {
                        let taken = row.equivalents * mol(substance.pct(), row.mw);
                        content.carbonates.push((substance.name().into_owned(), taken, row));
                    }
                    None if substance.ingredient().is_none() => content.ask_of_grains(&substance, tables),
                    None => {}
                }
            }
        }
        content.as_acid_pct = content.acid_mol * plan.acid.mw / 10.0;
        Some(content)
    }

    fn add(&mut self, substance: &Substance<'f>, tables: &'f FormulaTables) {
        let acid = &self.plan.acid;
        let is_counted = self.balance.add(substance, Some(acid), tables);
        let row = tables.neutralisers.iter().find(|n| substance.is_inci(&n.inci));
        let listed = substance.inci().and_then(|inci| protolyte(inci, tables));
        let name = || substance.name().into_owned();
        match named(substance, tables) {
            Some((a, Some(brought))) if a.key == acid.key => self.acid_mol += brought.mol,
            Some((_, Some(brought))) => self.others.push((*substance, brought)),
            Some((_, None)) if !substance.line.is(Function::Acid) && substance.pct() < self.pinch_pct => {
                self.uncounted.push(name());
            }
            Some((_, None)) => self.push_foreign(name()),
            None if substance.is(Function::Acid) && substance.inci().is_none() => {
                self.acid_mol += mol(substance.pct(), acid.mw);
            }
            None if substance.is(Function::Acid) => {
                self.foreign.push(name());
                self.is_open |= listed.is_none() || !is_counted;
            }
            None if substance.pct() >= self.pinch_pct
                && (sounds_like(substance, tables).is_some() || hides_acid(substance, tables)) =>
            {
                self.push_foreign(name());
            }
            None if row.is_some_and(|n| n.kind == NeutraliserKind::Base) => {
                self.neutralised_with.push(name());
            }
            None if row.is_none() && substance.is(Function::Neutraliser) => match listed {
                Some(_) if is_counted => self.neutralised_with.push(name()),
                _ => self.unknown_bases.push(name()),
            },
            None => match told_by_name(substance, tables) {
                Some(ProtonKind::Base | ProtonKind::Oxide) => self.unknown_bases.push(name()),
                Some(ProtonKind::StrongAcid) => self.push_foreign(name()),
                Some(ProtonKind::Acid) if substance.pct() >= self.pinch_pct => self.push_foreign(name()),
                Some(ProtonKind::Acid) => self.uncounted.push(name()),
                Some(kind @ (ProtonKind::Weak | ProtonKind::FattyAcid)) => self.weak.add(substance, kind),
                _ if !is_counted => self.uncounted.push(name()),
                _ => {}
            },
        }
    }

    /// An acid or salt without constants: no pH follows from what is listed.
    fn push_foreign(&mut self, name: String) {
        self.foreign.push(name);
        self.is_open = true;
    }

    /// Of grains that take up acid nobody knows how fast they dissolve.
    fn ask_of_grains(&mut self, substance: &Substance, tables: &FormulaTables) {
        if is_of_acid(substance, tables) {
            return self.push_foreign(substance.name().into_owned());
        }
        let by_name = told_by_name(substance, tables).is_some_and(|kind| kind > ProtonKind::Acid);
        if by_name || is_in_tables(substance, tables) {
            self.unknown_bases.push(substance.name().into_owned());
        }
    }

    /// A blend that is there as acid or base holds one that is known, or it is as open as a single one would be.
    fn ask_of_blend(&mut self, blend: &'f Ingredient, line: Line<'f>, tables: &'f FormulaTables) {
        if blend.parts.is_empty() {
            return;
        }
        let is_base = |s: &Substance| {
            let is_row = tables.neutralisers.iter().any(|n| s.is_inci(&n.inci));
            is_row || s.inci().and_then(|inci| protolyte(inci, tables)).is_some_and(|row| !row.pkas.is_empty())
        };
        if blend.is(Function::Acid) && !line.substances().any(|s| is_named(&s, tables)) {
            self.push_foreign(blend.name.clone());
        }
        if blend.is(Function::Neutraliser) && !line.substances().any(|s| is_base(&s)) {
            self.unknown_bases.push(blend.name.clone());
        }
    }

    /// The pH that the formula comes to; none where no pH balances the charges.
    pub fn reckoned(&self, formula: &Formula, tables: &FormulaTables) -> Option<Reckoned> {
        let constants = &tables.constants;
        let at = self.balance.ph_in_salt(constants)?;
        Some(Reckoned {
            ideal: self.balance.ideal_ph()?,
            in_salt: at.ph,
            ionic_strength: at.ionic_strength,
            base_missing_mol_per_kg: formula.ph().map(|ph| self.balance.base_in_salt(ph, constants)),
            by_phase: self.by_phase(formula, tables),
        })
    }

    /// The pH after each phase that moves it, from the one with the first acid on; carbonates and what is not counted apart.
    fn by_phase(&self, formula: &Formula, tables: &FormulaTables) -> Vec<AfterPhase> {
        let mut so_far = Balance::default();
        let mut after = Vec::new();
        let substances: Vec<Substance> = formula.substances().collect();
        for (place, phase) in formula.phases().iter().enumerate() {
            let before = so_far.clone();
            for substance in substances.iter().filter(|s| s.line.phase == Some(place)) {
                so_far.add(substance, Some(&self.plan.acid), tables);
            }
            so_far.water_kg += phase.ingredients.iter().map(|i| i.water_pct() / 100.0).sum::<f64>();
            let moves = (&so_far.protolytes, &so_far.ions) != (&before.protolytes, &before.ions);
            let has_acid = so_far.protolytes.iter().any(|p| p.top == 0);
            if let Some(at) = so_far.ph_in_salt(&tables.constants).filter(|_| moves && has_acid) {
                after.push(AfterPhase { phase: phase.name.clone(), ph: at.ph });
            }
        }
        after
    }

    /// How much of an acid is dissolved at a pH, 0..1.
    pub(super) fn dissolved_share(&self, acid: &Acid, ph: f64) -> f64 {
        let name = acid.name.to_lowercase();
        let solid = self.balance.undissolved(ph).into_iter().find(|(sparing, _)| sparing.name == name);
        solid.map_or(1.0, |(_, share)| 1.0 - share)
    }

    /// Undissociated and dissolved at a pH by pKa in pure water, of all acids of the table, % w/w of the scrub.
    pub(super) fn free_pct(&self, ph: f64) -> f64 {
        let free = |(acid, pct): &(&Acid, f64)| pct * self.dissolved_share(acid, ph) * free_share(&acid.pkas(), ph);
        self.acids().iter().map(free).sum()
    }

    /// Acids of the table in the formula with their share as acid, % w/w, the planned one first.
    pub fn acids(&self) -> Vec<(&Acid, f64)> {
        added_up(vec![(&self.plan.acid, self.as_acid_pct)], self.others.iter().map(|(_, brought)| *brought))
    }

    /// Whether the other acids are more than a pinch that sets the pH.
    pub fn is_mixed(&self) -> bool {
        let pct: f64 = self.others.iter().map(|(_, b)| b.as_acid_pct()).sum();
        pct >= self.pinch_pct || self.others.iter().any(|(s, _)| s.line.is(Function::Acid))
    }

    /// Acids and salts that the table does not hold, in words.
    pub(super) fn unknown_acids(&self) -> Vec<String> {
        let told = |name: &String| {
            let what =
                "is an acid or a salt that the acids table does not know by its INCI name (gritwise tables acids)";
            format!("{name} {what}: give a known one, or hold it against its limits yourself")
        };
        self.foreign.iter().map(told).collect()
    }

    /// Names of the carbonates, and their rows.
    pub(super) fn carbonates(&self) -> Vec<(&str, &'f Neutraliser)> {
        self.carbonates.iter().map(|(name, _, row)| (name.as_str(), *row)).collect()
    }

    /// What keeps pH and free acid from following from what is listed, carbonates apart, in words.
    pub(super) fn unreckoned(&self) -> Vec<String> {
        let mut all = if self.is_open { self.unknown_acids() } else { Vec::new() };
        all.extend(self.unknown_bases.iter().map(|name| {
            let give = "give the name of one that it holds (gritwise tables neutralisers), of a blend its parts";
            format!("{name} is not in the neutralisers table by its INCI name; {give}")
        }));
        if self.balance.water_kg <= 0.0 {
            all.push(NO_WATER.to_owned());
        }
        all
    }
}

/// Why nothing is said about a pH.
pub(super) const NO_WATER: &str =
    "there is no watery phase, without which a pH means nothing; give what is watery functions = [\"water\"]";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::Tables;
    use approx::assert_relative_eq;

    #[test]
    fn salts_are_known_by_cation_and_weigh_what_handbooks_say() {
        // Molar masses per mol of acid from atomic weights: calcium lactate 218.22 / 2, tripotassium citrate 306.39, calcium
        // gluconate 430.37 / 2, disodium citrate 236.09.
        let tables = Tables::built_in().unwrap().formula;
        for (key, inci, charge, mw) in [
            ("lactic", "Sodium Lactate", 1.0, 112.06),
            ("lactic", "Potassium Lactate", 1.0, 128.17),
            ("lactic", "AMMONIUM LACTATE", 1.0, 107.11),
            ("lactic", "Calcium Lactate", 1.0, 109.11),
            ("lactic", "TEA-Lactate", 1.0, 239.27),
            ("citric", "Potassium Citrate", 3.0, 306.39),
            ("citric", "Disodium Citrate", 2.0, 236.09),
            ("gluconic", "Calcium Gluconate", 1.0, 215.19),
        ] {
            match form(inci, tables.acid(key).unwrap(), &tables.neutralisers) {
                Some(Form::Salt(z, mass, _)) => {
                    assert_eq!(z, charge, "{inci}");
                    assert_relative_eq!(mass, mw, max_relative = 2e-4);
                }
                other => panic!("{inci}: {other:?}"),
            }
        }
        let lactic = tables.acid("lactic").unwrap();
        assert_eq!(form("Lactic Acid", lactic, &tables.neutralisers), Some(Form::Acid));
        assert_eq!(form("Zinc Lactate", lactic, &tables.neutralisers), Some(Form::UnknownSalt));
        for ester in ["Ethyl Lactate", "LAURYL LACTATE", "C12-13 Alkyl Lactate", "Lactic Acid/Glycolic Acid", "Lactate"]
        {
            assert_eq!(form(ester, lactic, &tables.neutralisers), None, "{ester}");
        }
    }
}
