//! What exfoliates beside the grains and the acids of the table: retinoids, peroxides, enzymes, other acids.

use super::super::{Function, Ingredient, Substance};
use super::{Finding, NamedSubstance, Setting, number};
use crate::formula::content::is_named;
use crate::tables::{ActiveKind, ExfoliatingActive};

/// The ingredients, parts and powders that are such a substance, each with its row; salts and acids that the acids table knows are none.
fn found<'s>(s: &'s Setting) -> impl Iterator<Item = (&'s Substance<'s>, &'s ExfoliatingActive)> {
    let rows = &s.tables.substances.actives;
    s.substances.iter().filter_map(move |NamedSubstance { is, words, .. }| {
        let row = rows.iter().find(|row| is.pct() >= row.from_pct && row.is(words))?;
        (!is_named(is, &s.tables.formula)).then_some((is, row))
    })
}

/// Acids outside the acids table, in words: how much of them is free is not known, so no check of the acid passes.
pub(super) fn unreckoned(s: &Setting) -> Vec<String> {
    let acids = found(s).filter(|(is, row)| row.kind == ActiveKind::Acid && !is.is(Function::Acid));
    acids.map(|(is, row)| told(is, row)).chain(nameless(s)).collect()
}

/// Ingredients that may be anything: no INCI name, and no function that says what they are for.
fn nameless(s: &Setting) -> Option<String> {
    let anything = |i: &&Ingredient| {
        let said = i.functions.iter().any(|f| *f != Function::Active);
        i.inci.is_none() && !said && i.preservative.is_none()
    };
    let names: Vec<&str> = s.formula.ingredients().map(|(_, i)| i).filter(anything).map(|i| i.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        format!("whether {} exfoliates is not known; give inci, or functions that say what it is for", names.join(", "))
    })
}

/// All of them, as they exfoliate beside the grains.
pub(super) fn findings(s: &Setting) -> Vec<Finding> {
    let finding = |(is, row): (&Substance, &ExfoliatingActive)| match row.kind {
        ActiveKind::Acid => Finding::missing(told(is, row)),
        _ => Finding::caution(told(is, row), (row.status, &row.source)),
    };
    found(s).filter(|(is, _)| !is.is(Function::Acid)).map(finding).chain(nameless(s).map(Finding::missing)).collect()
}

fn told(is: &Substance, row: &ExfoliatingActive) -> String {
    format!("{} ({} %) is {}: {}", is.name(), number(is.pct()), row.what, row.says)
}
