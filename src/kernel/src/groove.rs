//! The groove that a pressed grain ploughs.
//!
//! A corner of radius r = R_w x / 2 slides under F and touches on its front half only, F = H_s π a² / 2. The corner is a
//! sphere up to a₀ = r/√2 and the 45° cone tangent to it beyond. With u = a/r, depth and section over r and r² are
//!
//! ```text
//! g/r  = 1 − √(1 − u²)                 A/r² = asin u − u √(1 − u²)            u ≤ 1/√2
//! g/r  = 1 − √2 + u                    A/r² = π/4 − 1 + u²                    u > 1/√2
//! ```
//!
//! the second line being r(1 − 1/√2) + (a − a₀) and A(a₀) + (a₀ + a)(g − g(a₀)) worked out. With the force of
//! [`super::Contact`], u² = K (1 − h/x)^(3/2) and K does not depend on x.

use crate::contact::Contact;
use crate::lanes::{Lanes, Real, Simd, polynomial, where_less};
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// K of u² = K (1 − h/x)^(3/2): a² = 2F / (π H_s) over r² = (R_w x / 2)².
pub fn keenness(contact: &Contact, roundness: f64, horn_hardness_mpa: f64) -> f64 {
    8.0 * contact.stiffness() / (PI * horn_hardness_mpa * roundness * roundness)
}

/// The edge-keeping factor η = H / (H + r_H H_s) of a grain's hardness, and the one at which half an edge is kept: r_H times that of
/// the surface worked on. Grains little harder than it round off, beyond that hardness counts for less and less (convention).
#[inline(always)]
pub fn edge_keeping<T: Real>(hardness_gpa: T, half_kept_gpa: T) -> T {
    hardness_gpa / (hardness_gpa + half_kept_gpa)
}

/// Depth over corner radius, g/r, from u² = (a/r)².
#[inline(always)]
pub fn relative_depth<T: Real>(u2: T) -> T {
    let [one, half] = [1.0, 0.5].map(|v| u2.constant(v));
    let (sphere, cone) = (u2.lesser(half), u2.greater(half));
    // 1 − √(1 − u²) without the cancellation; then what the cone adds.
    sphere / (one + (one - sphere).root()) + (cone.root() - u2.constant(FRAC_1_SQRT_2))
}

/// Depth of the groove of a grain in a gap, µm, and its slope by size, from the keenness and half of the roundness.
#[inline(always)]
pub fn groove_at<T: Real>(size: T, gap_um: T, keenness: T, tip: T) -> (T, T) {
    let ratio = gap_um / size;
    let q = (size.constant(1.0) - ratio).greater(size.constant(0.0));
    let root = q.root();
    let u2 = keenness * q * root;
    let depth = relative_depth(u2);
    let u2_slope = size.constant(1.5) * keenness * root * ratio / size;
    (tip * size * depth, tip * (depth + size * relative_depth_slope(u2) * u2_slope))
}

/// Slope of [`relative_depth`] by u².
#[inline(always)]
fn relative_depth_slope<T: Real>(u2: T) -> T {
    // Of 1 − u² and u² that one counts which is the larger.
    u2.constant(0.5) / (u2.constant(1.0) - u2).greater(u2).root()
}

/// (asin u − u √(1 − u²)) / u³ as a polynomial in u² on 0..1/2, rising powers: the Chebyshev fit of degree 9 to its series
/// 2 Σ C(2k,k) u^2k / (4^k (2k + 3)). Relative error below 2e-9 (tested); the difference itself would lose all digits as
/// u falls, and an arcsine for every grain was a third of the rub's time.
const SPHERE_SECTION: [f64; 10] = [
    0.666_666_666_223_919_1,
    0.200_000_176_699_110_38,
    0.107_131_328_213_886_55,
    0.069_733_258_026_070_18,
    0.046_086_782_479_814_19,
    0.063_628_909_189_866_7,
    -0.078_686_956_219_887_4,
    0.297_929_303_521_995,
    -0.364_360_851_669_651,
    0.265_231_504_305_308_09,
];

