//! The whole scrub, its checks and the cautions.

use crate::formula::Check;
use crate::numerics::written::{significant, three};
use crate::report::document::{Grid, Section};
use crate::report::formula::{IngredientPart, hundredths};
use crate::report::layout::{joined, row};
use crate::report::{BlendReport, Caution, FormulaReport};

pub fn formula(whole: &FormulaReport) -> Section {
    let section = Section::new("formula", "The whole scrub");
    if whole.phases.is_empty() {
        return section.text("The scrub file lists the powders only; what else is in the scrub is an open point.");
    }
    let line = |line: &IngredientPart| {
        let function = if line.powder { "exfoliant".to_owned() } else { line.functions.join(", ") };
        let named = row(&line.name).and(line.inci.as_deref().unwrap_or("not stated"));
        let shares =
            named.and(line.phase.as_deref().unwrap_or_default()).all([line.pct, line.active_pct].map(hundredths));
        shares.and(function).and(line.lot.as_deref().unwrap_or_default())
    };
    let heads = ["Ingredient", "INCI", "Phase", "% w/w", "Active %", "Function", "Lot"];
    let grid = Grid::new("lllrrll", &heads).captioned("Ingredients, phase by phase");
    let sum = format!("Sum: {} % w/w.", significant(whole.total_pct, 5));
    section.table(grid.rows(whole.ingredients.iter().map(line))).text(sum)
}

pub fn checks(whole: &FormulaReport) -> Section {
    let line = |check: &Check| {
        let limit = check.limit.map_or(String::new(), |limit| format!(", {}", three(limit)));
        let figure = check.value.map_or(String::new(), |value| format!("{}{limit} {}", three(value), check.unit));
        let judged = row(check.key).and(check.verdict.label()).and(figure).and(&check.why);
        judged.and(joined(check.grounds.iter().map(|o| format!("{}: {}", o.status.key(), o.source)), "; "))
    };
    let heads = ["Check", "", "Value, limit", "Why", "Status and source"];
    Section::new("checks", "Checks of the whole scrub")
        .text("Arithmetic on the figures of the scrub file. What is not judged lacks data, and has not passed; what is open \
             stands among the gaps of this product.")
        .table(Grid::new("lllll", &heads).captioned("Checks").rows(whole.checks.iter().map(line)))
}

/// Cautions of the powders, then those of the rest that are not there yet.
pub fn all_cautions(blend: &BlendReport, whole: &FormulaReport) -> Vec<Caution> {
    let mut all = blend.cautions.clone();
    all.extend(whole.cautions.iter().filter(|c| !blend.cautions.contains(c)).cloned());
    all
}

pub fn cautions(all: &[Caution]) -> Section {
    Section::new("cautions", "Cautions and directions for use").list(all.iter().map(|c| c.text.clone()).collect())
}
