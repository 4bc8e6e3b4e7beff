use super::SizeDistribution;
use crate::numerics::lanes::{LANES, Lanes, Real, Row, Simd, load, where_less};
use crate::numerics::roots::newton_bracketed;

/// A change of all sizes of a powder that keeps their order: on the ln x axis a shift, and a stretch about a pivot, of its own on
/// either side. Percentiles move with it and never cross.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warp {
    /// The size that only shifts, ln µm.
    pub pivot_ln: f64,
    /// How far it shifts.
    pub shift: f64,
    /// Stretch of what is finer than the pivot; positive.
    pub below: f64,
    /// Stretch of what is coarser; positive.
    pub above: f64,
}

impl Warp {
    /// Nothing changes.
    pub const NONE: Self = Self { pivot_ln: 0.0, shift: 0.0, below: 1.0, above: 1.0 };

    /// Where a size of the stated distribution goes, both as ln µm.
    #[inline]
    pub fn forward(&self, ln_x: f64) -> f64 {
        let off = ln_x - self.pivot_ln;
        self.pivot_ln + self.shift + off * self.stretch(off)
    }

    /// Which size of the stated distribution comes to lie at `ln_x`, and the stretch there.
    #[inline]
    pub(crate) fn back(&self, ln_x: f64) -> (f64, f64) {
        let off = ln_x - self.pivot_ln - self.shift;
        let stretch = self.stretch(off);
        (self.pivot_ln + off / stretch, stretch)
    }

    #[inline]
    fn stretch(&self, off: f64) -> f64 {
        if off < 0.0 { self.below } else { self.above }
    }
}

/// The warps of several draws side by side.
#[derive(Debug, Clone)]
pub struct WarpBlock {
    pivot_ln: Row,
    shift: Row,
    below: Row,
    above: Row,
}

impl WarpBlock {
    /// Nothing changes in any draw.
    pub const NONE: Self =
        Self { pivot_ln: [0.0; LANES], shift: [0.0; LANES], below: [1.0; LANES], above: [1.0; LANES] };

    /// Sets the warp of one draw.
    pub fn set(&mut self, lane: usize, warp: &Warp) {
        (self.pivot_ln[lane], self.shift[lane]) = (warp.pivot_ln as f32, warp.shift as f32);
        (self.below[lane], self.above[lane]) = (warp.below as f32, warp.above as f32);
    }

    /// [`Warp::forward`] of every draw.
    #[inline(always)]
    pub fn forward<S: Simd>(&self, ln_x: Lanes<S>) -> Lanes<S> {
        let pivot = load(ln_x.simd, &self.pivot_ln);
        let off = ln_x - pivot;
        pivot + load(ln_x.simd, &self.shift) + off * self.stretch(off)
    }

    /// [`Warp::back`] of every draw.
    #[inline(always)]
    pub(crate) fn back<S: Simd>(&self, ln_x: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let pivot = load(ln_x.simd, &self.pivot_ln);
        let off = ln_x - pivot - load(ln_x.simd, &self.shift);
        let stretch = self.stretch(off);
        (pivot + off / stretch, stretch)
    }

    /// Stretch at a stated size.
    #[inline(always)]
    pub(crate) fn stretch_at<S: Simd>(&self, ln_x: Lanes<S>) -> Lanes<S> {
        self.stretch(ln_x - load(ln_x.simd, &self.pivot_ln))
    }

    #[inline(always)]
    fn stretch<S: Simd>(&self, off: Lanes<S>) -> Lanes<S> {
        where_less(off, off.constant(0.0), load(off.simd, &self.below), load(off.simd, &self.above))
    }
}

/// A distribution with its sizes warped.
#[derive(Debug, Clone, Copy)]
pub struct Warped<'a> {
    distribution: &'a SizeDistribution,
    warp: Warp,
}

impl<'a> Warped<'a> {
    /// Warps a distribution.
    pub fn new(distribution: &'a SizeDistribution, warp: Warp) -> Self {
        Self { distribution, warp }
    }

    /// The distribution as stated.
    pub fn stated(&self) -> &'a SizeDistribution {
        self.distribution
    }

    /// Undersize by volume (0..1) at ln (x / µm).
    pub fn undersize_ln(&self, ln_x: f64) -> f64 {
        self.distribution.undersize_ln(self.warp.back(ln_x).0)
    }

    /// Density by volume per unit of ln x at ln (x / µm).
    #[inline]
    pub fn density_ln(&self, ln_x: f64) -> f64 {
        let (stated, stretch) = self.warp.back(ln_x);
        self.distribution.density_ln(stated) / stretch
    }
}

/// ln of the size below which the share `p` (0..1) of a mixture lies. `parts` holds the weight of each distribution (they need not
/// sum to 1) and ln of its own percentile; the answer is good to `tolerance`, relative.
pub fn mixture_quantile_ln(p: f64, parts: &[(f64, Warped, f64)], tolerance: f64) -> f64 {
    let used = || parts.iter().filter(|(w, _, _)| *w > 0.0);
    let (lo, hi) = used().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), part| (lo.min(part.2), hi.max(part.2)));
    if hi <= lo {
        return lo;
    }
    let wanted = p * used().map(|part| part.0).sum::<f64>();
    let undersize = |ln_x: f64| {
        used().fold((-wanted, 0.0), |(value, slope), (w, d, _)| {
            (value + w * d.undersize_ln(ln_x), slope + w * d.density_ln(ln_x))
        })
    };
    newton_bracketed(undersize, lo, hi, 0.5 * (lo + hi), tolerance)
}
