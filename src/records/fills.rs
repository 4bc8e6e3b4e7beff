//! Fill weights against the average system of the EU for prepackages: Directive 76/211/EEC, Annex I.
//!
//! The contents are not less on average than the nominal content; at most 2.5 % of the units fall short of it by more than the tolerable
//! negative error (T1); none by more than twice that (T2). Here that is said of the units that were weighed. What an inspector draws and
//! decides is in Annex II, and in the law of the place.

use super::batches::Weighed;
use crate::tables::{Origin, PaperTables};

/// Most units below T1, %.
pub const MOST_BELOW_T1_PCT: f64 = 2.5;

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
}

impl Fills {
    /// Holds the fill weights of a batch against its nominal content.
    ///
    /// # Errors
    /// Why they are not judged.
    pub fn new(weighed: &Weighed, fill_g: &[f64], tables: &PaperTables) -> Result<Self, String> {
        let nominal_g = weighed.unit_g.ok_or("the register holds no nominal content; give --units 12x140g to batch")?;
        // The error of a content by volume is one of volume.
        let nominal = weighed.unit_ml.unwrap_or(nominal_g);
        let row = tables.tolerable(nominal).ok_or_else(|| {
            format!(
                "a nominal content of {nominal} is outside the table of tolerable errors (gritwise tables prepackages)"
            )
        })?;
        let error_g = row.of(nominal) * nominal_g / nominal;
        // A tenth of a milligram is no shortage but arithmetic.
        let below = |limit: f64| fill_g.iter().filter(|f| **f < limit - 1e-4).count();
        Ok(Self {
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
        [self.mean_g >= self.nominal_g - 1e-4, self.below_t1_pct() <= MOST_BELOW_T1_PCT, self.below_t2 == 0]
    }

    /// Whether all are.
    pub fn passes(&self) -> bool {
        self.rules().iter().all(|met| *met)
    }
}
