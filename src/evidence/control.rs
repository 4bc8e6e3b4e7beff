//! Individuals and moving range charts: is what comes in still the same? Limits are Shewhart's, from the mean of the moving
//! ranges of two (NIST/SEMATECH e-Handbook 6.3.2.2); signals are the Western Electric rules (Statistical Quality Control
//! Handbook, 1956; NIST/SEMATECH e-Handbook 6.3.2).

use serde::Serialize;

/// Mean range of two values over their standard deviation.
pub const D2: f64 = 1.128;
/// Upper limit of the range of two over the mean range.
pub const D4: f64 = 3.267;
/// Half the width between the limits over the mean moving range: 3 / d2, 2.66 in most tables.
pub const E2: f64 = 3.0 / D2;

/// Which rule a point breaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Beyond a control limit, three sigma from the centre.
    BeyondLimit,
    /// Two of three in a row beyond two sigma on the same side.
    TwoOfThree,
    /// Four of five in a row beyond one sigma on the same side.
    FourOfFive,
    /// Eight in a row on the same side of the centre.
    EightInARow,
    /// A moving range above its limit.
    Range,
}

impl Rule {
    /// In words.
    pub fn label(self) -> &'static str {
        match self {
            Self::BeyondLimit => "beyond a limit",
            Self::TwoOfThree => "2 of 3 beyond 2 sigma",
            Self::FourOfFive => "4 of 5 beyond 1 sigma",
            Self::EightInARow => "8 in a row on one side",
            Self::Range => "jump beyond the range's limit",
        }
    }
}

/// A point that breaks a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// Position of the point, from 0; of a range, that of its later value.
    pub at: usize,
    /// The rule.
    pub rule: Rule,
}

/// Values in order with their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlChart {
    /// The values.
    pub values: Vec<f64>,
    /// |x_i − x_(i−1)|, one fewer than there are values.
    pub ranges: Vec<f64>,
    /// Mean of the values.
    pub centre: f64,
    /// Standard deviation by the mean moving range.
    pub sigma: f64,
    /// Mean of the ranges.
    pub range_centre: f64,
}

impl ControlChart {
    /// Charts values in order; `None` for fewer than two.
    pub fn new(values: &[f64]) -> Option<Self> {
        if values.len() < 2 {
            return None;
        }
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let ranges: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        let range_centre = mean(&ranges);
        let sigma = range_centre / D2;
        Some(Self { values: values.to_vec(), centre: mean(values), ranges, sigma, range_centre })
    }

    /// Upper control limit.
    pub fn upper(&self) -> f64 {
        self.centre + E2 * self.range_centre
    }

    /// Lower control limit.
    pub fn lower(&self) -> f64 {
        self.centre - E2 * self.range_centre
    }

    /// Upper limit of the moving range; the lower one is 0.
    pub fn range_upper(&self) -> f64 {
        D4 * self.range_centre
    }

    /// Every point that breaks a rule, in order.
    pub fn signals(&self) -> Vec<Signal> {
        let mut found = Vec::new();
        for at in 0..self.values.len() {
            let mut add = |rule, broken: bool| found.extend(broken.then_some(Signal { at, rule }));
            add(Rule::BeyondLimit, self.is_run(at, 1, 1, 3.0));
            add(Rule::TwoOfThree, self.is_run(at, 2, 3, 2.0));
            add(Rule::FourOfFive, self.is_run(at, 4, 5, 1.0));
            add(Rule::EightInARow, self.is_run(at, 8, 8, 0.0));
            add(Rule::Range, at > 0 && self.ranges[at - 1] > self.range_upper());
        }
        found
    }

    /// Whether the point and those before it hold `count` of `window` beyond so many sigma on the side of the point, the
    /// point itself among them.
    fn is_run(&self, at: usize, count: usize, window: usize, sigmas: f64) -> bool {
        let side = (self.values[at] - self.centre).signum();
        let beyond = |v: &f64| side * (v - self.centre) > sigmas * self.sigma;
        let recent = &self.values[(at + 1).saturating_sub(window)..=at];
        beyond(&self.values[at]) && recent.iter().filter(|v| beyond(v)).count() >= count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_handbook_example() {
        // NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches: mean 50.81, mean moving range 1.8778, limits 55.8041
        // and 45.8159; nothing is out of control.
        let chart = ControlChart::new(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).unwrap();
        assert_relative_eq!(chart.centre, 50.81, epsilon = 1e-9);
        assert_relative_eq!(chart.range_centre, 1.8778, epsilon = 5e-5);
        assert_relative_eq!(chart.upper(), 55.8041, epsilon = 5e-5);
        assert_relative_eq!(chart.lower(), 45.8159, epsilon = 5e-5);
        assert_eq!(chart.signals(), []);
    }

    #[test]
    fn constants_follow_from_the_normal_distribution() {
        // For two normal values the range has mean 2/√π σ and standard deviation √(2 − 4/π) σ (derived); tables round to
        // d2 1.128, E2 2.66 and D4 3.267.
        let pi = std::f64::consts::PI;
        let (d2, d3) = (2.0 / pi.sqrt(), (2.0 - 4.0 / pi).sqrt());
        assert_relative_eq!(D2, d2, epsilon = 5e-4);
        assert_relative_eq!(E2, 2.66, epsilon = 5e-4);
        assert_relative_eq!(D4, 1.0 + 3.0 * d3 / d2, epsilon = 1e-3);
    }

    /// A chart of centre 0 and sigma 1 whatever its values are.
    fn standard(values: &[f64]) -> Vec<(usize, Rule)> {
        let ranges = values.windows(2).map(|_| 0.0).collect();
        let chart = ControlChart { values: values.to_vec(), ranges, centre: 0.0, sigma: 1.0, range_centre: D2 };
        chart.signals().into_iter().map(|s| (s.at, s.rule)).collect()
    }

    #[test]
    fn each_rule_by_itself() {
        assert_eq!(standard(&[0.1, -0.2, 3.1, 0.0]), [(2, Rule::BeyondLimit)]);
        assert_eq!(standard(&[0.1, -3.1, 0.0]), [(1, Rule::BeyondLimit)]);
        assert_eq!(standard(&[2.1, 0.0, 2.1, -0.1]), [(2, Rule::TwoOfThree)]);
        assert_eq!(standard(&[2.1, 0.0, -2.1]), []);
        assert_eq!(standard(&[2.1, 0.0, 0.0, 2.1]), []);
        assert_eq!(standard(&[1.1, 1.2, -0.5, 1.1, 1.3]), [(4, Rule::FourOfFive)]);
        assert_eq!(standard(&[-1.1, -1.2, -1.4, -1.1]), [(3, Rule::FourOfFive)]);
        assert_eq!(standard(&[0.5; 7]), []);
        assert_eq!(standard(&[0.5; 8]), [(7, Rule::EightInARow)]);
        assert_eq!(standard(&[-0.5; 9]), [(7, Rule::EightInARow), (8, Rule::EightInARow)]);
        let jump = ControlChart::new(&[10.0, 10.2, 10.1, 10.0, 10.2, 10.1, 10.3, 12.0]).unwrap();
        assert!(jump.signals().contains(&Signal { at: 7, rule: Rule::Range }));
    }

    #[test]
    fn equal_values_signal_nothing() {
        assert_eq!(ControlChart::new(&[5.0; 20]).unwrap().signals(), []);
        assert_eq!(ControlChart::new(&[5.0]), None);
    }
}
