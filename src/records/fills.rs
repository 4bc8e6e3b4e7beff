//! Fill weights against the average system of the EU for prepackages: Directive 76/211/EEC, Annex I.
//!
//! The contents are not less on average than the nominal content; at most 2.5 % of the units fall short of it by more than the tolerable
//! negative error (T1); none by more than twice that (T2). Here that is said of the units that were weighed. What an inspector draws and
//! decides is in Annex II, as far as so many weighed units can tell; and in the law of the place.

use super::batches::WeighedBatch;
use crate::source::Fault;
use crate::tables::{Origin, PaperTables, SamplingKind, SamplingPlan};

/// Most units below T1, %.
pub const MOST_BELOW_T1_PCT: f64 = 2.5;

/// Batches of fewer units are weighed whole (Annex II).
const WEIGHED_WHOLE_BELOW: u32 = 100;

/// A tenth of a milligram is no shortage but arithmetic.
const ARITHMETIC_G: f64 = 1e-4;

/// What the fill weights come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Fills {
    /// Units weighed.
    pub count: usize,
    /// Nominal content, g.
    pub nominal_g: f64,
    /// Tolerable negative error, g.
    pub error_g: f64,
    /// Mean content, g.
    pub mean_g: f64,
    /// Least content, g.
    pub least_g: f64,
    /// Units below T1.
    pub below_t1: usize,
    /// Units below T2.
    pub below_t2: usize,
    /// Where the error comes from.
    pub origin: Origin,
    /// What was weighed, g, in its order.
    fill_g: Vec<f64>,
}

/// What an inspector's sample of a batch would come to, the units weighed first taken for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspected {
    /// Whether it is accepted; `None` while too few units are weighed.
    pub accepted: Option<bool>,
    /// Why, in words.
    pub says: String,
    /// Where the plan comes from.
    pub origin: Option<Origin>,
}

impl Fills {
    /// The test of Annex II for a batch of so many units: non-destructive where a jar is weighed as it is filled, destructive where it
    /// is opened for it.
    pub fn inspected(&self, units: u32, kind: SamplingKind, tables: &PaperTables) -> Inspected {
        let bare = |says| Inspected { accepted: None, says, origin: None };
        if units == 0 {
            return bare(format!("no unit came of the batch, and {} are weighed: look at its units", self.count));
        }
        if units < WEIGHED_WHOLE_BELOW {
            let all = self.count == units as usize;
            let so_many = match self.count {
                more if more > units as usize => format!("{more} weights are noted, more than it has"),
                count => format!("{count} are"),
            };
            let says = format!("a batch of {units} units, under {WEIGHED_WHOLE_BELOW}, is weighed whole; {so_many}");
            return Inspected { accepted: all.then(|| self.passes()), ..bare(says) };
        }
        match tables.sampling(units, kind) {
            None => bare(format!("no plan for a batch of {units} units: part it into batches of an hour of the line")),
            Some(plan) => Inspected { origin: Some(plan.origin()), ..self.by_plan(plan, units) },
        }
    }

    fn by_plan(&self, plan: &SamplingPlan, units: u32) -> Inspected {
        let (defective, says_units) = self.defective(plan);
        let (mean, says_mean) = self.mean_met(plan);
        let accepted = match (defective, mean) {
            (Some(false), _) | (_, Some(false)) => Some(false),
            (Some(true), Some(true)) => Some(true),
            _ => None,
        };
        Inspected { accepted, says: format!("batch of {units} units: {says_units}; {says_mean}"), origin: None }
    }

    /// Whether there are few enough defective units, those below T1, in the first sample or in both.
    fn defective(&self, plan: &SamplingPlan) -> (Option<bool>, String) {
        let among = |count: usize| self.fill_g.iter().take(count).filter(|f| self.is_below(**f, 1.0)).count();
        let says = |of: usize, found: usize, accept: usize, reject: usize| {
            format!("{found} of the first {of} below T1, accepted with {accept}, refused with {reject}")
        };
        let wants = |more: usize| (None, format!("{} weighed, {more} are needed", self.count));
        if self.count < plan.first {
            return wants(plan.first);
        }
        let first = among(plan.first);
        let told = says(plan.first, first, plan.accept, plan.reject);
        match first {
            few if few <= plan.accept => (Some(true), told),
            many if many >= plan.reject => (Some(false), told),
            _ if self.count < plan.total => {
                (None, format!("{told}: {} are needed, {} weighed", plan.total, self.count))
            }
            _ => {
                let both = among(plan.total);
                let told = says(plan.total, both, plan.total_accept, plan.total_reject);
                (Some(both <= plan.total_accept), told)
            }
        }
    }

    /// Whether the mean is as high as chance lets it be low.
    fn mean_met(&self, plan: &SamplingPlan) -> (Option<bool>, String) {
        let n = plan.mean_of;
        if self.count < n {
            return (None, format!("the mean is taken of {n}"));
        }
        let sample = &self.fill_g[..n];
        let mean = sample.iter().sum::<f64>() / n as f64;
        let variance = sample.iter().map(|f| (f - mean).powi(2)).sum::<f64>() / (n - 1) as f64;
        let least = self.nominal_g - plan.mean_factor * variance.sqrt();
        let says = format!("mean of the first {n} {mean:.3} g, {least:.3} g at least");
        (Some(mean >= least - ARITHMETIC_G), says)
    }

    /// Whether a content falls short by more than so many tolerable errors.
    fn is_below(&self, fill_g: f64, errors: f64) -> bool {
        fill_g < self.nominal_g - errors * self.error_g - ARITHMETIC_G
    }

    /// Holds the fill weights of a batch against its nominal content.
    ///
    /// # Errors
    /// Why they are not judged.
    pub fn new(weighed: &WeighedBatch, fill_g: &[f64], tables: &PaperTables) -> Result<Self, Fault> {
        let nominal_g = weighed.unit_g.ok_or("the register holds no nominal content; give --units 12x140g to batch")?;
        // The error of a content by volume is one of volume.
        let nominal = weighed.unit_ml.unwrap_or(nominal_g);
        let unit = if weighed.unit_ml.is_some() { "mL" } else { "g" };
        let row = tables.tolerable(nominal).ok_or_else(|| {
            Fault::from(format!(
                "a nominal content of {nominal} {unit} is outside the table of tolerable errors (gritwise tables prepackages)"
            ))
        })?;
        let error_g = row.of(nominal) * nominal_g / nominal;
        let below = |limit: f64| fill_g.iter().filter(|f| **f < limit - ARITHMETIC_G).count();
        Ok(Self {
            fill_g: fill_g.to_vec(),
            count: fill_g.len(),
            nominal_g,
            error_g,
            mean_g: fill_g.iter().sum::<f64>() / fill_g.len() as f64,
            least_g: fill_g.iter().copied().fold(f64::INFINITY, f64::min),
            below_t1: below(nominal_g - error_g),
            below_t2: below(nominal_g - 2.0 * error_g),
            origin: row.origin(),
        })
    }

    /// Units below T1, %.
    pub fn below_t1_pct(&self) -> f64 {
        100.0 * self.below_t1 as f64 / self.count as f64
    }

    /// Whether each of the three rules is met.
    pub fn rules(&self) -> [bool; 3] {
        [self.mean_g >= self.nominal_g - ARITHMETIC_G, self.below_t1_pct() <= MOST_BELOW_T1_PCT, self.below_t2 == 0]
    }

    /// Whether all are.
    pub fn passes(&self) -> bool {
        self.rules().iter().all(|met| *met)
    }
}
