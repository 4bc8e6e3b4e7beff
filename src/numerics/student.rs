//! Student's t and χ², from the incomplete beta and gamma functions of `statrs`; mean and spread of repeated values, and the
//! interval that t gives the mean.

use super::roots::brent;
use statrs::function::{beta, gamma};

/// Probability that |t| with `df` degrees of freedom is at least |`t`|.
pub fn two_sided(t: f64, df: f64) -> f64 {
    if t.is_infinite() {
        return 0.0;
    }
    beta::beta_reg(0.5 * df, 0.5, df / (df + t * t))
}

/// The t below which the probability `p` lies; `df` degrees of freedom. Infinite at the ends.
pub fn quantile(p: f64, df: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 {
        return if p <= 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let outside = 2.0 * p.min(1.0 - p);
    // In ln t both the centre and the far tails of one degree of freedom lie within reach.
    let off = |ln_t: f64| two_sided(ln_t.exp(), df).ln() - outside.ln();
    let t = if outside == 1.0 { 0.0 } else { brent(off, -40.0, 300.0, 1e-14).map_or(f64::INFINITY, f64::exp) };
    if p < 0.5 { -t } else { t }
}

/// Probability above `x` of χ² with `df` degrees of freedom.
pub fn chi_squared_above(x: f64, df: f64) -> f64 {
    if x <= 0.0 { 1.0 } else { gamma::gamma_ur(0.5 * df, 0.5 * x) }
}

/// Mean and spread of repeated values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// How many.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation (n − 1); `None` from a single value.
    pub sd: Option<f64>,
}

impl Sample {
    /// Of at least one value; the mean of none is not a number.
    pub fn of(values: &[f64]) -> Self {
        let count = values.len();
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        let sd = (count > 1).then(|| (squares / (count - 1) as f64).sqrt());
        Self { count, mean, sd }
    }

    /// Coefficient of variation, %.
    pub fn cv_pct(&self) -> Option<f64> {
        self.sd.filter(|_| self.mean != 0.0).map(|sd| 100.0 * sd / self.mean.abs())
    }

    /// Half the width of the interval that holds the true mean with the given confidence (0..1), t s / √n.
    pub fn half_width(&self, confidence: f64) -> Option<f64> {
        let sd = self.sd?;
        Some(quantile(0.5 + 0.5 * confidence, (self.count - 1) as f64) * sd / (self.count as f64).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2 (critical values of Student's t) and 1.3.6.7.4 (χ²).
    #[test]
    fn handbook_tables() {
        for (p, df, t) in [
            (0.975, 1.0, 12.706),
            (0.975, 2.0, 4.303),
            (0.975, 3.0, 3.182),
            (0.975, 10.0, 2.228),
            (0.95, 5.0, 2.015),
            (0.999, 30.0, 3.385),
        ] {
            assert_relative_eq!(quantile(p, df), t, epsilon = 5e-4);
            assert_relative_eq!(quantile(1.0 - p, df), -t, epsilon = 5e-4);
            assert_relative_eq!(two_sided(quantile(p, df), df), 2.0 * (1.0 - p), max_relative = 1e-9);
        }
        assert_eq!(quantile(0.5, 3.0), 0.0);
        for (x, df) in [(3.841, 1.0), (9.488, 4.0), (18.307, 10.0)] {
            assert_relative_eq!(chi_squared_above(x, df), 0.05, epsilon = 2e-5);
        }
    }

    #[test]
    fn quantiles_are_those_of_scipy() {
        // scipy.stats.t.ppf, SciPy 1.17.1 (tests/reference/lot_reference.py); the first four round to 12.706, 4.303, 2.776
        // and 2.262, the table of NIST/SEMATECH e-Handbook 1.3.6.7.2.
        for (p, freedom, t) in REFERENCE {
            assert_relative_eq!(quantile(p, freedom), t, max_relative = 1e-8);
            assert_relative_eq!(quantile(1.0 - p, freedom), -t, max_relative = 1e-8);
        }
        assert_eq!(quantile(1.0, 3.0), f64::INFINITY);
    }

    const REFERENCE: [(f64, f64, f64); 8] = [
        (0.975, 1.0, 12.706_204_736_174_694),
        (0.975, 2.0, 4.302_652_729_749_462),
        (0.975, 4.0, 2.776_445_105_197_793_4),
        (0.975, 9.0, 2.262_157_162_798_205),
        (0.95, 5.0, 2.015_048_373_333_023_3),
        (0.995, 2.0, 9.924_843_200_918_287),
        (0.995, 29.0, 2.756_385_903_670_605),
        (0.9, 3.0, 1.637_744_353_696_209),
    ];

    #[test]
    fn the_interval_of_three_values_is_that_of_scipy() {
        // scipy.stats.t.interval(0.95, 2, loc, sem) and NumPy's std(ddof=1), same script.
        let sample = Sample::of(&[163.9, 166.2, 161.5]);
        assert_relative_eq!(sample.cv_pct().unwrap(), 1.434_200_955_009_949_3, max_relative = 1e-12);
        assert_relative_eq!(
            sample.mean + sample.half_width(0.95).unwrap(),
            169.704_830_722_614_33,
            max_relative = 1e-9
        );
    }

    #[test]
    fn a_single_value_has_no_spread() {
        let one = Sample::of(&[7.0]);
        assert_eq!((one.mean, one.sd, one.half_width(0.95)), (7.0, None, None));
    }
}
