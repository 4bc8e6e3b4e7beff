//! A positive number that is known within a range only. Half of the draws lie on either side of the stated value, on the ln axis;
//! how they lie there depends on what the ends of the range are.

use super::normal;
use gritwise_kernel::{LANES, normal_spread, uniform_spread};

/// z of the normal distribution below which 95 % lies.
pub(crate) const Z95: f64 = 1.644_853_626_951_472_2;

/// How a number is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Log-normal with the stated value as median and the ends of the range as the 5 and 95 % quantiles, a standard deviation of
    /// ln for either side.
    LogNormal {
        /// The stated value.
        median: f64,
        /// Standard deviation of ln below it.
        below: f64,
        /// Standard deviation of ln above it.
        above: f64,
    },
    /// Log-uniform from one end to the value and from there to the other end, half of the draws in each part.
    LogUniform {
        /// The stated value.
        median: f64,
        /// ln (value / low end).
        below: f64,
        /// ln (high end / value).
        above: f64,
    },
}

impl Spread {
    /// Log-normal with 5 % below `low` and 5 % above `high`; both are positive and hold `median` between them.
    pub fn log_normal(median: f64, low: f64, high: f64) -> Self {
        Self::LogNormal { median, below: (median / low).ln() / Z95, above: (high / median).ln() / Z95 }
    }

    /// Log-uniform, never below `low` or above `high`; both are positive and hold `median` between them.
    pub fn log_uniform(median: f64, low: f64, high: f64) -> Self {
        Self::LogUniform { median, below: (median / low).ln(), above: (high / median).ln() }
    }

    /// The value at the share `u` (0..1) of the draws.
    pub fn at(&self, u: f64) -> f64 {
        match *self {
            Self::LogNormal { .. } => self.at_z(normal::quantile(u)),
            Self::LogUniform { median, below, above } => {
                let part = 2.0 * u - 1.0;
                median * (part * if part < 0.0 { below } else { above }).exp()
            }
        }
    }

    /// The values at several shares, in single precision.
    pub fn at_all(&self, u: &[f64; LANES]) -> [f64; LANES] {
        match *self {
            Self::LogNormal { median, below, above } => normal_spread(median, [below, above], u),
            Self::LogUniform { median, below, above } => uniform_spread(median, [below, above], u),
        }
    }

    /// The same at a normal score.
    pub fn at_z(&self, z: f64) -> f64 {
        match *self {
            Self::LogNormal { median, below, above } => median * (z * if z < 0.0 { below } else { above }).exp(),
            Self::LogUniform { .. } => self.at(normal::cdf(z)),
        }
    }

    /// Whether every draw is the stated value.
    pub fn is_fixed(&self) -> bool {
        let (Self::LogNormal { below, above, .. } | Self::LogUniform { below, above, .. }) = *self;
        below == 0.0 && above == 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn ends_and_median_fall_where_they_should() {
        let normal = Spread::log_normal(2.0, 1.0, 5.0);
        let uniform = Spread::log_uniform(2.0, 1.0, 5.0);
        let several = |spread: Spread, u| spread.at_all(&[u; LANES])[7];
        for (u, wanted) in [(0.05, 1.0), (0.5, 2.0), (0.95, 5.0)] {
            assert_relative_eq!(normal.at(u), wanted, max_relative = 1e-9);
            assert_relative_eq!(several(normal, u), wanted, max_relative = 1e-6);
        }
        for (u, wanted) in [(0.0, 1.0), (0.25, f64::sqrt(2.0)), (0.5, 2.0), (0.75, f64::sqrt(10.0)), (1.0, 5.0)] {
            assert_relative_eq!(uniform.at(u), wanted, max_relative = 1e-12);
            assert_relative_eq!(several(uniform, u), wanted, max_relative = 1e-6);
        }
        assert!(Spread::log_uniform(3.0, 3.0, 3.0).is_fixed() && !normal.is_fixed());
    }
}
