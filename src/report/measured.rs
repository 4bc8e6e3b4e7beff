//! How well sizes are measured, as `gritwise size` tells it: D-values with their intervals, repeats, what was lost on the sieves.

use super::layout::{Grid, bullets, inset, part, row};
use super::lot::{TablePart, table_part};
use super::lot_words::finding_said;
use crate::lots::lot::LotTable;
use crate::lots::repeats::{Lost, RepeatedValue, Repeats};
use crate::numerics::written::{four, three, two};
use crate::tables::Tables;
use serde::Serialize;

/// The measurement behind sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredTablesPart {
    /// Confidence of the intervals, %.
    pub interval_pct: f64,
    /// Where the intervals come from: `repeats` or `method`.
    pub interval_from: &'static str,
    /// D10, D50 and D90.
    pub figures: Vec<MeasuredPart>,
    /// The tables, where there are several.
    pub tables: Vec<TablePart>,
    /// Of each table that says what was charged.
    pub losses: Vec<LossPart>,
    /// What to mind.
    pub warnings: Vec<String>,
}

/// A D-value and how far it may be off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredPart {
    /// `D10`, `D50` or `D90`.
    pub figure: &'static str,
    /// Over the tables, µm.
    pub mean_um: f64,
    /// Whether the tables tell it; where it lies in a class with but one bound it hangs on what is assumed, and no interval is said.
    pub measured: bool,
    /// Low end of the interval, µm.
    pub low_um: Option<f64>,
    /// High end.
    pub high_um: Option<f64>,
    /// Coefficient of variation of the repeats, %.
    pub cv_pct: Option<f64>,
    /// What two such measurements differ by at most, 19 times in 20, µm (ISO 5725-6, 2.8 standard deviations); by the spread of the
    /// repeats.
    pub repeatability_limit_um: Option<f64>,
    /// Coefficient of variation with which the method repeats, by the table of draws, %.
    pub method_cv_pct: f64,
}

/// What was lost, and what it may do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LossPart {
    /// The file.
    pub file: String,
    /// What was put on the top sieve, g.
    pub charged_g: f64,
    /// What was weighed again, g.
    pub weighed_g: f64,
    /// Loss, %; a gain is negative.
    pub loss_pct: f64,
    /// D10, D50 and D90, µm, had it all been the finest powder.
    pub if_fine_um: [f64; 3],
    /// The same had it been the coarsest.
    pub if_coarse_um: [f64; 3],
}

/// Standard deviations by which two single results differ at most, 19 times in 20: 1.96 √2, rounded as ISO 5725-6 does.
const REPEATABILITY_LIMIT: f64 = 2.8;

impl MeasuredTablesPart {
    /// Of tables that were taken together.
    pub fn new(measured: &[LotTable], repeats: &Repeats, tables: &Tables) -> Self {
        let several = measured.len() > 1;
        let limits = &tables.acceptance;
        let charged = measured.iter().any(|t| t.charged_g.is_some());
        let mut warnings: Vec<String> = Vec::new();
        // A single table is described as it is, unless its sieving is asked about.
        if several || charged {
            warnings.extend(repeats.findings.iter().map(|found| finding_said(found, measured)));
        }
        if several && (measured.len() as f64) < limits.repeat_tables {
            let (count, wanted) = (measured.len(), limits.repeat_tables);
            warnings.push(format!("tables: {count}, wanted for repeatability {wanted} (ISO 13320, USP <429>)"));
        }
        Self {
            interval_pct: limits.interval_pct,
            interval_from: if several { "repeats" } else { "method" },
            figures: repeats.figures.iter().map(measured_part).collect(),
            tables: if several { measured.iter().map(table_part).collect() } else { Vec::new() },
            losses: repeats.lost.iter().map(|lost| loss_part(lost, measured)).collect(),
            warnings,
        }
    }

    /// For a terminal.
    pub(super) fn to_text(&self) -> String {
        [
            part("How well they are known", self.figures_text()),
            part("The tables", self.tables_text()),
            part("Lost in sieving", self.losses_text()),
            part("The measurement", bullets(&self.warnings)),
        ]
        .concat()
    }

