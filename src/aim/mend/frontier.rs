//! What an index costs: the cheapest blend at every index, all other targets kept.

use crate::aim::solve::search::Effort;
use crate::aim::statement::found::Found;
use crate::aim::statement::target::{Aim, Goal, IndexAim};
use crate::band::Judge;

/// The cheapest blend of an index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrontierPoint {
    /// Index.
    pub index: f64,
    /// Cost of the powders in a kilogram of scrub; none where no blend has this index.
    pub cost_per_kg: Option<f64>,
}

/// How closely a point keeps to its index, as a share of it.
const WITHIN: f64 = 1e-3;

/// Indices looked at, evenly in ratio.
const POINTS: usize = 25;
/// How far beyond the blends they reach, as a factor either way.
const REACH: f64 = 2.5;

/// The cheapest blends at indices about those of `blends`. Empty without blends, or unless every powder has a price.
pub fn frontier(aim: &Aim, judge: &Judge, blends: &[Found]) -> Vec<FrontierPoint> {
    let indices = blends.iter().map(|f| f.assessment.figures.index);
    let (least, most) = indices.fold((f64::INFINITY, 0.0_f64), |(lo, hi), i| (lo.min(i), hi.max(i)));
    let (low, high) = (least / REACH, most * REACH);
    let priced = aim.shelf.iter().filter(|s| !aim.excludes(s)).all(|s| s.powder.stock.price_per_kg.is_some());
    if !priced || blends.is_empty() || least <= 0.0 {
        return Vec::new();
    }
    let at = |i: usize| low * (high / low).powf(i as f64 / (POINTS - 1) as f64);
    let point = |index: f64| {
        let range = IndexAim { low: index * (1.0 - WITHIN), high: index * (1.0 + WITHIN), like: None, score: None };
        let aim = Aim { index: Some(range), goal: Goal::Cheapest, ..aim.clone() };
        let (_, best) = aim.best(judge, 1, Effort::watched(None));
        FrontierPoint { index, cost_per_kg: best.first().and_then(|f| f.scrub.cost_per_kg()) }
    };
    (0..POINTS).map(at).map(point).collect()
}
