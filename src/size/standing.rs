//! A distribution on a few panels of its ln x axis that stand still while its sizes are warped and gaps move: the same nodes and
//! volumes for every draw.

use super::tail::{Part, Tail, mixture_percentile};
use super::{SizeDistribution, WarpBlock};
use crate::numerics::lanes::{LANES, Lanes, Row, Simd, each, lane_by_lane, split};
use crate::numerics::panel::{self, ORDER, Values};
use fearless_simd::mask32x8;
use fearless_simd::prelude::*;

/// Volume left out at the fine end.
const LEFT_OUT: f64 = 1e-5;
/// Volume weighted by x³ left out at the coarse end: where the gap is wide, little more than that touches at all.
const LEFT_OUT_COARSE: f64 = 1e-9;
/// A hard end this near to where that would be is kept as the end.
const NEAR_END: f64 = 0.3;
/// Fewest panels, and the widest one.
const FEWEST_PANELS: f64 = 8.0;
const WIDEST: f64 = 0.6;

/// Panels of one width that adjoin each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Run {
    /// Number of the first panel.
    pub first: usize,
    /// Number of panels.
    pub count: usize,
    /// Where it starts, ln µm.
    pub start_ln: f32,
    /// Width of a panel.
    pub width: f32,
}

/// Where sizes lie.
pub(crate) struct Place<S: Simd> {
    /// The panels, the nearest for a size outside all.
    pub panel: [usize; LANES],
    /// Where in them, 0..1 inside.
    pub part: Lanes<S>,
    /// How wide they are.
    pub width: Lanes<S>,
}

/// Nodes of a distribution.
#[derive(Debug, Clone)]
pub struct StandingPanels {
    /// All panels; or those up to the edge at which a warp may change its stretch, and those from there on.
    runs: Vec<Run>,
    /// Volume share of each node of each panel.
    share: Vec<[f32; ORDER]>,
    tail: Tail,
    d99_ln: f32,
}

impl StandingPanels {
    /// Panels of `distribution` above `floor_um`, with an edge at `knee_ln` if that lies between them.
    pub fn new(distribution: &SizeDistribution, floor_um: f64, knee_ln: Option<f64>) -> Self {
        let fine = distribution.panels_above(0.0);
        let (first, last) = (fine.edges_ln[0], fine.edges_ln[fine.edges_ln.len() - 1]);
        let low = fine.cumulative(|_| 1.0).quantile(LEFT_OUT).unwrap_or(first).max(floor_um.ln());
        let high = fine.cumulative(|x| x.powi(3)).quantile(1.0 - LEFT_OUT_COARSE).unwrap_or(last);
        let low = if low - first < NEAR_END { first } else { low.min(high - NEAR_END) };
        let high = if last - high < NEAR_END { last } else { high };
        let knee_ln = knee_ln.filter(|k| *k > low && *k < high);
        let widest = ((high - low) / FEWEST_PANELS).min(WIDEST);
        let ends = [Some(low), knee_ln, Some(high)];
        let ends: Vec<f64> = ends.into_iter().flatten().collect();
        let (mut runs, mut share) = (Vec::new(), Vec::new());
        for ends in ends.windows(2) {
            let count = ((ends[1] - ends[0]) / widest * (1.0 - 1e-9)).ceil().max(1.0);
            let width = (ends[1] - ends[0]) / count;
            runs.push(Run { first: share.len(), count: count as usize, start_ln: ends[0] as f32, width: width as f32 });
            let edge = |i: usize| ends[0] + width * i as f64;
            let panels = (0..count as usize).map(|i| projected(distribution, &fine.edges_ln, [edge(i), edge(i + 1)]));
            share.extend(panels.map(|share| share.map(|s| s as f32)));
        }
        Self {
            runs,
            share,
            tail: Tail::new(distribution, [first, last]),
            d99_ln: distribution.quantile(0.99).ln() as f32,
        }
    }

