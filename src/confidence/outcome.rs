//! What many draws come to: index, groove ratios and bands.

use super::draws::Drawing;
use super::inputs::Vary;
use super::sampling::{at_points, of_scramble};
use crate::band::Judge;
use crate::numerics::parallel::in_order;
use crate::numerics::sensitivity::{Estimate, SCRAMBLES};
use crate::numerics::tally::Tally;
use crate::numerics::written::entries;
use serde::{Serialize, Serializer};

/// An index under this is next to nothing; its logarithm is taken as that of this.
pub(super) const LEAST_INDEX: f64 = 0.01;

/// 5, 50 and 95 % of the draws, each with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// 5 % of the draws are lower.
    pub p5: Estimate,
    /// Half of the draws are lower.
    pub p50: Estimate,
    /// 5 % of the draws are higher.
    pub p95: Estimate,
}

impl Interval {
    /// The three numbers.
    pub fn values(&self) -> [f64; 3] {
        [self.p5, self.p50, self.p95].map(|e| e.value)
    }

    /// As keys of JSON, each after `prefix`: the numbers, then their errors.
    ///
    /// # Errors
    /// Those of the serializer.
    pub fn keyed<S: Serializer>(&self, prefix: &str, serializer: S) -> Result<S::Ok, S::Error> {
        let names = ["p5", "p50", "p95"].map(|name| format!("{prefix}{name}"));
        let errors = names.clone().map(|name| name + "_error").into_iter();
        let errors = errors.zip([self.p5, self.p50, self.p95].map(|e| e.error));
        entries(serializer, names.into_iter().zip(self.values()).chain(errors))
    }
}

impl Serialize for Interval {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.keyed("", serializer)
    }
}

/// What the draws come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Abrasiveness index.
    pub index: Interval,
    /// Groove ratio at each site.
    pub ratios: Vec<Interval>,
    /// Probability (0..1) of each rank, mild to harsh, the last one being what no band allows.
    pub bands: Vec<Estimate>,
    /// Probability of each rank or a milder one.
    pub at_most: Vec<Estimate>,
    /// Places at equal steps of ln index, and the share of the draws per unit of ln.
    pub density: Vec<(f64, f64)>,
}

/// Places of the density.
const PLACES: usize = 80;

/// Counts of one scramble.
struct Counts {
    index: Tally,
    ratios: Vec<Tally>,
    bands: Vec<u64>,
}

/// What so many draws come to; `None` where `done` stops them.
pub(super) fn outcome(
    drawing: &Drawing,
    judge: &Judge,
    vary: Vary,
    draws: u64,
    seed: u64,
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Option<Outcome> {
    let (sites, bands) = (judge.model().sites().len(), judge.bands().len() + 1);
    let scrambles = in_order(SCRAMBLES, |scramble| {
        count(drawing, vary, of_scramble(draws, scramble), (seed, scramble), (sites, bands), done)
    });
    let scrambles = scrambles.into_iter().collect::<Option<Vec<_>>>()?;
    let interval = |of: &dyn Fn(&Counts) -> &Tally| {
        let mut whole = Tally::default();
        scrambles.iter().for_each(|s| whole.merge(of(s)));
        let quantile = |p: f64| {
            let each: Vec<f64> = scrambles.iter().map(|s| of(s).quantile(p)).collect();
            Estimate::new(whole.quantile(p), &each)
        };
        (Interval { p5: quantile(0.05), p50: quantile(0.5), p95: quantile(0.95) }, whole)
    };
    let (index, tally) = interval(&|s| &s.index);
    let ends = [0.001, 0.999].map(|p| tally.quantile(p).max(LEAST_INDEX));
    let probability = |ranks: std::ops::RangeInclusive<usize>| {
        let among = |s: &Counts| s.bands[ranks.clone()].iter().sum::<u64>();
        let share = |s: &Counts| among(s) as f64 / s.bands.iter().sum::<u64>() as f64;
        let whole = scrambles.iter().map(among).sum::<u64>() as f64 / draws as f64;
        Estimate::new(whole, &scrambles.iter().map(share).collect::<Vec<_>>())
    };
    Some(Outcome {
        index,
        ratios: (0..sites).map(|i| interval(&|s| &s.ratios[i]).0).collect(),
        bands: (0..bands).map(|rank| probability(rank..=rank)).collect(),
        at_most: (0..bands).map(|rank| probability(0..=rank)).collect(),
        density: if ends[1] > ends[0] { tally.density(ends[0] / 1.1, ends[1] * 1.1, PLACES) } else { Vec::new() },
    })
}

/// Counts one scramble.
fn count(
    drawing: &Drawing,
    vary: Vary,
    draws: usize,
    scramble: (u64, usize),
    (sites, bands): (usize, usize),
    done: &impl Fn(u64) -> bool,
) -> Option<Counts> {
    let mut counts = Counts { index: Tally::default(), ratios: vec![Tally::default(); sites], bands: vec![0; bands] };
    let mut rubber = drawing.rubber(vary);
    let add = |points: &[f64]| {
        for figures in rubber.figures(points) {
            counts.index.add(figures.index);
            counts.ratios.iter_mut().zip(&figures.groove_ratios).for_each(|(tally, ratio)| tally.add(*ratio));
            counts.bands[figures.rank] += 1;
        }
    };
    at_points(drawing, draws, scramble, add, done).then_some(counts)
}
