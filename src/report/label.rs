//! The result of `gritwise label`: a draft of a label, with how its list was made and what is open.

use super::document::{Document, Grid, Section};
use super::layout::{listed, row};
use crate::band::{BEYOND, Judge};
use crate::formula::allergens::foods;
use crate::formula::{CheckVerdict, Checked, Formula, Line, Substance, holds_acid};
use crate::numerics::written::{trimmed, without_zeros};
use crate::records::label::{FoundAllergen, Group, Label, ListedName};
use crate::source::CalendarDate;
use crate::tables::{AcidKind, AllergenKind, LabelText, Origin, Preservative, REFERENCE_SITE, Tables};
use serde::Serialize;

/// A draft of a label. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LabelReport {
    /// Name of the scrub.
    pub name: String,
    /// The day on which it is made and new on the market.
    pub date: Option<CalendarDate>,
    /// What it is for.
    pub function: Option<String>,
    /// Net content, as it is printed.
    pub net_content: Option<String>,
    /// The same, g.
    pub net_g: Option<f64>,
    /// The same, mL.
    pub net_ml: Option<f64>,
    /// Least height of its figures, mm.
    pub figure_mm: Option<f64>,
    /// The list of ingredients, as it is printed.
    pub list: String,
    /// Its entries, in order.
    pub ingredients: Vec<LabelEntry>,
    /// Whether every entry has a name that a label can bear.
    pub complete: bool,
    /// Fragrance allergens that are in it, named or not.
    pub allergens: Vec<LabelAllergen>,
    /// Precautions, in order.
    pub warnings: Vec<LabelWarning>,
    /// Durability, as it is printed.
    pub durability: Option<String>,
    /// How long it keeps once opened, months, where that is to be printed.
    pub pao_months: Option<f64>,
    /// The last month in which it may be used, where that is to be printed.
    pub best_before: Option<String>,
    /// Batch code; absent where there is none yet.
    pub batch: Option<String>,
    /// Name and address of whoever answers for the product.
    pub responsible: Option<String>,
    /// Country of origin.
    pub made_in: Option<String>,
    /// Checks of the formula that say stop: key and why.
    pub stops: Vec<String>,
    /// What is missing.
    pub open: Vec<String>,
    /// What was taken to be so.
    pub assumed: Vec<String>,
    /// What it is and is not.
    pub note: &'static str,
}

/// An entry of the list of ingredients.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LabelEntry {
    /// INCI name, or what is missing, in brackets.
    pub inci: String,
    /// % w/w when it is added.
    pub pct: f64,
    /// Where it stands.
    pub group: Group,
    /// Whether it is a name that a label can bear.
    pub known: bool,
    /// What brings it.
    pub of: Vec<String>,
}

/// A fragrance allergen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LabelAllergen {
    /// INCI name.
    pub inci: String,
    /// % w/w of the scrub.
    pub pct: f64,
    /// Above this it is named, % w/w.
    pub limit_pct: f64,
    /// Whether it is in the list.
    pub listed: bool,
    /// Holds for new products from this day.
    pub from: Option<CalendarDate>,
    /// Products that were on the market before may be sold without it until this day.
    pub until: Option<CalendarDate>,
    /// Status and source.
    #[serde(flatten)]
    pub origin: Origin,
}

/// A precaution.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LabelWarning {
    /// What calls for it.
    pub trigger: String,
    /// It.
    pub text: String,
    /// Status and source.
    #[serde(flatten)]
    pub origin: Origin,
}

/// Beyond so many months of durability the period after opening stands in place of a date.
const LONG_MONTHS: f64 = 30.0;

const NOTE: &str = "A draft for an assessor, made by arithmetic on the figures given. It is no legal advice and no safety assessment: \
     hold every word against the law of each market and the product's safety report before it is printed.";