    /// The panels, by width.
    pub(crate) fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// Volume share of each node.
    pub(crate) fn share(&self) -> &[[f32; ORDER]] {
        &self.share
    }

    /// Where sizes (ln µm) lie.
    #[inline(always)]
    pub(crate) fn place<S: Simd>(&self, ln_x: Lanes<S>) -> Place<S> {
        let simd = ln_x.simd;
        let (low, high) = (self.runs[0], self.runs[self.runs.len() - 1]);
        let is_low = ln_x.simd_lt(high.start_ln);
        let width = of_either(simd, is_low, low.width, high.width);
        let from_start = (ln_x - of_either(simd, is_low, low.start_ln, high.start_ln)) / width;
        let (panel, part) = split(from_start, of_either(simd, is_low, (low.count - 1) as f32, (high.count - 1) as f32));
        let first = of_either(simd, is_low, low.first as f32, high.first as f32);
        Place {
            panel: lane_by_lane(
                #[inline(always)]
                |l| panel[l] as usize + first[l] as usize,
            ),
            part,
            width,
        }
    }

    /// Sizes (ln µm) at parts of panels.
    #[inline(always)]
    pub(crate) fn size_ln<S: Simd>(&self, panel: &[usize; LANES], part: Lanes<S>) -> Lanes<S> {
        let simd = part.simd;
        let (low, high) = (self.runs[0], self.runs[self.runs.len() - 1]);
        let panel = each(
            simd,
            #[inline(always)]
            |l| panel[l] as f32,
        );
        let is_low = panel.simd_lt(high.first as f32);
        let whole = panel - of_either(simd, is_low, low.first as f32, high.first as f32);
        of_either(simd, is_low, low.start_ln, high.start_ln)
            + (whole + part) * of_either(simd, is_low, low.width, high.width)
    }

    /// Density per unit of ln x at sizes, ln µm.
    #[inline(always)]
    pub(crate) fn density<S: Simd>(&self, ln_x: Lanes<S>) -> Lanes<S> {
        self.tail.density(ln_x)
    }
}

#[inline(always)]
fn of_either<S: Simd>(simd: S, is_low: mask32x8<S>, low: f32, high: f32) -> Lanes<S> {
    is_low.select(Lanes::splat(simd, low), Lanes::splat(simd, high))
}

/// D99 of drawn mixtures, µm: of each part its panels, its warps and its weights, which need not sum to 1.
#[inline(always)]
pub fn d99_um<'a, S: Simd>(
    simd: S,
    parts: impl Iterator<Item = (&'a StandingPanels, &'a WarpBlock, &'a Row)>,
) -> Lanes<S> {
    let parts = parts.map(|(panels, warp, weight)| Part { tail: &panels.tail, warp, weight, stated_ln: panels.d99_ln });
    mixture_percentile(simd, 0.01, &parts.collect::<Vec<_>>())
}

/// Shares of the nodes of one panel that integrate every polynomial of degree 5 over the distribution exactly, kinks and steps of its
/// density included: what a value at the node adds to the polynomial through all of them, integrated on the fine panels.
fn projected(distribution: &SizeDistribution, fine: &[f64], edge: [f64; 2]) -> Values {
    let rule = panel::rule();
    let mut cuts = vec![edge[0]];
    cuts.extend(fine.iter().filter(|e| **e > edge[0] && **e < edge[1]));
    cuts.push(edge[1]);
    let mut share = [0.0; ORDER];
    for cut in cuts.windows(2) {
        let half = 0.5 * (cut[1] - cut[0]);
        for start in [cut[0], cut[0] + half] {
            for (node, weight) in rule.node.iter().zip(&rule.weight) {
                let ln_x = start + half * node;
                let volume = half * weight * distribution.density_ln(ln_x);
                let basis = rule.basis((ln_x - edge[0]) / (edge[1] - edge[0]));
                share.iter_mut().zip(basis).for_each(|(s, b)| *s += volume * b);
            }
        }
    }
    share
}
