//! A change of all sizes of a powder that keeps their order.

use crate::lanes::{LANES, LaneRow, Lanes, Real, Simd, load, where_less};

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

    /// Which size of the stated distribution comes to lie at `ln_x`, both as ln µm.
    #[inline]
    pub fn back(&self, ln_x: f64) -> f64 {
        let off = ln_x - self.pivot_ln - self.shift;
        self.pivot_ln + off / self.stretch(off)
    }

    #[inline]
    fn stretch(&self, off: f64) -> f64 {
        if off < 0.0 { self.below } else { self.above }
    }
}

/// The warps of several draws side by side.
#[derive(Debug, Clone)]
pub struct WarpBlock {
    pivot_ln: LaneRow,
    shift: LaneRow,
    below: LaneRow,
    above: LaneRow,
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

    /// Which size of each stated distribution comes to lie at `ln_x`, and the stretch there.
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
