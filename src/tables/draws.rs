//! How far drawn properties stray where nobody gave a range.

use super::{TableError, TableFile, refuse_repeats, without_lines};
use crate::size::SizeForm;
use crate::size::table::TableKind;
use crate::source::did_you_mean;
use serde::Deserialize;

/// `draws.csv`: one tolerance.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "unit, status and source are read so that a table without them is refused")]
struct DrawRow {
    tolerance: String,
    value: f64,
    unit: String,
    status: String,
    source: String,
}

/// The tolerances with which properties are drawn. Those of sizes and properties are standard deviations of ln, from percent.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawTolerances {
    sizes: Vec<(&'static str, [f64; 2])>,
    /// Sizes below this are known less well, µm.
    pub fine_below_um: f64,
    /// By this factor.
    pub fine_factor: f64,
    /// A stated share outside a range may be more or less by this factor.
    pub stated_tail_factor: f64,
    /// Share (0..1) on the coarsest sieve of a table above which its top is open: the verdict says "at least".
    pub open_top_share: f64,
    /// Such a top is drawn between the coarsest opening times the first and times the second of these.
    pub open_top_factors: [f64; 2],
    /// Correlation of outer percentiles with the median.
    pub percentile_correlation: f64,
    /// Density without a range.
    pub density: f64,
    /// Hardness without a range.
    pub hardness: f64,
    /// Roundness without a range.
    pub roundness: f64,
    /// Roundness after fifty grains were judged.
    pub measured_roundness: f64,
    /// Hardness after grains were indented.
    pub measured_hardness: f64,
}

const FORMS: [&str; 5] = ["laser", "sieve", "counts", "grit", "stated"];

const OTHERS: [&str; 12] = [
    "fine_below_um",
    "fine_factor",
    "stated_tail_factor",
    "open_top_pct",
    "open_top_least_factor",
    "open_top_most_factor",
    "percentile_correlation",
    "density_pct",
    "hardness_pct",
    "roundness_pct",
    "measured_roundness_pct",
    "measured_hardness_pct",
];

impl DrawTolerances {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        let rows: Vec<(usize, DrawRow)> = file.rows()?;
        refuse_repeats(file, &rows, |r| r.tolerance.clone())?;
        let keys = FORMS.map(|form| [format!("{form}_d50_pct"), format!("{form}_d10_d90_pct")]);
        let known: Vec<&str> = keys.iter().flatten().map(String::as_str).chain(OTHERS).collect();
        for (line, row) in &rows {
            if !known.contains(&row.tolerance.as_str()) {
                let hint = did_you_mean(&row.tolerance, known.iter().copied());
                return Err(file.error(*line, format!("there is no tolerance \"{}\"; {hint}", row.tolerance)));
            }
            let (least, most) = match row.tolerance.as_str() {
                name if name.ends_with("_pct") => (0.0, 100.0),
                "percentile_correlation" => (0.0, 0.99),
                "fine_below_um" => (0.0, 1e6),
                _ => (1.0, 10.0),
            };
            if !(least..=most).contains(&row.value) {
                let problem = format!("{} must lie between {least} and {most}, not {}", row.tolerance, row.value);
                return Err(file.error(*line, problem));
            }
        }
        let rows = without_lines(rows);
        let get = |name: &str| {
            let row = rows.iter().find(|r| r.tolerance == name);
            row.map(|r| r.value).ok_or_else(|| file.error(1, format!("the tolerance \"{name}\" is missing")))
        };
        let ln = |name: &str| Ok::<f64, TableError>((get(name)? / 100.0).ln_1p());
        let mut sizes = Vec::new();
        for (form, [median, outer]) in FORMS.iter().zip(&keys) {
            sizes.push((*form, [ln(median)?, ln(outer)?]));
        }
        Ok(Self {
            sizes,
            fine_below_um: get("fine_below_um")?,
            fine_factor: get("fine_factor")?,
            stated_tail_factor: get("stated_tail_factor")?,
            open_top_share: get("open_top_pct")? / 100.0,
            open_top_factors: [get("open_top_least_factor")?, get("open_top_most_factor")?],
            percentile_correlation: get("percentile_correlation")?,
            density: ln("density_pct")?,
            hardness: ln("hardness_pct")?,
            roundness: ln("roundness_pct")?,
            measured_roundness: ln("measured_roundness_pct")?,
            measured_hardness: ln("measured_hardness_pct")?,
        })
    }

    /// Standard deviations of ln of the median and of D10 and D90, for sizes not below [`Self::fine_below_um`].
    pub fn sizes(&self, form: SizeForm) -> [f64; 2] {
        let name = match form {
            SizeForm::Stated | SizeForm::Range { .. } => "stated",
            SizeForm::Grit => "grit",
            SizeForm::Measured(TableKind::Laser) => "laser",
            SizeForm::Measured(TableKind::Sieve) => "sieve",
            SizeForm::Measured(TableKind::Counts) => "counts",
        };
        self.sizes.iter().find(|s| s.0 == name).map_or([0.0; 2], |s| s.1)
    }
}
