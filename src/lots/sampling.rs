//! How much powder a sample must hold to speak for the lot: Gy's formula for the fundamental error, which arises because a
//! sample holds only so many grains however well it was taken.
//!
//! Source: P. Gy, *Sampling of Particulate Materials: Theory and Practice*, 1979; B. A. Wills, *Mineral Processing
//! Technology*, chapter on sampling, for the example with its factors. Masses in g, lengths in cm, densities in g/cm³.

use crate::numerics::normal;

/// Gy's factors that hold for any question asked of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampledGrains {
    /// Shape factor f: the volume of a grain over that of the cube around it; 0.5 for most.
    pub shape: f64,
    /// Size range factor g: 0.25 where the top size is the 95 % passing one of an unsorted powder, 1 for equal grains.
    pub range: f64,
    /// Top size, cm.
    pub top_cm: f64,
}

/// A mineral in an ore, or foreign grains in a powder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assay {
    /// Mass share of the mineral, 0..1.
    pub share: f64,
    /// Density of the mineral.
    pub density: f64,
    /// Density of all the rest.
    pub rest_density: f64,
    /// Size at which the mineral comes free of the rest, cm.
    pub liberation_cm: f64,
}

impl SampledGrains {
    /// The mass, g, whose inverse a sample of one gram has as relative variance of an assay: f g l m d³, with the
    /// liberation factor l = √(L/d), at most 1, and the mineral factor m = (1−a)/a ((1−a) ρ + a ρ_rest).
    pub fn of_assay_g(&self, assay: &Assay) -> f64 {
        let a = assay.share;
        let mineral = (1.0 - a) / a * ((1.0 - a) * assay.density + a * assay.rest_density);
        let liberation = (assay.liberation_cm / self.top_cm).sqrt().min(1.0);
        self.shape * self.range * liberation * mineral * self.top_cm.powi(3)
    }

    /// The same for the share (0..1) of a size class of grains of size `class_cm`:
    /// f ρ ((1/a − 2) d_class³ + g d³).
    pub fn of_class_g(&self, share: f64, class_cm: f64, density: f64) -> f64 {
        let own = (1.0 / share - 2.0).max(0.0) * class_cm.powi(3);
        self.shape * density * (own + self.range * self.top_cm.powi(3))
    }
}

/// Relative standard deviation that lets the error pass `error` (0..1) no more often than the confidence (0..1) allows.
pub fn relative_sd(error: f64, confidence: f64) -> f64 {
    error / normal::quantile(0.5 + 0.5 * confidence)
}

/// Least mass of a sample, g, for a relative standard deviation shared equally by `stages` of sampling.
pub fn least_mass_g(heterogeneity_g: f64, relative_sd: f64, stages: u32) -> f64 {
    heterogeneity_g * f64::from(stages.max(1)) / relative_sd.powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn masses_of_the_textbook() {
        // Gy's formula, worked example in Wills, Mineral Processing Technology: ore of 5 % in a mineral of 86.6 %, relative
        // error 2 % at 95 %, liberation size 0.015 cm, densities 7.5 and 2.65, four stages, safety factor 2. The published
        // figures take 1.96 standard deviations, which is 2e-5 from the quantile; the last one is rounded to 0.07.
        let assay = Assay { share: 5.0 / 86.6, density: 7.5, rest_density: 2.65, liberation_cm: 0.015 };
        let sd = relative_sd(0.02, 0.95);
        let mass =
            |top_cm| 2.0 * least_mass_g(SampledGrains { shape: 0.5, range: 0.25, top_cm }.of_assay_g(&assay), sd, 4);
        for (top_cm, published, within) in
            [(2.5, 1_369_632.0, 5e-5), (0.5, 24_501.0, 7e-5), (0.1, 438.0, 1e-3), (0.004, 0.07, 0.04)]
        {
            assert_relative_eq!(mass(top_cm), published, max_relative = within);
        }
    }

    #[test]
    fn a_class_of_equal_grains_is_counted() {
        // With all grains alike the count of a class is binomial: variance (1−a)/(a n), n grains of mass f ρ d³ to a gram.
        let grains = SampledGrains { shape: 0.52, range: 1.0, top_cm: 0.02 };
        let grain_g = 0.52 * 1.35 * 0.02_f64.powi(3);
        for share in [0.02, 0.1, 0.4] {
            let wanted = (1.0 - share) / share * grain_g;
            assert_relative_eq!(grains.of_class_g(share, 0.02, 1.35), wanted, max_relative = 1e-12);
        }
    }
}
