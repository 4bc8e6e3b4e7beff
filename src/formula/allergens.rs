//! Allergens of a formula: what of each it is known to hold, and of what nothing is known. Check and label both go by this.

use super::{Formula, Function, Ingredient, Item, Substance};
use crate::source::{Spelled, same_word, substances_of, without_brackets};
use crate::tables::{Allergen, AllergenKind};

/// Where the table's list is law: Canada takes over that of the European Union.
pub(crate) const REGIONS: [&str; 2] = ["EU", "CA"];

/// INCI names of a fragrance or flavour.
const PERFUMES: [&str; 17] = [
    "Parfum",
    "Perfume",
    "Fragrance",
    "Fragrance Oil",
    "Perfume Oil",
    "Parfum (Fragrance)",
    "Fragrance (Parfum)",
    "Parfum/Fragrance",
    "Fragrance/Parfum",
    "Natural Fragrance",
    "Natural Parfum",
    "Natural Perfume",
    "Aroma",
    "Flavor",
    "Flavour",
    "Natural Flavor",
    "Natural Flavour",
];

/// Whether an INCI name is that of a fragrance as a whole.
pub(crate) fn is_perfume(inci: &str) -> bool {
    PERFUMES.iter().any(|name| same_word(inci, name))
}

/// Whether an INCI name, or one of those that it lists, begins as that of an aromatic plant.
pub(super) fn is_aromatic(inci: &str, rows: &[Allergen]) -> bool {
    is_of_plant(inci, rows, |_| true)
}

/// The same of the rows that count.
fn is_of_plant(inci: &str, rows: &[Allergen], counts: impl Fn(&Allergen) -> bool) -> bool {
    let inci = &without_brackets(inci);
    let names = substances_of(inci);
    let is_begun = |a: &Allergen| begins(inci, &a.word) || names.iter().any(|name| begins(name, &a.word));
    rows.iter().any(|a| a.kind == AllergenKind::Aromatic && counts(a) && is_begun(a))
}

/// Whether an INCI name is that of an oil or extract with a scent: of an aromatic plant, unless it is a fixed oil, pressed from seeds. Of some
/// plants the seeds are distilled: the table names these with their seeds.
pub(super) fn is_scented_plant(inci: &str, rows: &[Allergen]) -> bool {
    let is_pressed = inci.to_lowercase().contains("seed oil");
    is_of_plant(inci, rows, |a| !is_pressed || a.word.to_lowercase().ends_with("seed"))
}

/// Kinds of rows that are eaten.
pub(crate) const FOODS: [AllergenKind; 2] = [AllergenKind::Nut, AllergenKind::Food];

/// Nuts, seeds, cereals and pulses that a substance is by its INCI name, of some kinds; of a powder by one that is not its material's, whose
/// flags tell those.
pub(crate) fn foods<'t>(substance: &Substance, kinds: &[AllergenKind], rows: &'t [Allergen]) -> Vec<&'t Allergen> {
    let material = match substance.line.item {
        Item::Powder(component, _) => component.powder.material.as_ref(),
        Item::Ingredient(_) => None,
    };
    let own = substance.inci().filter(|inci| material.is_none_or(|m| !same_word(&m.inci, inci)));
    // Anywhere in a name: "Bitter Almond Oil", "Lecithin (Soy)".
    let words = own.map(Spelled::new);
    let is_of = |a: &&Allergen| kinds.contains(&a.kind) && words.as_ref().is_some_and(|words| words.holds(&a.word));
    let mut found: Vec<&Allergen> = rows.iter().filter(is_of).collect();
    // By its botanical and its common name it is one.
    let mut told: Vec<&str> = Vec::new();
    found.retain(|a| {
        !told.contains(&a.says.as_str()) && {
            told.push(&a.says);
            true
        }
    });
    found
}

/// Whether an INCI name begins with these whole words.
fn begins(inci: &str, word: &str) -> bool {
    let inci = inci.trim_start();
    let same = inci.get(..word.len()).is_some_and(|start| start.eq_ignore_ascii_case(word));
    same && !inci[word.len()..].starts_with(char::is_alphanumeric)
}

/// How much of an allergen the scrub is known to hold, % w/w: as an ingredient, as a part of one, or as declared of one.
pub(crate) fn pct(formula: &Formula, allergen: &Allergen) -> f64 {
    let own: f64 = formula
        .substances()
        .filter(|s| s.part.is_none() && s.inci().is_some_and(|i| allergen.is(i)))
        .map(|s| s.pct())
        .sum();
    own + formula.ingredients().map(|(_, i)| within(i, allergen)).sum::<f64>()
}

/// The same within an ingredient that is not the allergen itself. What is declared is of the whole ingredient, so a part that is the
/// allergen is not counted on top of it.
fn within(ingredient: &Ingredient, allergen: &Allergen) -> f64 {
    if ingredient.parts.is_empty() && ingredient.inci.as_deref().is_some_and(|inci| allergen.is(inci)) {
        return 0.0;
    }
    let is = |inci: &str| allergen.is(inci);
    let parts: f64 = ingredient.parts.iter().filter(|p| is(&p.inci)).map(|p| p.pct.get()).sum();
    let declared: f64 = ingredient.allergens.iter().flatten().filter(|d| is(&d.inci)).map(|d| d.pct.get()).sum();
    ingredient.pct.get() * parts.max(declared) / 100.0
}

/// Ingredients that are scented, or hold what is, of whose allergens nothing is said; an empty list is no statement.
pub(crate) fn untold<'f>(formula: &'f Formula, rows: &[Allergen]) -> Vec<&'f str> {
    let is_row = |inci: &str| rows.iter().any(|a| a.is(inci));
    // An oil of a plant is named as one allergen and holds others.
    let is_single = |inci: &str| is_row(inci) && !is_aromatic(inci, rows);
    // Of a blend that is not split nobody knows how much of an allergen it is.
    let hides = |s: &Substance| {
        let names = s.inci().filter(|inci| s.part.is_none() && !is_row(inci)).map(substances_of);
        names.is_some_and(|names| names.len() > 1 && names.iter().any(|name| is_row(name)))
    };
    let is_asked = |s: &Substance| (is_scented(s, rows) && !s.inci().is_some_and(is_single)) || hides(s);
    let is_told = |i: &Ingredient| i.allergens.as_ref().is_some_and(|all| !all.is_empty());
    let mut names: Vec<&str> = Vec::new();
    for substance in formula.substances().filter(is_asked) {
        let name = substance.line.name();
        if !substance.ingredient().is_some_and(is_told) && !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// Whether it is a fragrance, a part of one, or of an aromatic plant.
fn is_scented(substance: &Substance, rows: &[Allergen]) -> bool {
    let by_name = |inci: &str| is_perfume(inci) || is_scented_plant(inci, rows);
    let listed = substance.inci().map(substances_of).unwrap_or_default();
    substance.inci().is_some_and(is_perfume)
        || listed.iter().any(|name| by_name(name))
        || (substance.line.is(Function::Fragrance) && !substance.is_water())
}

/// Declared allergens that the table does not hold, by name.
pub(crate) fn strangers<'f>(formula: &'f Formula, rows: &[Allergen]) -> Vec<&'f str> {
    let declared = formula.ingredients().flat_map(|(_, i)| i.allergens.iter().flatten());
    let is_strange = |inci: &str| !rows.iter().any(|a| a.is(inci));
    let mut names: Vec<&str> = Vec::new();
    for declared in declared.filter(|d| d.pct.get() > 0.0 && is_strange(&d.inci)) {
        if !names.contains(&declared.inci.as_str()) {
            names.push(&declared.inci);
        }
    }
    names
}