impl LabelReport {
    /// Drafts the label of a checked formula.
    pub fn new(
        formula: &Formula,
        checked: &Checked,
        date: Option<CalendarDate>,
        batch: Option<&str>,
        judge: &Judge,
        tables: &Tables,
    ) -> Self {
        let label = Label::new(formula, &tables.formula, date);
        let facts = &formula.label;
        let mut open = label.open.clone();
        let net_g = formula.fill.net_mass.map(|m| m.get());
        let net_ml = formula.fill.net_volume.map(|v| v.get());
        let net = net_g.map(|g| (g, "g")).or(net_ml.map(|ml| (ml, "ml")));
        let durability = Durability::of(facts.durability_months, facts.pao_months, date, &mut open);
        let mut wanted = |there: bool, what: &str| open.extend((!there).then(|| what.to_owned()));
        wanted(net.is_some(), "the net content is missing; give net_g or net_ml in [fill]");
        wanted(
            facts.responsible.is_some(),
            "name and address of the responsible person are missing; give responsible in [label]",
        );
        wanted(
            facts.function.is_some(),
            "what the product is for is not said; give function in [label], unless its look says it",
        );
        wanted(formula.usage.rinse_off.is_some(), "reckoned as left on the skin; say rinse_off in [use]");
        let whole = (formula.total_pct() - 100.0).abs() <= tables.formula.constants.total_tolerance_pct.value;
        wanted(
            whole || formula.phases().is_empty(),
            "the formula does not sum to 100 %, so the order of the list may be wrong",
        );
        wanted(
            false,
            "whether a substance is in nano form, for \"(nano)\" behind its name, is not known from the file; ask the suppliers",
        );
        let face = called_for("face", formula, checked, judge, tables).is_some();
        wanted(
            !face,
            "that it is for the face rests on the figures as stated; see how sure that is: gritwise blend FILE --require face --sure 90",
        );
        let stopped = checked.checks.iter().filter(|c| c.verdict == CheckVerdict::Stop);
        Self {
            name: formula.scrub().name.clone(),
            date,
            function: facts.function.clone(),
            net_content: net.map(|(amount, unit)| format!("{} {unit}", without_zeros(format!("{amount:.3}")))),
            net_g,
            net_ml,
            figure_mm: net.and_then(|(amount, _)| Some(tables.papers.tolerable(amount)?.figure_mm)),
            list: label.list(),
            complete: label.is_complete(),
            ingredients: label.entries.iter().map(LabelEntry::of).collect(),
            allergens: label.allergens.iter().map(LabelAllergen::of).collect(),
            warnings: warnings(formula, checked, judge, tables),
            durability: durability.text,
            pao_months: durability.pao_months,
            best_before: durability.best_before,
            batch: batch.map(str::to_owned),
            responsible: facts.responsible.clone(),
            made_in: facts.made_in.clone(),
            stops: stopped.map(|c| format!("{}: {}", c.key, c.why)).collect(),
            open,
            assumed: label.assumed,
            note: NOTE,
        }
    }

    /// Whether it could go to an assessor: a whole list, and no check that says stop.
    pub fn is_sound(&self) -> bool {
        self.complete && self.stops.is_empty()
    }

    /// To keep, to print, to send.
    pub fn to_document(&self) -> Document {
        let blank = |text: &Option<String>, place: &str| text.clone().unwrap_or_else(|| format!("[{place}]"));
        let facts = [
            ("Product", self.name.clone()),
            ("For", blank(&self.function, "function, unless the look of the product says it")),
            ("Net content", self.net_text()),
            ("Ingredients", self.list.clone()),
            ("Durability", blank(&self.durability, "date, or period after opening")),
            ("Batch", blank(&self.batch, "batch code")),
            ("Responsible person", blank(&self.responsible, "name and address")),
            ("Made in", blank(&self.made_in, "country, where it is imported")),
        ];
        let copy = facts.into_iter().map(|(what, said)| Section::new(key_of(what), what).text(said));
        let warnings = Section::new("precautions", "Precautions").list(texts(&self.warnings));
        let mut sections: Vec<Section> = Vec::new();
        if !self.stops.is_empty() {
            let stops = Section::new("stop", "Not to be sold as it stands").list(self.stops.clone());
            sections.push(stops);
        }
        sections.extend(copy);
        sections.push(warnings);
        sections.push(Section::new("open", "Open: to be settled before it is printed").list(self.open.clone()));
        sections.push(self.made_of());
        sections.extend(Some(self.allergen_section()).filter(|s| !s.blocks.is_empty()));
        sections.push(self.grounds());
        let title = format!("{}: draft of a label", self.name);
        Document { title, lead: vec![NOTE.to_owned()], sections, numbered: false }
    }

    fn net_text(&self) -> String {
        let Some(net) = &self.net_content else { return "[net content]".to_owned() };
        let height = self.figure_mm.map_or_else(String::new, |mm| format!(", figures {mm} mm high or more"));
        format!("{net}{height}")
    }

