//! A distribution on a few panels of its ln x axis that stand still while its sizes are warped and gaps move: the same nodes and
//! volumes for every draw.

use crate::lanes::{LANES, LaneRow, Lanes, Level, Simd, each, lane_by_lane, on_registers, split};
use crate::rule::{ORDER, Values, rule};
use crate::tail::{Tail, TailPart, mixture_percentile};
use crate::warp::WarpBlock;
use fearless_simd::mask32x8;
use fearless_simd::prelude::*;

/// A distribution of sizes by volume, as functions of ln (x / µm).
pub struct StandingCurve<'c> {
    /// Share below.
    pub undersize_ln: &'c dyn Fn(f64) -> f64,
    /// Density per unit of ln x.
    pub density_ln: &'c dyn Fn(f64) -> f64,
    /// Where it lies: edges between which it is smooth, rising.
    pub edges_ln: &'c [f64],
    /// The size above which 1 % lies.
    pub d99_ln: f64,
}

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
pub(crate) struct StandingPlace<S: Simd> {
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
    /// Panels of a curve, none wider than `widest`, between `ends_ln`: its two ends, and between them the edge at which a warp may
    /// change its stretch, if there is one.
    pub fn new(curve: &StandingCurve, ends_ln: &[f64], widest: f64) -> Self {
        let (mut runs, mut share) = (Vec::new(), Vec::new());
        for ends in ends_ln.windows(2) {
            let count = ((ends[1] - ends[0]) / widest * (1.0 - 1e-9)).ceil().max(1.0);
            let width = (ends[1] - ends[0]) / count;
            runs.push(Run { first: share.len(), count: count as usize, start_ln: ends[0] as f32, width: width as f32 });
            let edge = |i: usize| ends[0] + width * i as f64;
            let panels = (0..count as usize).map(|i| projected(curve, [edge(i), edge(i + 1)]));
            share.extend(panels.map(|share| share.map(|s| s as f32)));
        }
        let all = [curve.edges_ln[0], curve.edges_ln[curve.edges_ln.len() - 1]];
        Self { runs, share, tail: Tail::new(curve, all), d99_ln: curve.d99_ln as f32 }
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
    pub(crate) fn place<S: Simd>(&self, ln_x: Lanes<S>) -> StandingPlace<S> {
        let simd = ln_x.simd;
        let (low, high) = (self.runs[0], self.runs[self.runs.len() - 1]);
        let is_low = ln_x.simd_lt(high.start_ln);
        let width = of_either(simd, is_low, low.width, high.width);
        let from_start = (ln_x - of_either(simd, is_low, low.start_ln, high.start_ln)) / width;
        let (panel, part) = split(from_start, of_either(simd, is_low, (low.count - 1) as f32, (high.count - 1) as f32));
        let first = of_either(simd, is_low, low.first as f32, high.first as f32);
        StandingPlace {
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
pub(crate) fn d99_um<'a>(parts: impl Iterator<Item = (&'a StandingPanels, &'a WarpBlock, &'a LaneRow)>) -> LaneRow {
    let parts =
        parts.map(|(panels, warp, weight)| TailPart { tail: &panels.tail, warp, weight, stated_ln: panels.d99_ln });
    let parts: Vec<TailPart> = parts.collect();
    on_registers!(Level::new(), simd => mixture_percentile(simd, 0.01, &parts).to_array())
}

/// Shares of the nodes of one panel that integrate every polynomial of degree 5 over the distribution exactly, kinks and steps of its
/// density included: what a value at the node adds to the polynomial through all of them, integrated on the fine panels.
fn projected(curve: &StandingCurve, edge: [f64; 2]) -> Values {
    let rule = rule();
    let mut cuts = vec![edge[0]];
    cuts.extend(curve.edges_ln.iter().filter(|e| **e > edge[0] && **e < edge[1]));
    cuts.push(edge[1]);
    let mut share = [0.0; ORDER];
    for cut in cuts.windows(2) {
        let half = 0.5 * (cut[1] - cut[0]);
        for start in [cut[0], cut[0] + half] {
            for (node, weight) in rule.node.iter().zip(&rule.weight) {
                let ln_x = start + half * node;
                let volume = half * weight * (curve.density_ln)(ln_x);
                let basis = rule.basis((ln_x - edge[0]) / (edge[1] - edge[0]));
                share.iter_mut().zip(basis).for_each(|(s, b)| *s += volume * b);
            }
        }
    }
    share
}