    fn figures_text(&self) -> String {
        let several = self.interval_from == "repeats";
        let pct = self.interval_pct;
        let interval = format!("{pct} % interval");
        let mut heads = vec!["", "µm", interval.as_str(), "method, CV"];
        let mut aligns = "lrlr".to_owned();
        if several {
            aligns += "rr";
            heads.extend(["repeats, CV", "two differ by at most"]);
        }
        let line = |f: &MeasuredPart| {
            let ends = f.low_um.zip(f.high_um).map(|(low, high)| format!("{} to {}", four(low), four(high)));
            let line = row(f.figure).and(four(f.mean_um) + if f.measured { "" } else { "*" });
            let line = line.and(ends.unwrap_or_else(|| "not measured".to_owned()));
            let line = line.and(format!("{} %", two(f.method_cv_pct)));
            match (f.cv_pct, f.repeatability_limit_um) {
                (Some(cv), Some(limit)) => line.and(format!("{} %", two(cv))).and(format!("{} µm", three(limit))),
                _ => line,
            }
        };
        let note = if several {
            "The interval is that of the mean, by Student's t from the spread of the repeats; it holds what varies from sieving to sieving, not what \
             one set of sieves is off. Two single results differ by at most 2.8 standard deviations, 19 times in 20 (ISO 5725-6)."
        } else {
            "One table: the interval is by what its method repeats to (gritwise tables draws). Repeats tell your own: give them all."
        };
        Grid::new(&aligns, &heads).rows(self.figures.iter().map(line)).render() + &inset(note)
    }

    fn tables_text(&self) -> String {
        if self.tables.is_empty() {
            return String::new();
        }
        let figure = |t: &TablePart, name, um| four(um) + if t.not_measured.contains(&name) { "*" } else { "" };
        let line = |t: &TablePart| {
            let figures = [("D10", t.d10_um), ("D50", t.d50_um), ("D90", t.d90_um)];
            row(t.file.as_str()).all(figures.map(|(name, um)| figure(t, name, um)))
        };
        Grid::new("lrrr", &["", "D10", "D50", "D90"]).rows(self.tables.iter().map(line)).render()
    }

    fn losses_text(&self) -> String {
        let line = |l: &LossPart| {
            let word = if l.loss_pct < 0.0 { "gained" } else { "lost" };
            let ends = (0..3).map(|i| [l.if_fine_um[i].min(l.if_coarse_um[i]), l.if_fine_um[i].max(l.if_coarse_um[i])]);
            let ends: Vec<String> = ends.map(|[low, high]| format!("{} to {}", four(low), four(high))).collect();
            let [charged, weighed] = [l.charged_g, l.weighed_g].map(four);
            row(l.file.as_str())
                .and(format!("{charged} g, {weighed} g back, {} % {word}", two(l.loss_pct.abs())))
                .all(ends)
        };
        if self.losses.is_empty() {
            return String::new();
        }
        let table =
            Grid::new("llrrr", &["", "", "D10, µm", "D50, µm", "D90, µm"]).rows(self.losses.iter().map(line)).render();
        table
            + &inset(
                "D-values from all of it the finest powder to all of it the coarsest: what the loss may do at most.",
            )
    }
}

fn measured_part(figure: &RepeatedValue) -> MeasuredPart {
    let told = |um: f64| figure.is_told.then_some(um);
    MeasuredPart {
        figure: figure.name,
        mean_um: figure.sample.mean,
        measured: figure.is_told,
        low_um: told(figure.interval_um[0]),
        high_um: told(figure.interval_um[1]),
        cv_pct: figure.sample.cv_pct().and_then(told),
        repeatability_limit_um: figure.sample.sd.and_then(|sd| told(REPEATABILITY_LIMIT * sd)),
        method_cv_pct: figure.method_cv_pct,
    }
}

fn loss_part(lost: &Lost, measured: &[LotTable]) -> LossPart {
    LossPart {
        file: measured.get(lost.table).map_or_else(String::new, |t| t.file.clone()),
        charged_g: lost.charged_g,
        weighed_g: lost.weighed_g,
        loss_pct: lost.pct(),
        if_fine_um: lost.if_fine_um,
        if_coarse_um: lost.if_coarse_um,
    }
}