    /// How the list came about.
    fn made_of(&self) -> Section {
        let line = |e: &LabelEntry| {
            row(&e.inci).and(trimmed(e.pct, 4)).and(e.group.key().replace('-', " ")).and(distinct(&e.of).join(", "))
        };
        let heads = ["INCI name", "% w/w", "stands", "from"];
        let grid = Grid::new("lrll", &heads).rows(self.ingredients.iter().map(line));
        let rule = "By falling weight when added; under 1 % in any order; colours last (Regulation (EC) 1223/2009, Article 19(1)(g)). \
             Acid and base are listed as they were added.";
        Section::new("list", "How the list was made").text(rule).table(grid).list(self.assumed.clone())
    }

    fn allergen_section(&self) -> Section {
        let day = |date: &Option<CalendarDate>| date.map_or_else(|| "-".to_owned(), |d| d.to_string());
        let line = |a: &LabelAllergen| {
            let named = row(&a.inci).and(trimmed(a.pct, 3)).and(trimmed(a.limit_pct, 3));
            named
                .and(if a.listed { "yes" } else { "no" })
                .and(day(&a.from))
                .and(day(&a.until))
                .and(a.origin.status.key())
        };
        let heads = ["Allergen", "% w/w", "over", "named", "new products from", "older ones until", "status"];
        let grid = Grid::new("lrrllll", &heads).rows(self.allergens.iter().map(line));
        Section::new("allergens", "Fragrance allergens").table(grid)
    }

    fn grounds(&self) -> Section {
        let ground = |w: &LabelWarning| format!("{}: {} ({})", w.trigger, w.origin.source, w.origin.status.key());
        let mut all: Vec<String> = self.warnings.iter().map(ground).collect();
        for origin in
            self.allergens.iter().map(|a| format!("allergens: {} ({})", a.origin.source, a.origin.status.key()))
        {
            if !all.contains(&origin) {
                all.push(origin);
            }
        }
        Section::new("sources", "Where the words come from").list(all)
    }
}

/// Keys of sections by their titles.
fn key_of(title: &str) -> &'static str {
    match title {
        "Product" => "product",
        "For" => "function",
        "Net content" => "net-content",
        "Ingredients" => "ingredients",
        "Durability" => "durability",
        "Batch" => "batch",
        "Responsible person" => "responsible",
        _ => "made-in",
    }
}

fn texts(warnings: &[LabelWarning]) -> Vec<String> {
    warnings.iter().map(|w| w.text.clone()).collect()
}

fn distinct(names: &[String]) -> Vec<&str> {
    let mut all: Vec<&str> = Vec::new();
    for name in names {
        if !all.contains(&name.as_str()) {
            all.push(name);
        }
    }
    all
}

impl LabelEntry {
    fn of(entry: &ListedName) -> Self {
        let ListedName { inci, pct, group, known, of } = entry.clone();
        Self { inci, pct, group, known, of }
    }
}

impl LabelAllergen {
    fn of(found: &FoundAllergen) -> Self {
        Self {
            inci: found.row.word.clone(),
            pct: found.pct,
            limit_pct: found.limit_pct,
            listed: found.listed,
            from: found.row.from,
            until: found.row.until,
            origin: found.row.origin(),
        }
    }
}

/// How long it keeps, in words of a label.
struct Durability {
    text: Option<String>,
    best_before: Option<String>,
    pao_months: Option<f64>,
}

impl Durability {
    /// Article 19(1)(c): a date where it keeps 30 months or less, the period after opening where it keeps longer.
    fn of(months: Option<f64>, pao: Option<f64>, date: Option<CalendarDate>, open: &mut Vec<String>) -> Self {
        let mut none = |missing: &str| {
            open.push(missing.to_owned());
            Self { text: None, best_before: None, pao_months: None }
        };
        let Some(months) = months else {
            let unused = pao.map_or("", |_| "; pao_months is for what keeps over 30 months");
            return none(&format!(
                "how long it keeps is not said; give durability_months in [label], from its stability test{unused}"
            ));
        };
        if months > LONG_MONTHS {
            let Some(pao) = pao else {
                return none(
                    "it keeps over 30 months, so the label bears the period after opening; give pao_months in [label]",
                );
            };
            let text = format!("symbol of an open jar with {} M (period after opening)", trimmed(pao, 3));
            return Self { text: Some(text), best_before: None, pao_months: Some(pao) };
        }
        match date.and_then(|d| d.plus_months(months as u32)) {
            None => none("it keeps 30 months or less, so the label bears a date; give --date, the day it is made"),
            Some(end) => {
                let month = end.last_whole_month();
                let text = format!("Best used before the end of {month}");
                Self { text: Some(text), best_before: Some(month), pao_months: None }
            }
        }
    }
}

