//! New parts for one powder that bring the index of a scrub back, with every other powder's share of the scrub kept: the load
//! follows the powder.

use crate::band::{Assessment, Judge, Quantity, Variation};
use crate::blend::{Blend, Scrub};
use crate::numerics::roots;
use crate::units::{LoadPercent, Parts};

/// A scrub with new parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Rebalanced {
    /// The scrub.
    pub scrub: Scrub,
    /// It, rubbed and judged.
    pub assessment: Assessment,
    /// The index is the one wanted; otherwise a limit of the band stopped short of it.
    pub restored: bool,
}

/// How far the parts are walked, as a factor either way, and in how many steps.
const REACH: f64 = 20.0;
const STEPS: i32 = 40;
const MOST_PARTS: f64 = 100.0;
/// How far inside a limit parts are put that a limit decides, relative: further than rounding to four digits takes them back.
const INSIDE: f64 = 1e-3;

/// Parts of the powder `place` that give the scrub this index and no harsher a band than `rank`; where the band does not let
/// it have the index, the parts at its limit, if the index is then off by no more than `index_off` (relative).
pub fn rebalance(
    judge: &Judge,
    scrub: &Scrub,
    place: usize,
    index: f64,
    rank: usize,
    index_off: f64,
) -> Option<Rebalanced> {
    let walk = RebalanceWalk::new(judge, scrub, place);
    let parts = walk.nearest_root(|parts| walk.assess(parts).figures.index / index - 1.0)?;
    if let Some(found) = walk.scrub_with(parts, true).filter(|r| r.assessment.verdict.rank <= rank) {
        return Some(found);
    }
    // No band allows what is beyond the last one: there is no limit to stop at.
    let limit = (rank < judge.bands().len()).then(|| walk.limit_below(parts, rank)).flatten()?;
    let near = |r: &Rebalanced| (r.assessment.figures.index / index - 1.0).abs() <= index_off;
    walk.scrub_with(limit, false).filter(|r| r.assessment.verdict.rank <= rank && near(r))
}

struct RebalanceWalk<'a> {
    variation: Variation<'a>,
    scrub: &'a Scrub,
    place: usize,
    now: f64,
    all: f64,
}

impl<'a> RebalanceWalk<'a> {
    fn new(judge: &'a Judge, scrub: &'a Scrub, place: usize) -> Self {
        let all = scrub.blend.components().iter().map(|c| c.parts.get()).sum();
        let now = scrub.blend.components()[place].parts.get();
        Self { variation: Variation::new(judge, scrub), scrub, place, now, all }
    }

    /// The load with so many parts of the powder, %.
    fn load(&self, parts: f64) -> f64 {
        self.scrub.load.get() * (self.all - self.now + parts) / self.all
    }

    fn settings(&self, parts: f64) -> [(Quantity, f64); 2] {
        [(Quantity::Parts(self.place), parts), (Quantity::Load, self.load(parts))]
    }

    fn assess(&self, parts: f64) -> Assessment {
        self.variation.assess(&self.settings(parts))
    }

    /// The values on one side, outwards, as long as the scrub holds them.
    fn outwards(&self, from: f64, side: f64) -> impl Iterator<Item = f64> {
        let steps = (1..=STEPS).map(move |i| from * REACH.powf(side * f64::from(i) / f64::from(STEPS)));
        steps.take_while(|parts| self.load(*parts) <= 100.0)
    }

    /// The root nearest to where the parts stand.
    fn nearest_root(&self, off: impl Fn(f64) -> f64) -> Option<f64> {
        let here = off(self.now);
        if here == 0.0 {
            return Some(self.now);
        }
        let roots = [-1.0, 1.0].into_iter().filter_map(|side| {
            let mut inside = self.now;
            for outside in self.outwards(self.now, side) {
                if (off(outside) > 0.0) != (here > 0.0) {
                    return roots::brent(&off, inside, outside, 1e-10 * self.now).ok();
                }
                inside = outside;
            }
            None
        });
        roots.min_by(|a, b| (a / self.now).ln().abs().total_cmp(&(b / self.now).ln().abs()))
    }

    /// The most parts below `from` that meet the limits of a band.
    fn limit_below(&self, from: f64, rank: usize) -> Option<f64> {
        let excess = |parts: f64| self.variation.excess(&self.settings(parts), rank);
        let mut outside = from;
        for inside in self.outwards(from, -1.0) {
            if excess(inside) <= 0.0 {
                let limit = roots::brent(excess, inside, outside, 1e-10 * self.now).ok()?;
                return Some(limit * (1.0 - INSIDE));
            }
            outside = inside;
        }
        None
    }

    fn scrub_with(&self, parts: f64, restored: bool) -> Option<Rebalanced> {
        // More than the most parts that may be written are the same blend with all parts scaled.
        let scale = (MOST_PARTS / parts).min(1.0);
        let components = self.scrub.blend.components().iter().enumerate();
        let powders = components.map(|(i, c)| {
            let parts = if i == self.place { parts } else { c.parts.get() };
            Some((c.powder.clone(), Parts::new(scale * parts).ok()?))
        });
        let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
        let load = LoadPercent::new(self.load(parts)).ok()?;
        let scrub = Scrub { name: self.scrub.name.clone(), load, load_range: None, blend };
        let assessment = self.variation.judge().assess(&scrub);
        Some(Rebalanced { scrub, assessment, restored })
    }
}
