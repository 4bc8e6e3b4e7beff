//! The groove percentile that bands look at, of the draws of a block, found from the deep end.

use super::block::{GrainBlock, Settled};
use super::groove::groove_at;
use crate::numerics::lanes::{
    LANES, Lanes, Real, Row, Simd, each, exp, lane_by_lane, ln, load, newton, on_registers_of, where_less,
};
use crate::numerics::panel::{self, ORDER};
use fearless_simd::prelude::*;

/// Share of the load on grooves deeper than the percentile.
const DEEPER: f32 = 0.05;

/// Last Newton step, relative, of the percentile's depth: the error left is of its square.
const DEPTH_STEP: f32 = 4e-3;

/// The same of the grain size at a depth. What is left of the depth counts in the load.
const SIZE_STEP: f32 = 0.02;

impl<S: Simd> Settled<'_, S> {
    /// Groove depth below which 95 % of the load lies in each draw, µm; 0 when no grain touches.
    #[inline(never)]
    pub fn groove_p95_um(&self, grains: &[GrainBlock]) -> Lanes<S> {
        let simd = self.gap_um.simd;
        on_registers_of!(simd => {
            let wanted = self.load * DEEPER;
            let zero = wanted.constant(0.0);
            let (mut guess, mut deepest) = (zero, zero);
            let mut ends = Vec::with_capacity(grains.len());
            for grains in grains {
                let end = DeepEnd::new(self, grains, wanted);
                guess = guess.max(end.depth_at(end.size).0);
                deepest = deepest.max(end.deepest);
                ends.push(end);
            }
            newton(
                #[inline(always)]
                |depth| {
                    let (mut value, mut slope) = (wanted, zero);
                    for end in &mut ends {
                        let (load, by_depth) = end.load_deeper_than(depth);
                        value -= load;
                        slope += by_depth;
                    }
                    (value, slope)
                },
                [zero, deepest],
                guess,
                DEPTH_STEP,
            )
        })
    }
}

/// The grooves of one powder, the deepest first.
struct DeepEnd<'g, 'a, S: Simd> {
    grains: &'g GrainBlock<'a>,
    gap_um: Lanes<S>,
    bluntness: Lanes<S>,
    /// Half of the roundness.
    tip: Lanes<S>,
    volume: Lanes<S>,
    /// Load on each panel and all beyond, for a volume of 1, then 0; the panels below the first in use are left out.
    from_panel: Vec<Row>,
    /// Smallest size that touches, and the largest.
    smallest: Lanes<S>,
    largest: Lanes<S>,
    /// Depth of the groove of the largest grain.
    deepest: Lanes<S>,
    /// Size last looked at.
    size: Lanes<S>,
}

impl<'g, 'a, S: Simd> DeepEnd<'g, 'a, S> {
    /// The deep end of a powder, at a size near that beyond which the load `wanted` lies.
    #[inline(always)]
    fn new(settled: &Settled<S>, grains: &'g GrainBlock<'a>, wanted: Lanes<S>) -> Self {
        let simd = wanted.simd;
        let (roundness, largest) = (load(simd, &grains.roundness), load(simd, &grains.largest_um));
        let mut end = Self {
            grains,
            gap_um: settled.gap_um,
            bluntness: settled.skin.bluntness(roundness),
            tip: roundness * 0.5,
            volume: load(simd, &grains.volume),
            from_panel: load_from_panels(simd, grains),
            smallest: settled.gap_um.max(load(simd, grains.smallest_um())),
            largest,
            deepest: largest,
            size: largest,
        };
        end.deepest = end.depth_at(largest).0;
        end.size = end.size_beyond(wanted);
        end
    }

    /// Depth of the grooves of grains, µm, and its slope by size.
    #[inline(always)]
    fn depth_at(&self, size: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        groove_at(size, self.gap_um, self.bluntness, self.tip)
    }

    /// Sizes near those beyond which a load lies; the least that touches if there is not as much.
    #[inline(always)]
    fn size_beyond(&self, wanted: Lanes<S>) -> Lanes<S> {
        let (simd, wanted) = (wanted.simd, wanted / self.volume);
        let mut panels_below = wanted.constant(0.0);
        for from in &self.from_panel[1..] {
            panels_below += where_less(load(simd, from), wanted, wanted.constant(0.0), wanted.constant(1.0));
        }
        let panel: [usize; LANES] = lane_by_lane(
            #[inline(always)]
            |l| (panels_below[l] as usize).min(self.from_panel.len() - 2),
        );
        let from = each(
            simd,
            #[inline(always)]
            |l| self.from_panel[panel[l]][l],
        );
        let beyond = each(
            simd,
            #[inline(always)]
            |l| self.from_panel[panel[l] + 1][l],
        );
        let part = ((from - wanted) / (from - beyond)).min(1.0).max(0.0);
        let panel = lane_by_lane(
            #[inline(always)]
            |l| panel[l] + self.grains.first,
        );
        exp(self.grains.warps.forward(self.grains.panels.size_ln(&panel, part))).min(self.largest).max(self.smallest)
    }

    /// Load on grains whose grooves are deeper than `depth` µm, and how much less it is per µm.
    #[inline(always)]
    fn load_deeper_than(&mut self, depth: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let reached = depth.simd_lt(self.deepest);
        self.size = newton(
            #[inline(always)]
            |size| {
                let (own, by_size) = self.depth_at(size);
                (own - depth, by_size)
            },
            [self.smallest, reached.select(self.largest, self.smallest)],
            self.size,
            SIZE_STEP,
        );
        let (own, by_size) = self.depth_at(self.size);
        let (load, by_ln) = self.load_beyond();
        let slope = by_ln / (self.size * by_size);
        let zero = depth.constant(0.0);
        let slope = (reached & zero.simd_lt(slope)).select(slope, zero);
        let load = load + slope * (own - depth);
        ((reached & zero.simd_lt(load)).select(load, zero), slope)
    }

    /// Load on grains larger than the size last looked at, and its density per ln x.
    #[inline(always)]
    fn load_beyond(&self) -> (Lanes<S>, Lanes<S>) {
        let simd = self.size.simd;
        let (stated, stretch) = self.grains.warps.back(ln(self.size));
        let place = self.grains.panels.place(stated);
        let first = self.grains.first;
        let panel = lane_by_lane(
            #[inline(always)]
            |l| place.panel[l].max(first),
        );
        let mut added = [self.size; ORDER];
        for (k, added) in added.iter_mut().enumerate() {
            *added = each(
                simd,
                #[inline(always)]
                |l| self.grains.load[panel[l] * ORDER + k][l],
            );
        }
        let (within, density) = panel::rule().remaining(&added, place.part.min(1.0).max(0.0));
        let beyond = each(
            simd,
            #[inline(always)]
            |l| self.from_panel[panel[l] + 1 - first][l],
        );
        (self.volume * (beyond + within), self.volume * density.max(0.0) / (stretch * place.width))
    }
}

/// Load on each panel in use and all beyond, for a volume of 1, then 0.
#[inline(always)]
fn load_from_panels<S: Simd>(simd: S, grains: &GrainBlock) -> Vec<Row> {
    let loads = &grains.load[grains.first * ORDER..];
    let mut sums = vec![[0.0; LANES]; loads.len() / ORDER + 1];
    let mut sum = Lanes::simd_from(simd, 0.0);
    for (from, loads) in sums.iter_mut().rev().skip(1).zip(loads.chunks_exact(ORDER).rev()) {
        for own in loads {
            sum += load(simd, own);
        }
        *from = sum.to_array();
    }
    sums
}
