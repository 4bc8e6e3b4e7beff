//! The whole scrub, its checks and the cautions.

use crate::report::document::{Align, Grid, Section};
use crate::report::formula::hundredths;
use crate::report::layout::significant;
use crate::report::{BlendReport, Caution, FormulaReport};

pub fn formula(whole: &FormulaReport) -> Section {
    let mut section = Section::new("formula", "The whole scrub");
    if whole.phases.is_empty() {
        section.text("The scrub file lists the powders only; what else is in the scrub is an open point.");
        return section;
    }
    let columns = [
        ("Ingredient", Align::Left),
        ("INCI", Align::Left),
        ("Phase", Align::Left),
        ("% w/w", Align::Right),
        ("Active %", Align::Right),
        ("Function", Align::Left),
        ("Lot", Align::Left),
    ];
    let mut grid = Grid::new("Ingredients, phase by phase", &columns);
    for line in &whole.ingredients {
        let function = if line.powder { "exfoliant".to_owned() } else { line.functions.join(", ") };
        grid.row(vec![
            line.name.clone(),
            line.inci.clone().unwrap_or_else(|| "not stated".to_owned()),
            line.phase.clone().unwrap_or_default(),
            hundredths(line.pct),
            hundredths(line.active_pct),
            function,
            line.lot.clone().unwrap_or_default(),
        ]);
    }
    section.table(grid);
    section.text(format!("Sum: {} % w/w.", significant(whole.total_pct, 5)));
    section
}

pub fn checks(whole: &FormulaReport) -> Section {
    let mut section = Section::new("checks", "Checks of the whole scrub");
    section.text("Arithmetic on the figures of the scrub file. What is not judged lacks data, and has not passed.");
    let columns = [
        ("Check", Align::Left),
        ("", Align::Left),
        ("Value, limit", Align::Left),
        ("Why", Align::Left),
        ("Status and source", Align::Left),
    ];
    let mut grid = Grid::new("Checks", &columns);
    for check in &whole.checks {
        let figure = match (check.value, check.limit) {
            (Some(v), Some(l)) => format!("{}, {} {}", significant(v, 3), significant(l, 3), check.unit),
            (Some(v), None) => format!("{} {}", significant(v, 3), check.unit),
            _ => String::new(),
        };
        grid.row(vec![
            check.key.to_owned(),
            check.verdict.label().to_owned(),
            figure,
            check.why.clone(),
            format!("{}: {}", check.status, check.source),
        ]);
    }
    section.table(grid);
    section
}

/// Cautions of the powders, then those of the rest that are not there yet.
pub fn all_cautions(blend: &BlendReport, whole: &FormulaReport) -> Vec<Caution> {
    let mut all = blend.cautions.clone();
    all.extend(whole.cautions.iter().filter(|c| !blend.cautions.contains(c)).cloned());
    all
}

pub fn cautions(all: &[Caution]) -> Section {
    let mut section = Section::new("cautions", "Cautions and directions for use");
    section.list(all.iter().map(|c| c.text.clone()).collect());
    section
}
