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
pub enum ControlRule {
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

impl ControlRule {
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
    pub rule: ControlRule,
}

/// Values in order with their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlChart {
    /// The values.
    pub values: Vec<f64>,
    /// Whether a value counts for centre and limits; the others are only held against them.
    pub counted: Vec<bool>,
    /// Step to each value from the last one before it that counts.
    pub ranges: Vec<Option<f64>>,
    /// Mean of the values that count.
    pub centre: f64,
    /// Standard deviation by the mean moving range.
    pub sigma: f64,
    /// Mean of the ranges between values that count.
    pub range_centre: f64,
}

impl ControlChart {
    /// Charts values in order, each with whether it counts for the limits: what was refused says nothing of how the others run.
    /// `None` for fewer than two that count.
    pub fn new(points: &[(f64, bool)]) -> Option<Self> {
        let (values, counted): (Vec<f64>, Vec<bool>) = points.iter().copied().unzip();
        let mut last = None;
        let mut ranges = Vec::with_capacity(values.len());
        for (value, counts) in points {
            ranges.push(last.map(|l: f64| (value - l).abs()));
            last = if *counts { Some(*value) } else { last };
        }
        let mean = |v: Vec<f64>| v.iter().sum::<f64>() / v.len() as f64;
        let of_counted = ranges.iter().zip(&counted).filter(|(_, counts)| **counts).filter_map(|(r, _)| *r);
        let range_centre = mean(of_counted.collect());
        let centre = mean(points.iter().filter(|p| p.1).map(|p| p.0).collect());
        let chart = Self { values, counted, ranges, centre, sigma: range_centre / D2, range_centre };
        // Without a step between two values the mean range is no number.
        range_centre.is_finite().then_some(chart)
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
        let mut before: Vec<f64> = Vec::new();
        for (at, value) in self.values.iter().enumerate() {
            before.push(*value);
            let mut add = |rule, broken: bool| found.extend(broken.then_some(Signal { at, rule }));
            add(ControlRule::BeyondLimit, self.is_run(&before, 1, 1, 3.0));
            add(ControlRule::TwoOfThree, self.is_run(&before, 2, 3, 2.0));
            add(ControlRule::FourOfFive, self.is_run(&before, 4, 5, 1.0));
            add(ControlRule::EightInARow, self.is_run(&before, 8, 8, 0.0));
            add(ControlRule::Range, self.ranges[at].is_some_and(|r| r > self.range_upper()));
            if !self.counted[at] {
                before.pop();
            }
        }
        found
    }

    /// Whether the last of the values and those before it hold `count` of `window` beyond so many sigma on its side, itself
    /// among them.
    fn is_run(&self, values: &[f64], count: usize, window: usize, sigmas: f64) -> bool {
        let Some(last) = values.last() else { return false };
        let side = (last - self.centre).signum();
        let beyond = |v: &f64| side * (v - self.centre) > sigmas * self.sigma;
        let recent = &values[values.len().saturating_sub(window)..];
        beyond(last) && recent.iter().filter(|v| beyond(v)).count() >= count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn all(values: &[f64]) -> Option<ControlChart> {
        ControlChart::new(&values.iter().map(|v| (*v, true)).collect::<Vec<_>>())
    }

    #[test]
    fn what_is_refused_leaves_the_limits_alone() {
        let good = [50.0, 51.0, 50.5, 49.5, 50.0, 50.8, 49.9, 50.2, 50.6];
        let mut points: Vec<(f64, bool)> = good.iter().map(|v| (*v, true)).collect();
        points.insert(4, (75.0, false));
        let (with, without) = (ControlChart::new(&points).unwrap(), all(&good).unwrap());
        assert_eq!((with.centre, with.range_centre), (without.centre, without.range_centre));
        // It alone is news, and the lot after it steps from the last good one.
        assert!(with.signals().iter().all(|s| s.at == 4) && with.signals().len() == 2);
        assert_eq!((with.ranges[4], with.ranges[5]), (Some(25.5), Some(0.5)));
        assert_eq!(ControlChart::new(&[(1.0, true), (2.0, false), (3.0, false)]), None);
    }

    #[test]
    fn the_handbook_example() {
        // NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches: mean 50.81, mean moving range 1.8778, limits 55.8041
        // and 45.8159; nothing is out of control.
        let chart = all(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).unwrap();
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

    /// Of values off a centre of 10, on a chart with a sigma of 1 whatever they are.
    fn standard(values: &[f64]) -> Vec<(usize, ControlRule)> {
        let (ranges, counted) = (vec![None; values.len()], vec![true; values.len()]);
        let values = values.iter().map(|off| 10.0 + off).collect();
        let chart = ControlChart { values, counted, ranges, centre: 10.0, sigma: 1.0, range_centre: D2 };
        chart.signals().into_iter().map(|s| (s.at, s.rule)).collect()
    }

    #[test]
    fn each_rule_by_itself() {
        assert_eq!(standard(&[0.1, -0.2, 3.1, 0.0]), [(2, ControlRule::BeyondLimit)]);
        assert_eq!(standard(&[0.1, -3.1, 0.0]), [(1, ControlRule::BeyondLimit)]);
        assert_eq!(standard(&[2.1, 0.0, 2.1, -0.1]), [(2, ControlRule::TwoOfThree)]);
        assert_eq!(standard(&[2.1, 0.0, -2.1]), []);
        assert_eq!(standard(&[2.1, 0.0, 0.0, 2.1]), []);
        assert_eq!(standard(&[1.1, 1.2, -0.5, 1.1, 1.3]), [(4, ControlRule::FourOfFive)]);
        assert_eq!(standard(&[-1.1, -1.2, -1.4, -1.1]), [(3, ControlRule::FourOfFive)]);
        assert_eq!(standard(&[0.5; 7]), []);
        assert_eq!(standard(&[0.5; 8]), [(7, ControlRule::EightInARow)]);
        assert_eq!(standard(&[-0.5; 9]), [(7, ControlRule::EightInARow), (8, ControlRule::EightInARow)]);
        let jump = all(&[10.0, 10.2, 10.1, 10.0, 10.2, 10.1, 10.3, 12.0]).unwrap();
        assert!(jump.signals().contains(&Signal { at: 7, rule: ControlRule::Range }));
    }

    #[test]
    fn equal_values_signal_nothing() {
        assert_eq!(all(&[5.0; 20]).unwrap().signals(), []);
        assert_eq!(all(&[5.0]), None);
    }
}
