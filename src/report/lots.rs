//! The result of `gritwise lots`.

use super::layout::{Grid, inset, par, row};
use super::wording::{ASSESSOR_NOTE, INDEX_NOTE};
use crate::lots::charts::{LotChart, LotPoint};
use crate::lots::register::Register;
use crate::numerics::written::{four, three};
use serde::Serialize;

/// The charts of a register. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotsReport {
    /// The register.
    pub register: String,
    /// Lines that a crash had cut short; they are passed over.
    pub torn_lines: Vec<usize>,
    /// A chart for each powder and figure; of the index for each scrub.
    pub charts: Vec<LotChart>,
    /// What the charts are and are not.
    pub note: String,
}

impl LotsReport {
    /// Reports the charts of a register.
    pub fn new(file: &str, register: &Register, charts: Vec<LotChart>) -> Self {
        let note = note(charts.iter().any(LotChart::is_of_index));
        Self { register: file.to_owned(), torn_lines: register.torn.clone(), charts, note }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let torn = |line: &usize| par(format!("{}:{line} was cut short by a crash; it is passed over.", self.register));
        let charts = self.charts.iter().map(|chart| text(chart) + "\n");
        charts.chain(self.torn_lines.iter().map(torn)).chain([par(&self.note)]).collect()
    }
}

fn note(of_index: bool) -> String {
    let index = if of_index { format!(" The index is {INDEX_NOTE}.") } else { String::new() };
    format!(
        "Limits are the mean ± 2.66 mean moving ranges (individuals chart), 3.267 mean moving ranges for the range; rules are \
         the Western Electric ones. Refused lots are held against the limits but do not make them. A lot that breaks a rule is \
         not bad: it is news, ask the supplier what changed. Of a lot that was judged twice the later date counts, of one date \
         the last line.{index} {ASSESSOR_NOTE}."
    )
}

fn text(chart: &LotChart) -> String {
    let limits = match &chart.limits {
        None if chart.lots.len() == 1 => "  a single lot: nothing to hold it against yet\n".to_owned(),
        None => "  fewer than two lots that were not refused: no limits yet\n".to_owned(),
        Some(l) => {
            let [centre, lower, upper, mean, range] =
                [l.centre, l.lower, l.upper, l.range_mean, l.range_upper].map(four);
            let few = l.provisional.then(|| format!("; provisional, from {} lots only", chart.counted()));
            let few = few.unwrap_or_default();
            inset(format!("centre {centre}, limits {lower} to {upper}; moving range {mean}, limit {range}{few}"))
        }
    };
    let line = |(i, lot): (usize, &LotPoint)| {
        let own = chart.signals.iter().filter(|s| s.number == i + 1);
        let rules: Vec<&str> = own.map(|s| s.rule.label()).collect();
        let named = row((i + 1).to_string()).and(&lot.lot).and(&lot.date).and(lot.verdict.key());
        let moved = lot.moving_range.map_or(String::new(), three);
        named.four([lot.value]).and(moved).and(rules.join("; "))
    };
    let heads = ["", "lot", "date", "verdict", "value", "moving range", "signal"];
    let table = Grid::new("rlllrrl", &heads).rows(chart.lots.iter().enumerate().map(line));
    let unknown = match chart.not_known.join(", ") {
        none if none.is_empty() => none,
        lots => inset(format!("not known of {lots}: no place here")),
    };
    format!("{}\n{limits}{}{unknown}", chart.title(), table.render())
}
