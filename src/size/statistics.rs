//! What a distribution comes to: percentiles, means, surface, spread.

use super::SizeDistribution;

/// The mean `D[p,q]` = (M_p,0 / M_q,0)^(1/(p−q)), from moments by volume (ISO 9276-2: M_k,0 ∝ M_{k−3},3), µm. `None`
/// when `p == q` or a moment diverges.
pub fn mean_um(d: &SizeDistribution, p: i32, q: i32) -> Option<f64> {
    ratio_of_moments(d.moment(p - 3)?, d.moment(q - 3)?, p, q)
}

/// `D[p,q]` from the two moments by volume M_{p−3},3 and M_{q−3},3.
pub fn ratio_of_moments(mp: f64, mq: f64, p: i32, q: i32) -> Option<f64> {
    let mean = (mp / mq).powf(1.0 / f64::from(p - q));
    (p != q && mean.is_finite()).then_some(mean)
}

/// Span (D90 − D10) / D50 of any curve given by its quantile function.
pub fn span(quantile: impl Fn(f64) -> f64) -> f64 {
    (quantile(0.9) - quantile(0.1)) / quantile(0.5)
}

/// Specific surface per volume of grains, 6 / `D[3,2]`, m²/cm³ (equal to µm⁻¹), taking grains as spheres.
pub fn surface_m2_cm3(d: &SizeDistribution) -> Option<f64> {
    mean_um(d, 3, 2).map(|m| 6.0 / m)
}

/// Geometric standard deviation, √(D84 / D16).
pub fn geometric_sd(d: &SizeDistribution) -> f64 {
    (d.quantile(0.84) / d.quantile(0.16)).powf(0.5 / PROBIT_84)
}

/// The probit of 0.84: D84 and D16 stand 0.994 standard deviations from the median, not quite one.
const PROBIT_84: f64 = 0.994_457_883_209_753;

/// Coefficient of uniformity Cu = D60 / D10 (ISO 14688-2).
pub fn uniformity(d: &SizeDistribution) -> f64 {
    d.quantile(0.6) / d.quantile(0.1)
}

/// Coefficient of curvature Cc = D30² / (D10 D60) (ISO 14688-2).
pub fn curvature(d: &SizeDistribution) -> f64 {
    d.quantile(0.3).powi(2) / (d.quantile(0.1) * d.quantile(0.6))
}

/// Grains in a gram of powder of the given envelope density, taking them as spheres: 6 M_{−3},3 / (π ρ).
pub fn grains_per_gram(d: &SizeDistribution, density_g_cm3: f64) -> Option<f64> {
    // µm⁻³ to cm⁻³ is 1e12.
    d.moment(-3).map(|m| 6.0 * m * 1e12 / (std::f64::consts::PI * density_g_cm3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::law::Law;
    use crate::units::Micrometres;
    use approx::assert_relative_eq;

    #[test]
    fn log_normal_spread_is_its_gsd_and_uniformity_follows() {
        let d = SizeDistribution::from(Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap());
        assert_relative_eq!(geometric_sd(&d), 1.5, max_relative = 1e-8);
        // Cu = exp(σ (0.253347 + 1.281552)), Cc = exp(σ (−1.048801 + 1.281552 − 0.253347)): probits from a normal table.
        let sigma = 1.5_f64.ln();
        assert_relative_eq!(uniformity(&d), (sigma * 1.534_898_6).exp(), max_relative = 1e-6);
        assert_relative_eq!(curvature(&d), (sigma * -0.020_596).exp(), max_relative = 1e-5);
    }

    #[test]
    fn one_gram_of_unit_spheres() {
        // Nearly equal 100 µm spheres of density 2: 1 / (2 π/6 1e-6 cm³) = 954 930 a gram (derived).
        let d = SizeDistribution::from(Law::log_normal(Micrometres::new(100.0).unwrap(), 1.000_1).unwrap());
        assert_relative_eq!(grains_per_gram(&d, 2.0).unwrap(), 954_929.66, max_relative = 1e-6);
    }
}
