//! Quantiles of a stream of positive numbers in little memory: a histogram in equal steps of the logarithm.

use super::normal;

/// Width of a bin on the ln axis; within a bin the numbers are taken as spread evenly.
const STEP: f64 = 2e-3;
/// ln of the least and the greatest number told apart from 0 and infinity: 1e-6 to 1e7.
const LOW: f64 = -13.815_510_557_964_274;
const BINS: usize = 14_967;
/// The widest kernel of a density, where a quartile is 0.
const WIDEST: f64 = 0.5;

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

    /// Share of the numbers per unit of ln, at `count` places at equal steps of ln from `low` to `high`: a Gaussian kernel over the
    /// bins, as wide as B. W. Silverman (*Density Estimation for Statistics and Data Analysis*, 1986, equation 3.31) has it, with the
    /// standard deviation by the quartiles.
    pub fn density(&self, low: f64, high: f64, count: usize) -> Vec<(f64, f64)> {
        let spread = (self.quantile(0.75) / self.quantile(0.25)).ln() / 1.34;
        let width = 0.9 * spread * (self.total as f64).powf(-0.2);
        let width = if width.is_nan() { STEP } else { width.clamp(STEP, WIDEST) };
        let step = (high / low).ln() / count.saturating_sub(1).max(1) as f64;
        let places = (0..count).map(|i| low.ln() + step * i as f64);
        places.map(|ln| (ln.exp(), self.kernel(ln, width) / (width * self.total.max(1) as f64))).collect()
    }

    /// Numbers near e^`ln`, weighted by the normal density of their distance in widths.
    fn kernel(&self, ln: f64, width: f64) -> f64 {
        const REACH: f64 = 5.0;
        let bin = |ln: f64| ((ln - LOW) / STEP).clamp(0.0, BINS as f64) as usize;
        let (first, end) = (bin(ln - REACH * width), bin(ln + REACH * width));
        let bins = self.bins[first..end].iter().zip(first..);
        bins.map(|(count, i)| *count as f64 * normal::pdf((LOW + STEP * (i as f64 + 0.5) - ln) / width)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
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
        // A kernel flattens the top by half its width squared over the variance, 0.4 % here.
        let density = even.density(f64::exp(3.4), f64::exp(4.6), 3);
        for (place, share) in density {
            assert_relative_eq!(share, normal::pdf((place.ln() - 4.0) / 0.6) / 0.6, max_relative = 5e-3);
        }
        let all: f64 = even.density(1.0, 3000.0, 400).iter().map(|d| d.1).sum::<f64>() * 3000.0_f64.ln() / 399.0;
        assert_relative_eq!(all, 1.0, max_relative = 1e-3);
    }

    #[test]
    fn zeros_and_giants_are_counted_too() {
        let mut tally = Tally::default();
        [0.0, 0.0, 5.0, 1e30].into_iter().for_each(|v| tally.add(v));
        assert_eq!(tally.quantile(0.5), 0.0);
        assert_relative_eq!(tally.quantile(0.74), 5.0, max_relative = 2e-3);
        assert!(tally.quantile(1.0) > 9e6);
        assert_eq!(Tally::default().quantile(0.5), 0.0);
        assert!(Tally::default().density(1.0, 2.0, 3).iter().all(|d| d.1 == 0.0));
    }
}
