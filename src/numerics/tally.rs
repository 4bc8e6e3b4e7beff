//! Quantiles of a stream of positive numbers in little memory: a histogram in equal steps of the logarithm.

/// Width of a bin on the ln axis; within a bin the numbers are taken as spread evenly.
const STEP: f64 = 2e-3;
/// ln of the least and the greatest number told apart from 0 and infinity: 1e-6 to 1e7.
const LOW: f64 = -13.815_510_557_964_274;
const BINS: usize = 14_967;

/// Counts by size. Sums of counts do not depend on the order in which they are added up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tally {
    /// Numbers below the least bin, 0 among them.
    below: u64,
    bins: Vec<u64>,
    total: u64,
}

impl Default for Tally {
    fn default() -> Self {
        Self { below: 0, bins: vec![0; BINS], total: 0 }
    }
}

impl Tally {
    /// Counts a number.
    pub fn add(&mut self, value: f64) {
        self.total += 1;
        let bin = (value.ln() - LOW) / STEP;
        if bin >= 0.0 {
            self.bins[(bin as usize).min(BINS - 1)] += 1;
        } else {
            self.below += 1;
        }
    }

    /// Adds the counts of another.
    pub fn merge(&mut self, other: &Self) {
        self.below += other.below;
        self.total += other.total;
        self.bins.iter_mut().zip(&other.bins).for_each(|(a, b)| *a += b);
    }

    /// Number below which the share `p` (0..1) lies; 0 where that is below the least bin or nothing was counted.
    pub fn quantile(&self, p: f64) -> f64 {
        let wanted = p * self.total as f64 - self.below as f64;
        if wanted <= 0.0 {
            return 0.0;
        }
        let mut before = 0.0;
        let filled = self.bins.iter().enumerate().filter(|(_, count)| **count > 0);
        for (i, count) in filled {
            let after = before + *count as f64;
            if after >= wanted {
                return (LOW + STEP * (i as f64 + (wanted - before) / *count as f64)).exp();
            }
            before = after;
        }
        0.0
    }

    /// Share of the numbers per unit of ln, at the middles of `steps` equal steps of ln from `low` to `high`.
    pub fn density(&self, low: f64, high: f64, steps: usize) -> Vec<(f64, f64)> {
        let width = (high / low).ln() / steps as f64;
        let edge = |i: usize| low.ln() + width * i as f64;
        let share = |i: usize| (self.share_below(edge(i + 1)) - self.share_below(edge(i))) / width;
        (0..steps).map(|i| ((edge(i) + 0.5 * width).exp(), share(i))).collect()
    }

    /// Share of the numbers below e^`ln`.
    fn share_below(&self, ln: f64) -> f64 {
        let place = ((ln - LOW) / STEP).clamp(0.0, BINS as f64);
        let whole = place as usize;
        let part = self.bins.get(whole).map_or(0.0, |count| place.fract() * *count as f64);
        (self.below as f64 + self.bins[..whole].iter().sum::<u64>() as f64 + part) / self.total.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::normal;
    use approx::assert_relative_eq;

    #[test]
    fn quantiles_and_density_of_a_log_normal() {
        let (mut even, mut odd) = (Tally::default(), Tally::default());
        let count = 100_000;
        for i in 0..count {
            let z = normal::quantile((f64::from(i) + 0.5) / f64::from(count));
            let tally = if i % 2 == 0 { &mut even } else { &mut odd };
            tally.add((4.0 + 0.6 * z).exp());
        }
        even.merge(&odd);
        // Far out a bin holds a single number, and the quantile is no better than the bin is wide.
        for (p, within) in [(0.001, STEP), (0.05, 3e-4), (0.5, 3e-4), (0.95, 3e-4), (0.999, STEP)] {
            assert_relative_eq!(even.quantile(p), (4.0 + 0.6 * normal::quantile(p)).exp(), max_relative = within);
        }
        let density = even.density(f64::exp(3.4), f64::exp(4.6), 3);
        assert_relative_eq!(
            density[1].1,
            (normal::cdf(1.0 / 3.0) - normal::cdf(-1.0 / 3.0)) / 0.4,
            max_relative = 1e-3
        );
    }

    #[test]
    fn zeros_and_giants_are_counted_too() {
        let mut tally = Tally::default();
        [0.0, 0.0, 5.0, 1e30].into_iter().for_each(|v| tally.add(v));
        assert_eq!(tally.quantile(0.5), 0.0);
        assert_relative_eq!(tally.quantile(0.74), 5.0, max_relative = 2e-3);
        assert!(tally.quantile(1.0) > 9e6);
        assert_eq!(Tally::default().quantile(0.5), 0.0);
    }
}
