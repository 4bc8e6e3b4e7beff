//! The groove percentile that bands look at, of the draws of a block, found from the deep end.

use crate::block::{GrainBlock, SettledBlock};
use crate::groove::groove_at;
use crate::lanes::{LANES, Lanes, Real, Simd, each, exp, lane_by_lane, ln, load, newton, on_registers_of, where_less};
use crate::rule::{ORDER, rule};
use fearless_simd::prelude::*;

/// Share of the load on grooves deeper than the percentile.
const DEEPER: f32 = 0.05;

/// Last Newton step, relative, of the percentile's depth: the error left is of its square.
const DEPTH_STEP: f32 = 4e-3;

/// The same of the grain size at a depth, which may be rough: what is left of the depth counts in the load, and the last steps of the
/// depth are small.
const SIZE_STEP: f32 = 0.1;

impl<S: Simd> SettledBlock<'_, S> {
    /// Groove depth below which 95 % of the load lies in each draw, µm; 0 when no grain touches.
    #[inline(never)]
    pub fn groove_p95_um(&self, grains: &mut [GrainBlock]) -> Lanes<S> {
        let simd = self.gap_um.simd;
        on_registers_of!(simd => {
            let wanted = self.load * DEEPER;
            let zero = wanted.constant(0.0);
            let (mut guess, mut deepest) = (zero, zero);
            let mut ends = Vec::with_capacity(grains.len());
            for grains in grains {
                sum_from_panels(simd, grains);
                let end = DeepEnd::new(self, grains, wanted);
                guess = guess.max(end.depth_at(end.size).0);
                deepest = deepest.max(end.deepest);
                ends.push(end);
            }
            newton(
                #[inline(always)]
                |depth| {
                    let (mut deeper, mut slope) = (zero, zero);
                    for end in &mut ends {
                        let (load, by_depth) = end.load_deeper_than(depth);
                        deeper += load;
                        slope += by_depth;
                    }
                    // Loads fall off like a normal tail: their logarithm is nearly straight in the depth.
                    (ln(wanted / deeper), slope / deeper)
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
    keenness: Lanes<S>,
    /// Half of the roundness.
    tip: Lanes<S>,
    volume: Lanes<S>,
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
    fn new(settled: &SettledBlock<S>, grains: &'g GrainBlock<'a>, wanted: Lanes<S>) -> Self {
        let simd = wanted.simd;
        let (roundness, largest) = (load(simd, &grains.roundness), load(simd, &grains.largest_um));
        let mut end = Self {
            grains,
            gap_um: settled.gap_um,
            keenness: settled.skin.keenness(roundness),
            tip: roundness * 0.5,
            volume: load(simd, &grains.volume),
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
        groove_at(size, self.gap_um, self.keenness, self.tip)
    }

    /// Sizes near those beyond which a load lies; the least that touches if there is not as much.
    #[inline(always)]
    fn size_beyond(&self, wanted: Lanes<S>) -> Lanes<S> {
        let (simd, wanted) = (wanted.simd, wanted / self.volume);
        let first = self.grains.first;
        let mut panels_below = wanted.constant(0.0);
        for from in &self.grains.beyond[first + 1..] {
            panels_below += where_less(load(simd, from), wanted, wanted.constant(0.0), wanted.constant(1.0));
        }
        let panel: [usize; LANES] = lane_by_lane(
            #[inline(always)]
            |l| (first + panels_below[l] as usize).min(self.grains.beyond.len() - 2),
        );
        let from = each(
            simd,
            #[inline(always)]
            |l| self.grains.beyond[panel[l]][l],
        );
        let beyond = each(
            simd,
            #[inline(always)]
            |l| self.grains.beyond[panel[l] + 1][l],
        );
        let part = ((from - wanted) / (from - beyond)).min(1.0).max(0.0);
        exp(self.grains.warps.forward(self.grains.panels.size_ln(&panel, part))).min(self.largest).max(self.smallest)
    }

    /// Load on grains whose grooves are deeper than `depth` µm, and how much less it is per µm.
    #[inline(always)]
    fn load_deeper_than(&mut self, depth: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let reached = depth.simd_lt(self.deepest);
        let zero = depth.constant(0.0);
        if !reached.any_true() {
            return (zero, zero);
        }
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
        let (within, density) = rule().remaining(&added, place.part.min(1.0).max(0.0));
        let beyond = each(
            simd,
            #[inline(always)]
            |l| self.grains.beyond[panel[l] + 1][l],
        );
        (self.volume * (beyond + within), self.volume * density.max(0.0) / (stretch * place.width))
    }
}

/// Sets the load on each panel in use and all beyond, for a volume of 1.
#[inline(always)]
fn sum_from_panels<S: Simd>(simd: S, grains: &mut GrainBlock) {
    let mut sum = Lanes::simd_from(simd, 0.0);
    let panels = grains.load.chunks_exact(ORDER).zip(&mut grains.beyond).skip(grains.first);
    for (loads, beyond) in panels.rev() {
        for own in loads {
            sum += load(simd, own);
        }
        *beyond = sum.to_array();
    }
}
