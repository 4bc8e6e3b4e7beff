//! A grain squeezed between two soft bodies.
//!
//! A grain of diameter x in a gap h is squeezed by x − h in all. Skin and finger pad act in series, so that their Hertz
//! forces are equal: the skin takes the share κ = 1 / (1 + (E'_s/E'_p)^(2/3)), with plane-strain moduli
//! E' = E / (1 − ν²). Then F = 4/3 E'_s √(x/2) (κ (x − h))^(3/2) (K. L. Johnson, *Contact Mechanics*, 1985, section 4.2,
//! for one sphere on one half-space; the series is ours and follows from it).
//!
//! Taking x out, F = 4/3 E'_s κ^(3/2) / √2 · x² q with q = (1 − h/x)^(3/2), which needs no power but a square root.

use std::f64::consts::FRAC_1_SQRT_2;

/// Skin and finger pad at one site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// 4/3 E'_s κ^(3/2) / √2, MPa.
    stiffness: f64,
}

impl Contact {
    /// From the skin's and the finger pad's moduli (MPa) and their Poisson ratio.
    #[inline]
    pub fn between(skin_modulus_mpa: f64, finger_modulus_mpa: f64, poisson_ratio: f64) -> Self {
        let plane_strain = |e: f64| e / (1.0 - poisson_ratio * poisson_ratio);
        let (skin, finger) = (plane_strain(skin_modulus_mpa), plane_strain(finger_modulus_mpa));
        let share = 1.0 / (1.0 + (skin / finger).cbrt().powi(2));
        Self { stiffness: 4.0 / 3.0 * skin * share * share.sqrt() * FRAC_1_SQRT_2 }
    }

    /// F / (x² q), MPa.
    #[inline]
    pub fn stiffness(&self) -> f64 {
        self.stiffness
    }

    /// Force on a grain of diameter `size_um` in a gap of `gap_um`, µN; 0 when the grain is no wider than the gap.
    pub fn force_un(&self, size_um: f64, gap_um: f64) -> f64 {
        self.stiffness * size_um * size_um * squeeze(gap_um, 1.0 / size_um)
    }
}

/// q = (1 − h/x)^(3/2), from the gap and 1/x; 0 when the grain is no wider than the gap.
#[inline]
pub fn squeeze(gap_um: f64, inverse_size: f64) -> f64 {
    let q = 1.0 - gap_um * inverse_size;
    let q = if q > 0.0 { q } else { 0.0 };
    q * q.sqrt()
}
