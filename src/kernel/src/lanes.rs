//! Eight numbers side by side, for loops that run on vector registers. Single precision: twice as many to a register, and seven digits
//! are three more than averages over draws can show. No number depends on its neighbours, and the results are the same bits whatever
//! vector instructions a machine has. What is called from inside [`on_registers`] is inlined by force, as `fearless_simd` asks, until the next
//! [`on_registers_of`]: a function that opens with one stands by itself in the program, once for each kind of registers, however often it
//! is called. The few large loops do; everything small is inlined into them.

use fearless_simd::prelude::*;
use fearless_simd::{f32x8, i32x8, mask32x8};
use std::ops::{Add, Div, Mul, Sub};

pub(crate) use fearless_simd::{Level, Simd};

/// Runs what is written for any registers on the best ones of a [`Level`], as `fearless_simd::dispatch` does; but on x86-64 code is made
/// for two kinds only, AVX2 and what every machine has: all four kinds would take twice as long to build, for the same speed.
macro_rules! on_registers {
    ($level:expr, $simd:ident => $work:expr) => {{
        let level: fearless_simd::Level = $level;
        #[cfg(target_arch = "x86_64")]
        let result = match (level.as_avx2(), level.as_sse2()) {
            (Some($simd), _) => $crate::lanes::on_registers_of!($simd => $work),
            (None, Some($simd)) => $crate::lanes::on_registers_of!($simd => $work),
            (None, None) => unreachable!("every x86-64 machine has SSE2"),
        };
        #[cfg(not(target_arch = "x86_64"))]
        let result = fearless_simd::dispatch!(level, $simd => $work);
        result
    }};
}

/// The same from inside, on the registers in use: a function that is called instead of inlined.
macro_rules! on_registers_of {
    ($simd:ident => $work:expr) => {
        fearless_simd::Simd::vectorize(
            $simd,
            #[inline(always)]
            || $work,
        )
    };
}

pub(crate) use {on_registers, on_registers_of};

/// Numbers side by side.
pub const LANES: usize = 8;
/// The same where they are kept.
pub type LaneRow = [f32; LANES];
/// The same in a register.
pub type Lanes<S> = f32x8<S>;

/// Puts numbers side by side.
#[inline(always)]
pub fn load<S: Simd>(simd: S, row: &LaneRow) -> Lanes<S> {
    f32x8::load_array_ref(simd, row)
}

/// Something made for each lane by itself.
#[inline(always)]
pub fn lane_by_lane<T: Copy + Default>(make: impl Fn(usize) -> T) -> [T; LANES] {
    // The loop is inlined for certain, `from_fn` is not.
    let mut all = [T::default(); LANES];
    for (lane, one) in all.iter_mut().enumerate() {
        *one = make(lane);
    }
    all
}

/// A number made for each lane by itself.
#[inline(always)]
pub fn each<S: Simd>(simd: S, make: impl Fn(usize) -> f32) -> Lanes<S> {
    lane_by_lane(make).simd_into(simd)
}

/// `then` in the lanes where `a < b`, otherwise `or`.
#[inline(always)]
pub fn where_less<S: Simd>(a: Lanes<S>, b: Lanes<S>, then: Lanes<S>, or: Lanes<S>) -> Lanes<S> {
    a.simd_lt(b).select(then, or)
}

/// The whole numbers below numbers that are not negative, at most `last`; and what is left.
#[inline(always)]
pub fn split<S: Simd>(x: Lanes<S>, last: Lanes<S>) -> ([i32; LANES], Lanes<S>) {
    let whole: i32x8<S> = x.min(last).max(0.0).to_int();
    let rounded: Lanes<S> = whole.to_float();
    (whole.to_array(), x - rounded)
}

/// A number, or numbers side by side: for formulas that are written once for both.
pub trait Real: Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> {
    /// A constant of the same kind.
    fn constant(self, value: f64) -> Self;
    /// The square root.
    fn root(self) -> Self;
    /// The smaller of two.
    fn lesser(self, other: Self) -> Self;
    /// The larger of two.
    fn greater(self, other: Self) -> Self;
}

