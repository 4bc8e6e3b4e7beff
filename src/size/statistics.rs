//! What a distribution comes to: percentiles, means, surface, spread.

use super::{Class, SizeDistribution};

/// Moments by volume M_k,3 = ∫ x^k dQ3 (ISO 9276-2) for k from −3 to 1, from one pass over the sizes: all that the usual
/// means are made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    by_order: [Option<f64>; 5],
}

impl Moments {
    /// The moments of a distribution; each is absent where it diverges.
    pub fn of(d: &SizeDistribution) -> Self {
        Self { by_order: d.moments([-3, -2, -1, 0, 1]) }
    }

    /// The moments of measured classes (ISO 9276-2, moments from a histogram): within a class the quantity that was measured lies
    /// evenly over x, the number of grains where grains were counted, else their volume. Nothing is interpolated.
    pub fn of_classes(classes: &[Class], counted: bool) -> Self {
        // By volume, grains that lie evenly by number lie as x³.
        let own = if counted { 3 } else { 0 };
        let in_class = |c: &Class, k: i32| c.share * (integral_of_power(c, k + own) / integral_of_power(c, own));
        Self { by_order: [-3, -2, -1, 0, 1].map(|k| Some(classes.iter().map(|c| in_class(c, k)).sum())) }
    }

    /// M_k,3, µm^k; `None` where it diverges or `k` is not within −3..=1.
    pub fn get(&self, k: i32) -> Option<f64> {
        usize::try_from(k + 3).ok().and_then(|i| *self.by_order.get(i)?)
    }

    /// The mean `D[p,q]` = (M_p,0 / M_q,0)^(1/(p−q)) with M_k,0 ∝ M_{k−3},3 (ISO 9276-2), µm, for p and q within 0..=4.
    /// `None` when `p == q` or a moment diverges.
    pub fn mean_um(&self, p: i32, q: i32) -> Option<f64> {
        ratio_of_moments(self.get(p - 3)?, self.get(q - 3)?, p, q)
    }

    /// The moments of a mixture: the weighted sums.
    pub fn mixed(parts: impl Iterator<Item = (f64, Self)>) -> Self {
        let mut by_order = [Some(0.0); 5];
        for (weight, moments) in parts {
            for (sum, part) in by_order.iter_mut().zip(moments.by_order) {
                *sum = sum.zip(part).map(|(s, m)| s + weight * m);
            }
        }
        Self { by_order }
    }
}

/// ∫ x^m dx over a class, µm^(m+1), without the difference of two near powers.
fn integral_of_power(class: &Class, m: i32) -> f64 {
    let width = (class.upper_um / class.lower_um).ln();
    let n = f64::from(m + 1);
    class.lower_um.powi(m + 1) * if m == -1 { width } else { (n * width).exp_m1() / n }
}

/// Any mean `D[p,q]` of a distribution, µm; `None` when `p == q` or a moment diverges.
pub fn mean_um(d: &SizeDistribution, p: i32, q: i32) -> Option<f64> {
    ratio_of_moments(d.moment(p - 3)?, d.moment(q - 3)?, p, q)
}

fn ratio_of_moments(mp: f64, mq: f64, p: i32, q: i32) -> Option<f64> {
    let mean = (mp / mq).powf(1.0 / f64::from(p - q));
    (p != q && mean.is_finite()).then_some(mean)
}

/// Span (D90 − D10) / D50 of any curve given by its quantile function.
pub fn span(quantile: impl Fn(f64) -> f64) -> f64 {
    (quantile(0.9) - quantile(0.1)) / quantile(0.5)
}

/// Specific surface per volume of grains, 6 / `D[3,2]`, m²/cm³ (equal to µm⁻¹), taking grains as spheres.
pub fn surface_m2_cm3(moments: &Moments) -> Option<f64> {
    moments.mean_um(3, 2).map(|m| 6.0 / m)
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
pub fn grains_per_gram(moments: &Moments, density_g_cm3: f64) -> Option<f64> {
    // µm⁻³ to cm⁻³ is 1e12.
    moments.get(-3).map(|m| 6.0 * m * 1e12 / (std::f64::consts::PI * density_g_cm3))
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
    fn moments_within_a_class_are_those_of_its_histogram() {
        let class = Class { lower_um: 10.0, upper_um: 20.0, share: 1.0, open: false };
        // Derived by hand: volume even over 10..20 µm has the mean 15 and M₋₁ = ln 2 / 10; M₋₃ = (1/100 − 1/400) / 20.
        let volume = Moments::of_classes(&[class], false);
        assert_relative_eq!(volume.mean_um(4, 3).unwrap(), 15.0, max_relative = 1e-12);
        assert_relative_eq!(volume.mean_um(3, 2).unwrap(), 10.0 / 2.0_f64.ln(), max_relative = 1e-12);
        assert_relative_eq!(volume.get(-3).unwrap(), 0.0075 / 20.0, max_relative = 1e-12);
        // Numbers even over 10..20 µm: D[1,0] = 15, D[2,0]² = 700/3, D[4,3] = (31e5/5) / (15e4/4).
        let number = Moments::of_classes(&[class], true);
        assert_relative_eq!(number.mean_um(1, 0).unwrap(), 15.0, max_relative = 1e-12);
        assert_relative_eq!(number.mean_um(2, 0).unwrap(), (700.0_f64 / 3.0).sqrt(), max_relative = 1e-12);
        assert_relative_eq!(number.mean_um(4, 3).unwrap(), 620_000.0 / 37_500.0, max_relative = 1e-12);
    }

    #[test]
    fn one_gram_of_unit_spheres() {
        // Nearly equal 100 µm spheres of density 2: 1 / (2 π/6 1e-6 cm³) = 954 930 a gram (derived).
        let d = SizeDistribution::from(Law::log_normal(Micrometres::new(100.0).unwrap(), 1.000_1).unwrap());
        assert_relative_eq!(grains_per_gram(&Moments::of(&d), 2.0).unwrap(), 954_929.66, max_relative = 1e-6);
    }
}