/// The precautions that the scrub calls for, in the order of the table.
fn warnings(formula: &Formula, checked: &Checked, judge: &Judge, tables: &Tables) -> Vec<LabelWarning> {
    let warning = |text: &LabelText| {
        let names = called_for(&text.trigger, formula, checked, judge, tables)?;
        let filled = text.text.replace("{names}", &listed(&names.iter().map(String::as_str).collect::<Vec<_>>()));
        Some(LabelWarning { trigger: text.trigger.clone(), text: filled, origin: text.origin() })
    };
    tables.papers.label_texts.iter().filter_map(warning).collect()
}

/// Whether something calls for a text, and which powders or ingredients do.
fn called_for(
    trigger: &str,
    formula: &Formula,
    checked: &Checked,
    judge: &Judge,
    tables: &Tables,
) -> Option<Vec<String>> {
    let when = |holds: bool| holds.then(Vec::new);
    let rank = checked.band.as_ref().map(|b| b.rank);
    let for_face = rank.and_then(|r| judge.bands().get(r)).is_some_and(|b| b.site == REFERENCE_SITE);
    let leave_on = formula.usage.rinse_off == Some(false);
    match trigger {
        "eyes" => when(true),
        "grains" => when(!leave_on),
        "leave-on" => when(leave_on),
        "face" => when(for_face),
        "not-face" => when(rank.is_some() && !for_face),
        "beyond" => when(rank.is_some_and(|r| judge.band_name(r) == BEYOND)),
        "salon" => when(formula.usage.salon),
        "no-water" => {
            when(!formula.phases().is_empty() && formula.water_pct() <= 0.0 && formula.may_bring_water().is_empty())
        }
        "aha" => when(holds_acid(formula, &tables.formula, &[AcidKind::Aha, AcidKind::Pha])),
        "bha" => when(holds_acid(formula, &tables.formula, &[AcidKind::Bha])),
        "vitamin-a" => bound_to(formula, tables, "vitamin A"),
        "formaldehyde" => {
            let releases = |row: &&Preservative| row.note.contains("releases formaldehyde");
            let rows: Vec<&Preservative> = tables.formula.preservatives.iter().filter(releases).collect();
            substances(formula, |s| rows.iter().any(|row| s.is_inci(&row.inci)))
        }
        "nut" => eaten(formula, tables, AllergenKind::Nut),
        "food" => eaten(formula, tables, AllergenKind::Food),
        flag => {
            let powders = formula.scrub().blend.components().iter().map(|c| &c.powder);
            let names: Vec<String> = powders.filter(|p| p.is_flagged(flag)).map(|p| p.name.clone()).collect();
            (!names.is_empty()).then_some(names)
        }
    }
}

/// Substances that an entry of the lists binds to a sentence on something.
fn bound_to(formula: &Formula, tables: &Tables, what: &str) -> Option<Vec<String>> {
    let entries = tables.substances.in_force(&formula.usage.regions, formula.usage.on_market);
    let bound: Vec<_> = entries.filter(|e| e.says.contains(what)).collect();
    substances(formula, |s| {
        let words = s.spelled();
        bound.iter().any(|e| e.is(&words))
    })
}

/// Names of the substances of the ingredients for which something holds, if there are any.
fn substances(formula: &Formula, holds: impl Fn(&Substance) -> bool) -> Option<Vec<String>> {
    let names: Vec<String> = formula.substances().filter(holds).map(|s| s.name().into_owned()).collect();
    (!names.is_empty()).then_some(names)
}

/// Ingredients and powders that are of a nut or a food, by their INCI names.
fn eaten(formula: &Formula, tables: &Tables, kind: AllergenKind) -> Option<Vec<String>> {
    let is_of = |s: &Substance| !foods(s, &[kind], &tables.formula.allergens).is_empty();
    let held = formula.lines().into_iter().flat_map(Line::substances).filter(is_of);
    let mut names: Vec<String> = held.map(|s| s.line.name().to_owned()).collect();
    names.dedup();
    (!names.is_empty()).then_some(names)
}