/// Section over corner radius squared, A/r², from u² = (a/r)².
#[inline]
pub fn relative_section(u2: f64) -> f64 {
    let sphere = if u2 < 0.5 { u2 } else { 0.5 };
    let series = SPHERE_SECTION.iter().rev().fold(0.0, |sum, c| sum * sphere + c);
    sphere * sphere.sqrt() * series + (u2 - sphere)
}

/// A g² / (r⁴ u⁷) as a polynomial in u² on 0..1/2, rising powers: the Chebyshev fit of degree 7. Relative error below 3e-7 (tested).
const SPHERE_SEVERITY: [f32; 8] =
    [0.166_666_62, 0.133_344_77, 0.103_409_02, 0.089_796_23, 0.017_076_553, 0.250_504_4, -0.336_298_72, 0.376_331_8];

/// (A/r²) (g/r)² from u² = (a/r)²: [`relative_section`] times [`relative_depth`] squared, with one root and no division, for draws.
#[inline(always)]
pub(crate) fn depth_weighted_section<S: Simd>(u2: Lanes<S>) -> Lanes<S> {
    use std::f32::consts::{FRAC_PI_4, SQRT_2};
    let u = u2.root();
    let half = u2.constant(0.5);
    let inside = u2.lesser(half);
    let sphere = inside * inside * inside * u * polynomial(&SPHERE_SEVERITY, inside);
    let depth = u + (1.0 - SQRT_2);
    let cone = (u2 + (FRAC_PI_4 - 1.0)) * depth * depth;
    where_less(u2, half, sphere, cone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lanes::{Level, on_registers};
    use approx::assert_relative_eq;
    use fearless_simd::prelude::*;
    use std::f64::consts::{FRAC_PI_4, SQRT_2};

    #[test]
    fn both_pieces_are_the_stated_formulas_and_join_smoothly() {
        let mut u2 = 1e-3;
        while u2 < 4.0 {
            let u = f64::sqrt(u2);
            let (depth, section) = if u2 <= 0.5 {
                (1.0 - (1.0 - u2).sqrt(), u.asin() - u * (1.0 - u2).sqrt())
            } else {
                (1.0 - SQRT_2 + u, FRAC_PI_4 - 1.0 + u2)
            };
            assert_relative_eq!(relative_depth(u2), depth, max_relative = 1e-12);
            assert_relative_eq!(relative_section(u2), section, max_relative = 2e-9);
            let together = relative_section(u2) * depth * depth;
            let (of_draws, depth_of_draws) = on_registers!(Level::new(), simd => {
                let u2 = Lanes::splat(simd, u2 as f32);
                (depth_weighted_section(u2)[0], relative_depth(u2)[0])
            });
            assert_relative_eq!(f64::from(of_draws), together, max_relative = 1e-6);
            assert_relative_eq!(f64::from(depth_of_draws), depth, max_relative = 1e-6);
            u2 *= 1.01;
        }
        // Where the arcsine formula has no digits left, the leading term 2/3 u³ has them all.
        assert_relative_eq!(relative_section(1e-12), 2.0 / 3.0 * 1e-18, max_relative = 2e-9);
        let (below, above) = (0.5 * (1.0 - 1e-12), 0.5 * (1.0 + 1e-12));
        assert_relative_eq!(relative_depth_slope(below), relative_depth_slope(above), max_relative = 1e-10);
    }

    #[test]
    fn section_is_the_integral_of_the_width_over_the_depth() {
        // dA = 2a dg, whatever the shape of the tip.
        let steps = 200_000;
        for end in [0.3, 1.4] {
            let mut area = 0.0;
            for i in 0..steps {
                let (lo, hi) = (end * f64::from(i) / f64::from(steps), end * f64::from(i + 1) / f64::from(steps));
                let middle = (0.5 * (lo + hi)).sqrt();
                area += 2.0 * middle * (relative_depth(hi) - relative_depth(lo));
            }
            assert_relative_eq!(area, relative_section(end), max_relative = 1e-5);
        }
    }
}
