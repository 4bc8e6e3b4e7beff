//! Two scrubs told apart: the paired comparison (ISO 5495) and the triangle test (ISO 4120), by the binomial law.
//!
//! Paired: which of two is milder? Who cannot tell is right half the time. Triangle: which of three differs? Who cannot tell is right
//! one time in three. A share of distinguishers pd answers rightly for sure, the others by chance: p = p0 + (1 − p0) pd.

use crate::numerics::binomial::{at_least, least_rare};
use crate::numerics::roots::brent;
use crate::source::words;

words! {
    /// How two scrubs are told apart.
    pub enum ForcedChoice {
        /// Which of two is milder.
        Paired = "paired",
        /// Which of three differs.
        Triangle = "triangle",
    }
}

/// More assessors than these are asked for by nobody.
pub const MOST_ASSESSORS: u32 = 10_000;

impl ForcedChoice {
    /// Share of right answers by chance.
    pub fn by_chance(self) -> f64 {
        match self {
            Self::Paired => 0.5,
            Self::Triangle => 1.0 / 3.0,
        }
    }

    /// The standard.
    pub fn standard(self) -> &'static str {
        match self {
            Self::Paired => "ISO 5495:2005",
            Self::Triangle => "ISO 4120:2021",
        }
    }

    /// Least number of right answers of `n` that chance gives with a probability of at most `alpha`; above `n` where none is that rare.
    pub fn least_right(self, n: u32, alpha: f64) -> u32 {
        least_rare(n, self.by_chance(), alpha)
    }

    /// The least number of assessors of whom all being right is rare enough by chance.
    pub fn least_assessors(self, alpha: f64) -> Option<u32> {
        (1..=MOST_ASSESSORS).find(|n| self.least_right(*n, alpha) <= *n)
    }

    /// Probability that `n` assessors, of whom a share `distinguish` (0..1) can tell, give so many right answers.
    pub fn power(self, n: u32, alpha: f64, distinguish: f64) -> f64 {
        let p0 = self.by_chance();
        at_least(self.least_right(n, alpha), n, p0 + (1.0 - p0) * distinguish)
    }

    /// The least number of assessors with this power; `None` beyond [`MOST_ASSESSORS`]. The power of a few larger numbers falls short
    /// of it again by a little: whole answers go in steps.
    pub fn assessors(self, alpha: f64, distinguish: f64, power: f64) -> Option<u32> {
        (2..=MOST_ASSESSORS).find(|n| self.power(*n, alpha, distinguish) >= power)
    }
}

/// Answers of a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Answers {
    /// The test.
    pub test: ForcedChoice,
    /// Right answers, or those for B.
    pub right: u32,
    /// All.
    pub all: u32,
}

/// What the answers come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Probability of so many right answers or more by chance.
    pub p_one_sided: f64,
    /// The same either way; of a triangle test there is no other way.
    pub p_two_sided: Option<f64>,
    /// Right answers that are needed.
    pub needed: u32,
    /// Share of distinguishers that the answers point at, 0..1.
    pub distinguish: f64,
    /// The same, 95 % of the time within (exact, Clopper and Pearson 1934).
    pub distinguish_95: [f64; 2],
    /// Whether fewer are right than chance would give 97.5 % of the time, so that no share of distinguishers goes with the answers.
    pub below_chance: bool,
}

impl Answers {
    /// Holds the answers against chance at `alpha`.
    pub fn told(&self, alpha: f64) -> Told {
        let p0 = self.test.by_chance();
        let Self { test, right, all } = *self;
        let p_one_sided = at_least(right, all, p0);
        let other = at_least(all - right, all, p0);
        let share = f64::from(right) / f64::from(all);
        let distinguish = |p: f64| ((p - p0) / (1.0 - p0)).max(0.0);
        let bounds = exact_95(right, all);
        Told {
            p_one_sided,
            p_two_sided: (test == ForcedChoice::Paired).then(|| (2.0 * p_one_sided.min(other)).min(1.0)),
            needed: test.least_right(all, alpha),
            distinguish: distinguish(share),
            distinguish_95: bounds.map(distinguish),
            below_chance: bounds[1] < p0,
        }
    }
}

/// Exact interval of a share (C. J. Clopper and E. S. Pearson, *Biometrika* 26 (1934) 404).
fn exact_95(right: u32, all: u32) -> [f64; 2] {
    let root = |f: &dyn Fn(f64) -> f64, none: f64| brent(f, 0.0, 1.0, 1e-12).unwrap_or(none);
    let low = if right == 0 { 0.0 } else { root(&|p| at_least(right, all, p) - 0.025, 0.0) };
    let high = if right == all { 1.0 } else { root(&|p| at_least(right + 1, all, p) - 0.975, 1.0) };
    [low, high]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn least_right_answers_are_those_of_the_standards() {
        // ISO 4120, table A.1 (triangle) and ISO 5495, tables A.1 and A.2 (paired, one-sided and two-sided), as in E. B. Roessler and
        // others, J. Food Sci. 43 (1978) 940: all from memory, and by scipy.stats.binom.
        use ForcedChoice::{Paired, Triangle};
        for (n, five, one, tenth) in
            [(6, 5, 6, 7), (12, 8, 9, 10), (18, 10, 12, 13), (24, 13, 15, 16), (30, 15, 17, 19), (36, 18, 20, 22)]
        {
            let least = [0.05, 0.01, 0.001].map(|alpha| Triangle.least_right(n, alpha));
            assert_eq!(least, [five, one, tenth], "triangle, {n}");
        }
        for (n, one_sided, two_sided) in [(10, 9, 9), (20, 15, 15), (30, 20, 21), (40, 26, 27), (50, 32, 33)] {
            let least = [0.05, 0.025].map(|alpha| Paired.least_right(n, alpha));
            assert_eq!(least, [one_sided, two_sided], "paired, {n}");
        }
    }

    #[test]
    fn numbers_of_assessors_are_those_of_the_standards() {
        // Rows of alpha 0.05 of ISO 4120, table A.3, and ISO 5495, table A.4: from memory, and by scipy.stats.binom.
        use ForcedChoice::{Paired, Triangle};
        for (distinguish, beta, triangle, paired) in [
            (0.5, 0.20, 16, 23),
            (0.5, 0.10, 20, 33),
            (0.5, 0.05, 23, 42),
            (0.4, 0.20, 23, 37),
            (0.4, 0.10, 30, 53),
            (0.3, 0.20, 40, 69),
            (0.3, 0.05, 66, 119),
            (0.2, 0.05, 147, 268),
        ] {
            let found = [Triangle, Paired].map(|t| t.assessors(0.05, distinguish, 1.0 - beta));
            assert_eq!(found, [Some(triangle), Some(paired)], "{distinguish}, {beta}");
        }
        assert_eq!(Triangle.assessors(0.05, 0.001, 0.8), None);
    }

    #[test]
    fn an_exact_interval() {
        // Clopper and Pearson's of 18 in 25, by scipy.stats.binomtest(18, 25).proportion_ci.
        let [low, high] = exact_95(18, 25);
        assert!((low - 0.506_123_2).abs() < 1e-6 && (high - 0.879_283_3).abs() < 1e-6, "{low} {high}");
        assert_eq!((exact_95(0, 5)[0], exact_95(5, 5)[1]), (0.0, 1.0));
    }
}
