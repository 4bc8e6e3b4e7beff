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

use super::contact::Contact;
use crate::tables::ModelConstants;
use std::f64::consts::{FRAC_PI_4, PI, SQRT_2};

/// K of u² = K (1 − h/x)^(3/2): a² = 2F / (π H_s) over r² = (R_w x / 2)².
pub(super) fn bluntness(contact: &Contact, roundness: f64, constants: &ModelConstants) -> f64 {
    8.0 * contact.stiffness() / (PI * constants.horn_hardness_mpa * roundness * roundness)
}

/// The edge-keeping factor η = H / (H + H_half): soft grains round off, hard ones keep their edge (convention).
pub(super) fn edge_keeping(hardness_gpa: f64, constants: &ModelConstants) -> f64 {
    hardness_gpa / (hardness_gpa + constants.half_hardness_gpa)
}

/// Depth over corner radius, g/r, from u² = (a/r)².
#[inline]
pub fn relative_depth(u2: f64) -> f64 {
    if u2 <= 0.5 {
        // 1 − √(1 − u²) without the cancellation.
        u2 / (1.0 + (1.0 - u2).sqrt())
    } else {
        1.0 - SQRT_2 + u2.sqrt()
    }
}

/// Slope of [`relative_depth`] by u².
#[inline]
pub(super) fn relative_depth_slope(u2: f64) -> f64 {
    0.5 / if u2 <= 0.5 { (1.0 - u2).sqrt() } else { u2.sqrt() }
}

/// Section over corner radius squared, A/r², from u² = (a/r)².
#[inline]
pub fn relative_section(u2: f64) -> f64 {
    if u2 > 0.5 {
        FRAC_PI_4 - 1.0 + u2
    } else if u2 > 0.01 {
        let u = u2.sqrt();
        u.asin() - u * (1.0 - u2).sqrt()
    } else {
        // The difference above loses all digits as u falls: its series, from ∫ 2t²/√(1−t²) dt.
        let series = 2.0 / 3.0 + u2 * (1.0 / 5.0 + u2 * (3.0 / 28.0 + u2 * (5.0 / 72.0 + u2 * (35.0 / 704.0))));
        u2 * u2.sqrt() * series
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn pieces_join_smoothly() {
        for at in [0.01, 0.5] {
            let (below, above) = (at * (1.0 - 1e-12), at * (1.0 + 1e-12));
            assert_relative_eq!(relative_depth(below), relative_depth(above), max_relative = 1e-10);
            assert_relative_eq!(relative_section(below), relative_section(above), max_relative = 1e-10);
            assert_relative_eq!(relative_depth_slope(below), relative_depth_slope(above), max_relative = 1e-10);
        }
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
