//! Measurements of a powder by themselves, without a grade: their mean, how far its D-values may be off, and what was lost on the way.

use super::lot::{LotError, LotTable, RANKS, mean_record, mixed_methods};
use super::measurement::{FoundOddity, Oddity, sieve_test, spread};
use crate::confidence::tolerance;
use crate::numerics::normal;
use crate::numerics::student::Sample;
use crate::size::{SizeDistribution, SizeRecord};
use crate::tables::Tables;

/// A D-value and how far it may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RepeatedValue {
    /// `D10`, `D50` or `D90`.
    pub name: &'static str,
    /// Over the tables, µm.
    pub sample: Sample,
    /// Whether each of them tells it: none has it in a class with but one bound, where it hangs on what is assumed.
    pub is_told: bool,
    /// Coefficient of variation with which one measurement of this method repeats, %.
    pub method_cv_pct: f64,
    /// Interval of the mean, µm: by Student's t from the spread of repeats, of a single table by the repeatability of its method.
    pub interval_um: [f64; 2],
}

/// What was lost in a sieving, and what the loss may do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lost {
    /// Which table, from 0.
    pub table: usize,
    /// What was put on the top sieve, g.
    pub charged_g: f64,
    /// All that was weighed again, g.
    pub weighed_g: f64,
    /// D10, D50 and D90, µm, had all of it been the finest powder of all.
    pub if_fine_um: [f64; 3],
    /// The same had it been the coarsest.
    pub if_coarse_um: [f64; 3],
}

impl Lost {
    /// Loss, % of what was charged; a gain is negative.
    pub fn pct(&self) -> f64 {
        100.0 * (1.0 - self.weighed_g / self.charged_g)
    }
}

/// One or more measurements of a powder.
#[derive(Debug, Clone)]
pub struct Repeats {
    /// Their mean.
    pub mean: SizeRecord,
    /// D10, D50 and D90.
    pub figures: [RepeatedValue; 3],
    /// One for each table that says what was charged.
    pub lost: Vec<Lost>,
    /// What there is to say of the measurement.
    pub findings: Vec<FoundOddity>,
}

impl Repeats {
    /// Takes tables of one powder together. `sieve_mm` is the frame of the sieves; the acceptance table's where it is not said.
    ///
    /// # Errors
    /// [`LotError`] without a table, or when the tables make no mean curve.
    pub fn of(measured: &[LotTable], sieve_mm: Option<f64>, tables: &Tables) -> Result<Self, LotError> {
        let limits = &tables.acceptance;
        let records: Vec<&SizeRecord> = measured.iter().map(|t| &t.record).collect();
        let mean = as_one(mean_record(&records)?, &records);
        let [median, outer] = tolerance(&mean.distribution, mean.form, tables);
        let confidence = limits.interval_pct / 100.0;
        let figures = RANKS.map(|(name, share)| {
            let values: Vec<f64> = records.iter().map(|r| r.distribution.quantile(share)).collect();
            let sd_ln = if share == 0.5 { median } else { outer };
            let is_told = records.iter().all(|r| r.tells(share));
            RepeatedValue::new(name, Sample::of(&values), is_told, sd_ln, confidence)
        });
        let sieve_mm = sieve_mm.unwrap_or(limits.sieve_diameter_mm);
        let mut findings = Vec::new();
        for (i, table) in measured.iter().enumerate() {
            let standards = &tables.standards;
            let most_loss = limits.loss_most_pct;
            let found = sieve_test(&table.record, table.charged_g, most_loss, sieve_mm, standards, limits);
            findings.extend(found.into_iter().map(|f| f.of(i)));
        }
        let is_told = |found: &FoundOddity| match found.finding {
            Oddity::Spread { figure, .. } => figures.iter().any(|f| f.name == figure && f.is_told),
            _ => true,
        };
        findings.extend(spread(&figures.map(|f| (f.name, f.sample)), limits).into_iter().filter(is_told));
        findings.extend(mixed_methods(measured));
        let lost = measured.iter().enumerate().filter_map(|(i, table)| lost(i, table)).collect();
        Ok(Self { mean, figures, lost, findings })
    }
}

impl RepeatedValue {
    fn new(name: &'static str, sample: Sample, is_told: bool, sd_ln: f64, confidence: f64) -> Self {
        let interval_um = match sample.half_width(confidence) {
            Some(half) => [(sample.mean - half).max(0.0), sample.mean + half],
            None => {
                let reach = normal::quantile(0.5 + 0.5 * confidence) * sd_ln;
                [-reach, reach].map(|off| sample.mean * off.exp())
            }
        };
        Self { name, sample, is_told, method_cv_pct: 100.0 * sd_ln.exp_m1(), interval_um }
    }
}

/// The mean of several tables as a record of its own: its points are those that all of them speak of.
fn as_one(mean: SizeRecord, records: &[&SizeRecord]) -> SizeRecord {
    if records.len() < 2 {
        return mean;
    }
    let mut sizes: Vec<f64> = records.iter().flat_map(|r| r.points.iter().map(|p| p.0)).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.dedup_by(|a, b| *a / *b < 1.0 + 1e-9);
    let points = sizes.into_iter().map(|x| (x, mean.distribution.undersize(x))).collect();
    let share = |of: fn(&SizeRecord) -> f64| records.iter().map(|r| of(r)).sum::<f64>() / records.len() as f64;
    let (open_below, open_above) = (share(|r| r.open_below), share(|r| r.open_above));
    let measured = mean.measured.map(|m| crate::size::Measured { weighed_g: None, ..m });
    SizeRecord { points, open_below, open_above, measured, understood: None, ..mean }
}

/// What the loss of a table may do: all of it the finest powder there is, or all of it the coarsest.
fn lost(table: usize, of: &LotTable) -> Option<Lost> {
    let (weighed_g, charged_g) = (of.record.measured?.weighed_g?, of.charged_g?);
    let curve: &SizeDistribution = &of.record.distribution;
    let at = |share: f64| curve.quantile(share.clamp(0.0, 1.0));
    let (lost, kept) = ((charged_g - weighed_g) / weighed_g, charged_g / weighed_g);
    let if_fine_um = RANKS.map(|(_, share)| at(share * kept - lost));
    let if_coarse_um = RANKS.map(|(_, share)| at(share * kept));
    Some(Lost { table, charged_g, weighed_g, if_fine_um, if_coarse_um })
}
