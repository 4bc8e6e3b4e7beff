//! Repeated values: their mean, spread, and the interval that Student's t gives the mean.

use statrs::distribution::{ContinuousCDF, StudentsT};

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
        let t = quantile(0.5 + 0.5 * confidence, (self.count - 1) as f64)?;
        self.sd.map(|sd| t * sd / (self.count as f64).sqrt())
    }
}

/// The value below which Student's t with `freedom` degrees of freedom lies with probability `p`; `None` outside 0..1 or
/// without freedom.
pub fn quantile(p: f64, freedom: f64) -> Option<f64> {
    let t = StudentsT::new(0.0, 1.0, freedom).ok()?;
    (p > 0.0 && p < 1.0).then(|| t.inverse_cdf(p))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn quantiles_are_those_of_scipy() {
        // scipy.stats.t.ppf, SciPy 1.17.1 (tests/reference/lot_reference.py); the first four round to 12.706, 4.303, 2.776
        // and 2.262, the table of NIST/SEMATECH e-Handbook 1.3.6.7.2.
        for (p, freedom, t) in REFERENCE {
            assert_relative_eq!(quantile(p, freedom).unwrap(), t, max_relative = 1e-8);
            assert_relative_eq!(quantile(1.0 - p, freedom).unwrap(), -t, max_relative = 1e-8);
        }
        assert_eq!(quantile(0.975, 0.0), None);
        assert_eq!(quantile(1.0, 3.0), None);
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