impl Real for f64 {
    #[inline(always)]
    fn constant(self, value: f64) -> Self {
        value
    }

    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }

    // Comparisons like these become single instructions; min and max would pay for NaN.
    #[inline(always)]
    fn lesser(self, other: Self) -> Self {
        if self < other { self } else { other }
    }

    #[inline(always)]
    fn greater(self, other: Self) -> Self {
        if self > other { self } else { other }
    }
}

impl<S: Simd> Real for Lanes<S> {
    #[inline(always)]
    fn constant(self, value: f64) -> Self {
        Self::simd_from(self.simd, value as f32)
    }

    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }

    #[inline(always)]
    fn lesser(self, other: Self) -> Self {
        self.min(other)
    }

    #[inline(always)]
    fn greater(self, other: Self) -> Self {
        self.max(other)
    }
}

/// A polynomial given by its rising powers.
#[inline(always)]
pub fn polynomial<S: Simd>(coefficients: &[f32], x: Lanes<S>) -> Lanes<S> {
    coefficients.iter().rev().fold(
        Lanes::splat(x.simd, 0.0),
        #[inline(always)]
        |sum, c| sum * x + *c,
    )
}

/// Adding this leaves the nearest whole number in the lowest bits: 1.5 · 2²³.
const ROUNDING: f32 = 12_582_912.0;
/// ln 2 in two parts, the first with zeros at its end.
const LN_2: [f32; 2] = [0.693_359_4, -2.121_944_4e-4];
/// (eʳ − 1 − r) / r² for |r| up to ln 2 / 2, rising powers.
const EXP: [f32; 6] = [0.5, 0.166_666_66, 0.041_665_796, 0.008_333_452, 0.001_398_2, 0.000_198_756_92];
/// (ln (1 + f) − f + f²/2) / f³ for 1 + f between √½ and √2, rising powers.
const LN: [f32; 9] = [
    0.333_333_3,
    -0.249_999_94,
    0.200_007_14,
    -0.166_680_57,
    0.142_493_23,
    -0.124_201_41,
    0.116_769_984,
    -0.115_146_1,
    0.070_376_836,
];

/// The exponential function, good to 2e-7, relative; beyond ±87 it stays at the value there. The polynomials of it and of [`ln`] are
/// those of S. L. Moshier's Cephes library (1989), from memory; tested against the exact functions.
#[inline(always)]
pub fn exp<S: Simd>(x: Lanes<S>) -> Lanes<S> {
    let x = x.min(87.0).max(-87.0);
    let rounded = x * std::f32::consts::LOG2_E + ROUNDING;
    let n = rounded - ROUNDING;
    let r = x - n * LN_2[0] - n * LN_2[1];
    // The lowest bits of `rounded` are n; shifted to where the exponent of a number stands.
    let power = Lanes::from_bits((rounded.to_bits() << 23) + 1.0_f32.to_bits());
    (polynomial(&EXP, r) * r * r + r + 1.0) * power
}

/// The natural logarithm of positive numbers, good to 2e-7 of the larger of it and 1; -88 of 0.
#[inline(always)]
pub fn ln<S: Simd>(x: Lanes<S>) -> Lanes<S> {
    let bits: i32x8<S> = x.bitcast();
    let exponent = (bits - std::f32::consts::FRAC_1_SQRT_2.to_bits() as i32) >> 23;
    let mantissa: Lanes<S> = (bits - (exponent << 23)).bitcast();
    let (f, n): (_, Lanes<S>) = (mantissa - 1.0, exponent.to_float());
    let square = f * f;
    polynomial(&LN, f) * f * square + n * LN_2[1] - square * 0.5 + f + n * LN_2[0]
}

const MOST_STEPS: usize = 60;

