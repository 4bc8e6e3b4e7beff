//! What could stand in for a powder that is out of stock or unwanted: every candidate with its share solved anew so that
//! index and curve stay as near as can be.

use crate::band::{Arrival, Assessment, Judge};
use crate::blend::{Basis, Blend, Scrub};
use crate::numerics::minimise::golden_section;
use crate::powder::Powder;
use crate::units::{LoadPercent, Parts};
use std::borrow::Cow;

/// A powder that could stand in.
#[derive(Debug, Clone, PartialEq)]
pub struct Substitute {
    /// The powder.
    pub powder: Powder,
    /// Least of it that may be used, % w/w of the scrub.
    pub min_pct: f64,
    /// Most of it that may be used, % w/w of the scrub.
    pub max_pct: f64,
}

/// A candidate with its share solved.
#[derive(Debug, Clone, PartialEq)]
pub struct StandIn {
    /// The scrub with the candidate in place of the powder, as it is weighed in.
    pub scrub: Scrub,
    /// Place of the candidate in it.
    pub place: usize,
    /// Share of the candidate, % w/w of the scrub.
    pub pct_of_scrub: f64,
    /// What reaches the skin of it, rubbed and judged.
    pub assessment: Assessment,
    /// |ln(index / index before)|.
    pub index_off: f64,
    /// Largest gap between the undersize curves by volume, before and after, 0..1 (Kolmogorov-Smirnov distance).
    pub curve_off: f64,
}

impl StandIn {
    /// What is kept as small as can be: both distances together.
    pub fn off(&self) -> f64 {
        self.index_off + self.curve_off
    }
}

/// Shares tried, as factors either way of the share of the powder replaced.
const REACH: f64 = 20.0;
const STEPS: i32 = 24;
/// Sizes at which curves are compared.
const SIZES: usize = 60;

/// Every candidate in place of the powder `place` of a scrub as it is weighed in, the nearest first. All other powders keep their share
/// of the scrub. `arrives` says what of it reaches the skin, where that is not all; of which nothing does is no stand-in.
pub fn stand_ins(
    judge: &Judge,
    weighed: &Scrub,
    place: usize,
    candidates: &[Substitute],
    arrives: Option<Arrival>,
) -> Vec<StandIn> {
    let Some(before) = AsItWas::new(judge, weighed, place, arrives) else { return Vec::new() };
    let mut found: Vec<StandIn> = candidates.iter().filter_map(|c| before.solve(c)).collect();
    found.sort_by(|a, b| a.off().total_cmp(&b.off()));
    found
}

/// The scrub as it was, and what its stand-ins are held against.
struct AsItWas<'a> {
    judge: &'a Judge,
    scrub: &'a Scrub,
    arrives: Option<Arrival<'a>>,
    place: usize,
    index: f64,
    /// Size in µm and undersize by volume.
    curve: Vec<(f64, f64)>,
}

impl<'a> AsItWas<'a> {
    fn new(judge: &'a Judge, scrub: &'a Scrub, place: usize, arrives: Option<Arrival<'a>>) -> Option<Self> {
        let arrived = on_skin(scrub, arrives)?;
        let quantile = |p: f64| arrived.blend.quantile(Basis::Volume, p);
        let (lo, hi) = (quantile(0.005).ln() - 0.5, quantile(0.995).ln() + 0.5);
        let size = |i: usize| (lo + (hi - lo) * i as f64 / (SIZES - 1) as f64).exp();
        let curve = (0..SIZES).map(size).map(|x| (x, arrived.blend.undersize(Basis::Volume, x))).collect();
        let index = judge.assess(&arrived).rubbed.index;
        Some(Self { judge, scrub, arrives, place, index, curve })
    }

    /// The share of a candidate that keeps index and curve nearest: a walk over shares, then a golden-section search
    /// around the best. None where its least share finds no room.
    fn solve(&self, candidate: &Substitute) -> Option<StandIn> {
        let now = self.scrub.load.get() * self.scrub.blend.components()[self.place].mass;
        let others = self.scrub.load.get() - now;
        let most = candidate.max_pct.min(100.0 - others).min((now * REACH).max(candidate.min_pct));
        if candidate.min_pct > most {
            return None;
        }
        let least = (now / REACH).max(candidate.min_pct).min(most);
        let share = |step: f64| least * (most / least).powf(step / f64::from(STEPS));
        let off = |step: f64| self.with(candidate, share(step)).map_or(f64::INFINITY, |s| s.off());
        let walk = (0..=STEPS).map(|step| (f64::from(step), off(f64::from(step))));
        let (best, _) = walk.min_by(|a, b| a.1.total_cmp(&b.1))?;
        let (lo, hi) = ((best - 1.0).max(0.0), (best + 1.0).min(f64::from(STEPS)));
        let step = golden_section(|step| Some(off(step)), lo, hi, 25)?;
        self.with(candidate, share(step))
    }

    fn with(&self, candidate: &Substitute, pct: f64) -> Option<StandIn> {
        let load = self.scrub.load.get();
        let mut pcts: Vec<f64> = self.scrub.blend.components().iter().map(|c| load * c.mass).collect();
        pcts[self.place] = pct;
        let total: f64 = pcts.iter().sum();
        let powders = self.scrub.blend.components().iter().zip(&pcts).enumerate().map(|(i, (c, pct))| {
            let powder = if i == self.place { &candidate.powder } else { &c.powder };
            Some((powder.clone(), Parts::new(100.0 * pct / total).ok()?))
        });
        let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
        let scrub =
            Scrub { name: self.scrub.name.clone(), load: LoadPercent::new(total).ok()?, load_range: None, blend };
        let (assessment, curve_off) = self.held_against(&*on_skin(&scrub, self.arrives)?);
        let index_off = (assessment.rubbed.index.max(1e-9) / self.index.max(1e-9)).ln().abs();
        Some(StandIn { scrub, place: self.place, pct_of_scrub: pct, assessment, index_off, curve_off })
    }

    /// What arrives judged, and how far its curve is off.
    fn held_against(&self, arrived: &Scrub) -> (Assessment, f64) {
        let gaps = self.curve.iter().map(|(x, q)| (arrived.blend.undersize(Basis::Volume, *x) - q).abs());
        (self.judge.assess(arrived), gaps.fold(0.0, f64::max))
    }
}

/// What reaches the skin of a scrub.
fn on_skin<'s>(scrub: &'s Scrub, arrives: Option<Arrival>) -> Option<Cow<'s, Scrub>> {
    match arrives {
        Some(arrives) => arrives(scrub).map(Cow::Owned),
        None => Some(Cow::Borrowed(scrub)),
    }
}
