//! The checks once more, of what is really weighed: rounding to steps of the balance moves shares, and some stand at a limit.

use super::{Batch, Order, largest_remainder, steps_of};
use crate::band::{self, Judge};
use crate::formula::check::{Check, CheckVerdict, checks_at};
use crate::formula::{Formula, OnSkin};
use crate::tables::Tables;
use serde::Serialize;

/// A check as weighed that stops, or is worse than by the formula. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckAsWeighed {
    /// The check as weighed.
    #[serde(flatten)]
    pub check: Check,
    /// Its verdict by the formula.
    pub verdict_by_formula: CheckVerdict,
    /// Its figure by the formula.
    pub value_by_formula: Option<f64>,
}

impl CheckAsWeighed {
    /// Whether rounding alone stops it.
    pub fn by_rounding(&self) -> bool {
        self.check.verdict == CheckVerdict::Stop && self.verdict_by_formula != CheckVerdict::Stop
    }
}

/// What makes the formula be weighed well enough. The field names are keys of `--json`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Remedy {
    /// The smallest of the usual batches on this balance, g.
    pub mass_g: Option<f64>,
    /// The coarsest of the usual balances for this batch, by its step in g.
    pub resolution_g: Option<f64>,
}

/// What a weighing is judged by, beside the formula itself.
pub(super) struct Judged<'a> {
    pub formula: &'a Formula,
    /// By the formula.
    pub checks: &'a [Check],
    pub on_skin: &'a OnSkin,
    pub band: band::Verdict,
    pub judge: &'a Judge,
    pub tables: &'a Tables,
}

/// Worse as weighed: a graver verdict, or a figure that has come nearer to its limit, or further beyond it, by more than a
/// convention.
fn is_worse(by_formula: &Check, weighed: &Check, tables: &Tables) -> bool {
    let told = tables.formula.constants.weighed_worse_pct.value / 100.0;
    let nearer = || {
        let ((before, after), limit) = (by_formula.value.zip(weighed.value)?, weighed.limit?);
        let same = by_formula.limit == weighed.limit && by_formula.unit == weighed.unit;
        // A figure that passes below its limit is worse when it rises, one that passes above when it falls.
        let below = (before <= limit) == (by_formula.verdict == CheckVerdict::Pass);
        let way = if below { after - before } else { before - after };
        Some(same && way > told * limit.abs())
    };
    weighed.verdict > by_formula.verdict || nearer().unwrap_or(false)
}

/// The checks of a formula as weighed.
pub(super) fn again(of: &Judged, weighed: &Formula) -> Vec<CheckAsWeighed> {
    let again = checks_at(weighed, of.on_skin, of.band.clone(), of.tables, of.judge);
    let pairs = of.checks.iter().zip(again);
    let told =
        pairs.filter(|(before, after)| after.verdict == CheckVerdict::Stop || is_worse(before, after, of.tables));
    told.map(|(before, check)| CheckAsWeighed {
        check,
        verdict_by_formula: before.verdict,
        value_by_formula: before.value,
    })
    .collect()
}

/// Batches that people make, within a decade.
const USUAL_BATCHES: [f64; 10] = [1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0];

/// Decades of batches and of balances that are tried.
const DECADES: i32 = 3;

/// What would do, when rounding brings a stop or a line has too few steps.
pub(super) fn remedy(of: &Judged, batch: &Batch) -> Remedy {
    let lines: Vec<f64> = batch.weighings.iter().map(|w| w.exact_g / batch.total_g).collect();
    let does = |mass_g: f64, resolution_g: f64| {
        let Some(steps) = steps_of(mass_g, resolution_g) else { return false };
        let quotas: Vec<f64> = lines.iter().map(|share| share * steps).collect();
        let least = of.tables.formula.constants.balance_steps.value;
        if quotas.iter().any(|q| *q < least) {
            return false;
        }
        let mut weighings = batch.weighings.clone();
        for (w, whole) in weighings.iter_mut().zip(largest_remainder(&quotas)) {
            w.grams = whole as f64 * resolution_g;
        }
        let weighed = super::as_weighed(of.formula, &weighings, steps * resolution_g);
        !again(of, &weighed).iter().any(CheckAsWeighed::by_rounding)
    };
    let decade = batch.total_g.log10().floor() as i32;
    let batches = (decade..=decade + DECADES).flat_map(|d| USUAL_BATCHES.map(|b| super::clean(b * 10f64.powi(d))));
    let finest = batch.resolution_g.log10().ceil() as i32;
    let balances = (1..=DECADES + 1).map(|d| super::clean(10f64.powi(finest - d)));
    Remedy {
        mass_g: batches.filter(|mass| *mass > batch.total_g).find(|mass| does(*mass, batch.resolution_g)),
        resolution_g: balances.filter(|r| *r > 0.0).find(|r| does(batch.total_g, *r)),
    }
}

/// How a batch is weighed is asked for by its order alone.
pub(super) fn is_coarse(order: &Order, grams: f64, tables: &Tables) -> bool {
    grams / order.resolution_g < tables.formula.constants.balance_steps.value * (1.0 - 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(verdict: CheckVerdict, value: f64, limit: f64) -> Check {
        Check {
            key: "acid",
            verdict,
            value: Some(value),
            limit: Some(limit),
            unit: "%",
            why: String::new(),
            open: Vec::new(),
            source: String::new(),
            status: String::new(),
            grounds: Vec::new(),
        }
    }

    #[test]
    fn worse_is_nearer_to_a_limit_or_further_beyond_it_by_more_than_a_hundredth_of_the_limit() {
        // By hand, at a limit of 2: a hundredth of it is 0.02. The side on which a figure passes shows in its verdict.
        let tables = Tables::built_in().unwrap();
        assert_eq!(tables.formula.constants.weighed_worse_pct.value, 1.0);
        let cases = [
            ("passes below, rises", CheckVerdict::Pass, 1.9, 1.0),
            ("passes above, falls", CheckVerdict::Pass, 2.1, -1.0),
            ("is too high, rises", CheckVerdict::Caution, 2.1, 1.0),
            ("is too low, falls", CheckVerdict::Caution, 1.9, -1.0),
            ("passes at its limit, rises", CheckVerdict::Pass, 2.0, 1.0),
        ];
        for (what, verdict, before, way) in cases {
            let by_formula = check(verdict, before, 2.0);
            let moved = |by: f64| check(verdict, before + by, 2.0);
            for (by, is_told) in [(0.021, true), (0.019, false), (-0.021, false)] {
                assert_eq!(is_worse(&by_formula, &moved(way * by), &tables), is_told, "{what}, by {by}");
            }
            // What is held against another limit, or in another unit, is not compared.
            let other = [Check { limit: Some(2.5), ..moved(way) }, Check { unit: "g", ..moved(way) }];
            assert!(!other.iter().any(|weighed| is_worse(&by_formula, weighed, &tables)), "{what}");
            let graver = Check { verdict: CheckVerdict::Stop, value: None, ..by_formula.clone() };
            assert!(is_worse(&by_formula, &graver, &tables) && !is_worse(&graver, &by_formula, &tables), "{what}");
        }
        // A limit below 0 has a hundredth too.
        let cold = check(CheckVerdict::Pass, -3.0, -2.0);
        assert!(!is_worse(&cold, &check(CheckVerdict::Pass, -2.99, -2.0), &tables));
    }
}
