//! Whether a measured table can be relied on: what was lost on the sieves, sieves that were empty, left out or overloaded, the
//! spread of repeats, the mass of the sample. Limits are those of the acceptance table.

use crate::numerics::student::Sample;
use crate::size::SizeRecord;
use crate::size::standards::Standards;
use crate::size::table::TableKind;
use crate::tables::AcceptanceLimits;
use std::f64::consts::PI;

/// Something about a measurement that its reader must know.
#[derive(Debug, Clone, PartialEq)]
pub enum Oddity {
    /// What was charged and what was weighed again differ; a negative loss is a gain.
    Loss {
        /// Loss, % of what was charged.
        pct: f64,
        /// The limit that it passes.
        limit_pct: f64,
    },
    /// A sieve that holds next to nothing between two full ones.
    EmptySieve {
        /// Its opening, µm.
        opening_um: f64,
    },
    /// A sieve of the series left out where much of the powder lies.
    LeftOut {
        /// Openings of the series between two sieves of the table, µm.
        missing_um: Vec<f64>,
        /// What lies between those two, %.
        share_pct: f64,
    },
    /// More on a sieve than it can sort.
    Overloaded {
        /// Its opening, µm.
        opening_um: f64,
        /// What it holds, g.
        held_g: f64,
        /// What it may hold, g.
        most_g: f64,
    },
    /// Repeats that differ too much.
    Spread {
        /// `D10`, `D50` or `D90`.
        figure: &'static str,
        /// Coefficient of variation, %.
        cv_pct: f64,
        /// The limit that it passes, %.
        limit_pct: f64,
    },
    /// The sample is said to be less than lay on the sieves: one of the two is wrong.
    SampleBelowSieves {
        /// Its mass, g.
        sample_g: f64,
        /// What lay on the sieves, g.
        weighed_g: f64,
    },
    /// A sample too small to speak for the lot.
    SmallSample {
        /// Its mass, g.
        sample_g: f64,
        /// What it should be at least, g.
        least_g: f64,
    },
    /// The grade was measured by another method.
    OtherMethod {
        /// Of the grade.
        grade: TableKind,
        /// Of the lot.
        lot: TableKind,
    },
    /// The tables of the lot were measured by different methods.
    MixedMethods {
        /// Of the first table.
        first: TableKind,
        /// Of one that differs.
        other: TableKind,
    },
    /// The table looks like another powder's.
    OtherPowder {
        /// D50 over that of the grade.
        factor: f64,
        /// A powder of the scrub whose D50 is nearer.
        nearer: Option<String>,
    },
}

/// A finding, whether it makes the measurement worthless, and the table it is about (from 0), if it is about one.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundOddity {
    /// What.
    pub finding: Oddity,
    /// The measurement must be done again before anything is decided.
    pub grave: bool,
    /// Which table.
    pub table: Option<usize>,
}

impl FoundOddity {
    pub(super) fn note(finding: Oddity) -> Self {
        Self { finding, grave: false, table: None }
    }

    pub(super) fn of(self, table: usize) -> Self {
        Self { table: Some(table), ..self }
    }
}

/// Everything to say of one sieve test. `most_loss_pct` makes it worthless; `charged_g` is what was put on the top sieve.
pub fn sieve_test(
    record: &SizeRecord,
    charged_g: Option<f64>,
    most_loss_pct: f64,
    sieve_mm: f64,
    standards: &Standards,
    limits: &AcceptanceLimits,
) -> Vec<FoundOddity> {
    let Some(measured) = record.measured.filter(|m| m.kind == TableKind::Sieve) else { return Vec::new() };
    let mut found = Vec::new();
    if let (Some(weighed), Some(charged)) = (measured.weighed_g, charged_g) {
        found.extend(loss(100.0 * (1.0 - weighed / charged), most_loss_pct, limits));
    }
    found.extend(empty_sieves(record, limits));
    found.extend(left_out(record, standards, limits));
    if let Some(weighed) = measured.weighed_g {
        found.extend(overloaded(record, weighed, sieve_mm, limits));
    }
    found
}

fn loss(pct: f64, most_pct: f64, limits: &AcceptanceLimits) -> Option<FoundOddity> {
    // A balance's last digit is no loss.
    let beyond = |limit: f64| pct.abs() > limit + 1e-9;
    let grave = beyond(most_pct);
    let limit_pct = if grave { most_pct } else { limits.loss_pct };
    (grave || beyond(limit_pct)).then_some(FoundOddity { finding: Oddity::Loss { pct, limit_pct }, grave, table: None })
}

/// Shares by sieve, fine to coarse: opening, the next coarser opening, share between them. The pan and what stays on the top
/// sieve have no second opening and are left out.
fn between(record: &SizeRecord) -> impl Iterator<Item = (f64, f64, f64)> {
    record.points.windows(2).map(|w| (w[0].0, w[1].0, w[1].1 - w[0].1))
}

