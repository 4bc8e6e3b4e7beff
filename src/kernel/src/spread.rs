//! Values of ranges at shares of the draws, eight at once.

use crate::lanes::{
    LANES, Lanes, Level, Real, Simd, each, exp, lane_by_lane, ln, on_registers, polynomial, where_less,
};
use fearless_simd::prelude::*;

/// Values of a log-normal at several shares (0..1): its median, and the standard deviations of ln below and above it.
pub fn normal_spread(median: f64, sides: [f64; 2], shares: &[f64; LANES]) -> [f64; LANES] {
    on_registers!(Level::new(), simd => scaled(median, sides, quantiles(simd, shares)))
}

/// Values of a log-uniform at several shares: half of the draws from the median down by `sides[0]` of ln, half up by `sides[1]`.
pub fn uniform_spread(median: f64, sides: [f64; 2], shares: &[f64; LANES]) -> [f64; LANES] {
    on_registers!(Level::new(), simd => {
        let score = each(
            simd,
            #[inline(always)]
            |l| (2.0 * shares[l] - 1.0) as f32,
        );
        scaled(median, sides, score)
    })
}

#[inline(always)]
fn scaled<S: Simd>(median: f64, [below, above]: [f64; 2], score: Lanes<S>) -> [f64; LANES] {
    let factor = exp(where_less(score, score.constant(0.0), score * below as f32, score * above as f32));
    lane_by_lane(
        #[inline(always)]
        |l| median * f64::from(factor[l]),
    )
}

/// Normal scores of shares in single precision: PPND7 of M. J. Wichura, *Appl. Stat.* 37 (1988) 477, good to 1e-6 strictly between 0
/// and 1.
#[inline(always)]
fn quantiles<S: Simd>(simd: S, p: &[f64; LANES]) -> Lanes<S> {
    let off = each(
        simd,
        #[inline(always)]
        |l| (p[l] - 0.5) as f32,
    );
    let r = off * off * -1.0 + 0.180_625;
    let centre = off * polynomial(&[3.387_132_7, 50.434_27, 159.291_13, 59.109_375], r)
        / polynomial(&[1.0, 17.895_17, 78.757_76, 67.187_56], r);
    let outer = each(
        simd,
        #[inline(always)]
        |l| p[l].lesser(1.0 - p[l]) as f32,
    );
    let r = (ln(outer) * -1.0).sqrt();
    let (near, far) = (r - 1.6, r - 5.0);
    let near = polynomial(&[1.423_437_3, 2.756_815_4, 1.306_728_5, 0.170_238_21], near)
        / polynomial(&[1.0, 0.737_001_64, 0.120_211_33], near);
    let far = polynomial(&[6.657_905, 3.081_226_4, 0.428_682_94, 0.017_337_203], far)
        / polynomial(&[1.0, 0.241_978_94, 0.012_258_203], far);
    let tail = where_less(r, r.constant(5.0), near, far).copysign(off);
    where_less(off.abs(), off.constant(0.425), centre, tail)
}
