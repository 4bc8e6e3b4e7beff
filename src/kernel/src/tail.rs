//! How much of a distribution lies above a size, from a table at equal steps of ln x: for several draws side by side.

use crate::lanes::{LANES, LaneRow, Lanes, Real, Simd, each, exp, load, newton, split, where_less};
use crate::standing::StandingCurve;
use crate::warp::WarpBlock;
use fearless_simd::prelude::*;

/// Steps of the table.
const STEPS: usize = 1024;
/// Part of a step inside the ends, where a density may jump.
const INSIDE: f64 = 1e-6;
/// Last Newton step of the logarithm of a percentile, relative.
const PERCENTILE_STEP: f32 = 1e-4;

/// Share above a size, and density.
#[derive(Debug, Clone)]
pub(crate) struct Tail {
    low_ln: f32,
    steps_per_ln: f32,
    /// Share above and density per step, at the ends of the steps.
    knots: Vec<[f32; 2]>,
}

impl Tail {
    /// Of a distribution that lies between two sizes, ln µm.
    pub fn new(curve: &StandingCurve, [low_ln, high_ln]: [f64; 2]) -> Self {
        let step = (high_ln - low_ln) / STEPS as f64;
        let knot = |i: usize| {
            let ln_x = low_ln + step * (i as f64).clamp(INSIDE, STEPS as f64 - INSIDE);
            [(1.0 - (curve.undersize_ln)(ln_x)) as f32, (step * (curve.density_ln)(ln_x)) as f32]
        };
        Self { low_ln: low_ln as f32, steps_per_ln: (1.0 / step) as f32, knots: (0..=STEPS).map(knot).collect() }
    }

    /// Where sizes (ln µm) lie, in steps from the low end.
    #[inline(always)]
    fn place<S: Simd>(&self, ln_x: Lanes<S>) -> Lanes<S> {
        (ln_x - self.low_ln) * self.steps_per_ln
    }

    /// Steps of places, and where in these (0..1); places beyond the table are at its ends.
    #[inline(always)]
    fn steps<S: Simd>(place: Lanes<S>) -> ([i32; LANES], Lanes<S>) {
        split(place.min(STEPS as f32).max(0.0), place.constant((STEPS - 1) as f64))
    }

    /// Density per unit of ln x between the ends of steps.
    #[inline(always)]
    fn between<S: Simd>(&self, low: Lanes<S>, high: Lanes<S>, t: Lanes<S>) -> Lanes<S> {
        (low + t * (high - low)) * self.steps_per_ln
    }

    /// Share above and density per step at one end of steps.
    #[inline(always)]
    fn knot<S: Simd>(&self, simd: S, steps: &[i32; LANES], end: usize) -> (Lanes<S>, Lanes<S>) {
        let share = each(
            simd,
            #[inline(always)]
            |l| self.knots[steps[l] as usize + end][0],
        );
        (
            share,
            each(
                simd,
                #[inline(always)]
                |l| self.knots[steps[l] as usize + end][1],
            ),
        )
    }

    /// Density per unit of ln x.
    #[inline(always)]
    pub fn density<S: Simd>(&self, ln_x: Lanes<S>) -> Lanes<S> {
        let (steps, t) = Self::steps(self.place(ln_x));
        let ((_, low), (_, high)) = (self.knot(ln_x.simd, &steps, 0), self.knot(ln_x.simd, &steps, 1));
        self.between(low, high, t)
    }

    /// Share above, by the cubic through shares and densities, and density per unit of ln x.
    #[inline(always)]
    fn above<S: Simd>(&self, ln_x: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let place = self.place(ln_x);
        let (steps, t) = Self::steps(place);
        let s = 1.0 - t;
        let (low, low_density) = self.knot(ln_x.simd, &steps, 0);
        let (high, high_density) = self.knot(ln_x.simd, &steps, 1);
        let share =
            s * s * ((1.0 + 2.0 * t) * low - t * low_density) + t * t * ((1.0 + 2.0 * s) * high + s * high_density);
        // Beyond the table nothing changes, whatever the density at its end.
        let inside = place.simd_gt(0.0) & place.simd_lt(STEPS as f32);
        (share, inside.select(self.between(low_density, high_density, t), t.constant(0.0)))
    }
}

/// One distribution of a mixture, in several draws.
pub(crate) struct TailPart<'a> {
    pub tail: &'a Tail,
    pub warp: &'a WarpBlock,
    /// Its weight; the weights need not sum to 1.
    pub weight: &'a LaneRow,
    /// ln of the percentile as stated.
    pub stated_ln: f32,
}

/// The sizes above which the share `above` (0..1) of each drawn mixture lies.
#[inline(always)]
pub(crate) fn mixture_percentile<S: Simd>(simd: S, above: f32, parts: &[TailPart]) -> Lanes<S> {
    let zero = Lanes::splat(simd, 0.0);
    let (mut lo, mut hi, mut wanted) = (Lanes::splat(simd, f32::MAX), Lanes::splat(simd, f32::MIN), zero);
    for part in parts {
        let (own, weight) = (part.warp.forward(Lanes::splat(simd, part.stated_ln)), load(simd, part.weight));
        lo = where_less(zero, weight, own.min(lo), lo);
        hi = where_less(zero, weight, own.max(hi), hi);
        wanted += weight * above;
    }
    let ln_x = newton(
        #[inline(always)]
        |ln_x| {
            let (mut value, mut slope) = (wanted, zero);
            for part in parts {
                let (stated, stretch) = part.warp.back(ln_x);
                let (share, density) = part.tail.above(stated);
                let weight = load(simd, part.weight);
                value -= weight * share;
                slope += weight * density / stretch;
            }
            (value, slope)
        },
        [lo, hi],
        (lo + hi) * 0.5,
        PERCENTILE_STEP,
    );
    exp(ln_x)
}