fn empty_sieves(record: &SizeRecord, limits: &AcceptanceLimits) -> Vec<FoundOddity> {
    let classes: Vec<(f64, f64, f64)> = between(record).collect();
    let density = |c: &(f64, f64, f64)| c.2 / (c.1 / c.0).ln();
    let is_empty = |w: &&[(f64, f64, f64)]| {
        let full = [&w[0], &w[2]].iter().all(|c| 100.0 * c.2 >= limits.full_pct);
        full && density(&w[1]) < limits.empty_ratio_pct / 100.0 * density(&w[0]).min(density(&w[2]))
    };
    let empty = classes.windows(3).filter(is_empty);
    let grave = |opening_um| FoundOddity { finding: Oddity::EmptySieve { opening_um }, grave: true, table: None };
    empty.map(|w| grave(w[1].0)).collect()
}

fn left_out(record: &SizeRecord, standards: &Standards, limits: &AcceptanceLimits) -> Vec<FoundOddity> {
    let openings: Vec<f64> = record.points.iter().map(|p| p.0).collect();
    let Some(series) = standards.series_of(&openings) else { return Vec::new() };
    let gaps: Vec<(Vec<f64>, f64)> = between(record)
        .map(|(lower, upper, share)| {
            let inside = |o: &&f64| **o > lower * 1.005 && **o < upper * 0.995;
            (series.iter().filter(inside).copied().collect(), share)
        })
        .collect();
    // A stack of every second sieve leaves none out.
    let mut steps: Vec<usize> = gaps.iter().map(|(missing, _)| missing.len()).collect();
    steps.sort_unstable();
    let usual = steps.get(steps.len() / 2).copied().unwrap_or(0);
    let matters = |(missing, share): &(Vec<f64>, f64)| missing.len() > usual && 100.0 * share >= limits.gap_pct;
    let note = |(missing_um, share): (Vec<f64>, f64)| {
        FoundOddity::note(Oddity::LeftOut { missing_um, share_pct: 100.0 * share })
    };
    gaps.into_iter().filter(matters).map(note).collect()
}

fn overloaded(record: &SizeRecord, weighed_g: f64, sieve_mm: f64, limits: &AcceptanceLimits) -> Vec<FoundOddity> {
    let area_m2 = PI / 4.0 * (sieve_mm / 1000.0).powi(2);
    let most_g = 1000.0 * limits.sieve_load_kg_m2 * area_m2;
    let top = record.points.last().map(|p| (p.0, 1.0 - p.1));
    let held = between(record).map(|(opening, _, share)| (opening, share)).chain(top);
    held.map(|(opening_um, share)| (opening_um, share * weighed_g))
        .filter(|(_, held_g)| *held_g > most_g)
        .map(|(opening_um, held_g)| FoundOddity::note(Oddity::Overloaded { opening_um, held_g, most_g }))
        .collect()
}

/// The spread of D10, D50 and D90 over repeats, against the limits for the median at hand.
pub fn spread(figures: &[(&'static str, Sample); 3], limits: &AcceptanceLimits) -> Vec<FoundOddity> {
    let fine = if figures[1].1.mean < limits.fine_um { limits.fine_factor } else { 1.0 };
    let one = |(i, (figure, sample)): (usize, &(&'static str, Sample))| {
        let cv_pct = sample.cv_pct()?;
        let [allowed, most] = match i {
            1 => [limits.cv_d50_pct, limits.cv_most_d50_pct],
            _ => [limits.cv_tail_pct, limits.cv_most_tail_pct],
        }
        .map(|limit| fine * limit);
        let grave = cv_pct > most;
        let limit_pct = if grave { most } else { allowed };
        let finding = Oddity::Spread { figure, cv_pct, limit_pct };
        (cv_pct > allowed).then_some(FoundOddity { finding, grave, table: None })
    };
    figures.iter().enumerate().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::Tables;

    #[test]
    fn repeats_of_a_median_below_ten_um_may_differ_by_twice_as_much() {
        // ISO 13320 and USP <429>: 3 % at the median and 5 % at D10 and D90, 10 and 15 % at most; doubled below 10 µm, not at it.
        let limits = Tables::built_in().unwrap().acceptance;
        let sample = |mean: f64, cv_pct: f64| Sample { count: 3, mean, sd: Some(mean * cv_pct / 100.0) };
        let found = |d50: f64, cv: [f64; 3]| {
            let figures =
                [("D10", sample(0.5 * d50, cv[0])), ("D50", sample(d50, cv[1])), ("D90", sample(2.0 * d50, cv[2]))];
            let limit = |f: FoundOddity| match f.finding {
                Oddity::Spread { figure, limit_pct, .. } => (figure, limit_pct, f.grave),
                other => panic!("{other:?}"),
            };
            spread(&figures, &limits).into_iter().map(limit).collect::<Vec<_>>()
        };
        assert_eq!(found(10.0, [4.9, 4.0, 5.1]), [("D50", 3.0, false), ("D90", 5.0, false)]);
        assert_eq!(found(9.99, [9.9, 5.9, 10.1]), [("D90", 10.0, false)]);
        assert_eq!(found(165.0, [15.1, 10.1, 2.0]), [("D10", 15.0, true), ("D50", 10.0, true)]);
        assert_eq!(found(9.99, [15.1, 20.1, 2.0]), [("D10", 10.0, false), ("D50", 20.0, true)]);
    }
}