/// Roots of increasing functions given with their slopes, by Newton's method kept inside shrinking brackets `lo`..`hi`, from `guess` on.
/// A lane rests once its step is below `tolerance`, relative: the error left is of its square. A lane whose bracket is empty keeps its
/// guess; one whose function has no sign change goes to the nearer end.
#[inline(always)]
pub fn newton<S: Simd>(
    mut f: impl FnMut(Lanes<S>) -> (Lanes<S>, Lanes<S>),
    [mut lo, mut hi]: [Lanes<S>; 2],
    guess: Lanes<S>,
    tolerance: f32,
) -> Lanes<S> {
    let mut x = guess;
    let mut moving: mask32x8<S> = lo.simd_lt(hi);
    let mut steps = 0;
    while moving.any_true() && steps < MOST_STEPS {
        let (value, slope) = f(x);
        let over = value.simd_gt(0.0);
        (lo, hi) = (over.select(lo, x), over.select(x, hi));
        let newton = x - value / slope;
        let inside = newton.simd_ge(lo) & newton.simd_le(hi);
        let next = inside.select(newton, (lo + hi) * 0.5);
        let step = (next - x).abs();
        x = moving.select(next, x);
        moving &= step.simd_gt(next.abs() * tolerance);
        steps += 1;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exponential_and_logarithm_have_seven_digits() {
        let both = |x: f32| {
            on_registers!(Level::new(), simd => {
                let x = Lanes::splat(simd, x);
                (exp(x)[0], ln(x)[0])
            })
        };
        let mut x = -86.9_f64;
        while x < 86.9 {
            let exact = f64::from(x as f32).exp();
            assert!((f64::from(both(x as f32).0) / exact - 1.0).abs() < 2e-7, "exp {x}");
            let log = f64::from(exact as f32).ln();
            assert!((f64::from(both(exact as f32).1) - log).abs() < 2e-7 * log.abs().max(1.0), "ln {exact}");
            x += 0.013;
        }
        assert_eq!((both(0.0).0, both(-200.0).0, both(1.0).1), (1.0, both(-87.0).0, 0.0));
    }

    #[test]
    fn roots_of_several_functions_at_once() {
        let wanted = [0.2, 1.0, 3.5, 20.0, 8.0, 27.0, 64.0, 3.5];
        let found = on_registers!(Level::new(), simd => {
            let cubes = |x: Lanes<_>| (x * x * x - load(simd, &wanted), 3.0 * x * x);
            let [zero, one] = [0.0, 1.0].map(|v| Lanes::splat(simd, v));
            let high = [10.0, 10.0, 10.0, 2.0, 10.0, 10.0, 10.0, 10.0].simd_into(simd);
            let guess = [5.0, 0.1, 9.0, 1.0, 2.0, 3.0, 4.0, 9.0].simd_into(simd);
            let found = newton(cubes, [zero, high], guess, 1e-4);
            // An empty bracket keeps the guess.
            assert_eq!(newton(cubes, [one, one], guess, 1e-4).to_array(), guess.to_array());
            found.to_array()
        });
        for l in [0, 1, 2, 4, 5, 6] {
            assert!((found[l] / wanted[l].cbrt() - 1.0).abs() < 1e-6, "{found:?}");
        }
        // No sign change below 2: the end. The same problem twice: the same bits.
        assert!((found[3] - 2.0).abs() < 1e-3);
        assert_eq!(found[2], found[7]);
    }
    #[test]
    fn every_kind_of_vector_gives_the_same_bits() {
        let mut x = 1e-3_f32;
        while x < 80.0 {
            let of = |level: Level| {
                on_registers!(level, simd => {
                    let x = each(simd, |l| x * (1.0 + l as f32));
                    let root = newton(|y| (y * y - x, y * 2.0), [x.constant(0.0), x + 1.0], x, 1e-5);
                    [exp(x.constant(1.0) - x), ln(x), root, split(x, x.constant(63.0)).1, x.lesser(x.root())].map(|y| y.to_array())
                })
            };
            assert_eq!(of(Level::new()), of(Level::baseline()));
            x *= 1.037;
        }
    }
}
