//! The binomial law, by the incomplete beta function of `statrs`.

use statrs::function::beta::beta_reg;

/// Probability of at least `x` successes in `n` trials of probability `p` (0..1).
pub fn at_least(x: u32, n: u32, p: f64) -> f64 {
    match () {
        () if x == 0 => 1.0,
        () if x > n || p <= 0.0 => 0.0,
        () if p >= 1.0 => 1.0,
        () => beta_reg(f64::from(x), f64::from(n - x) + 1.0, p),
    }
}

/// The least number of successes in `n` trials that is reached with a probability of at most `alpha`; `n + 1` where none is that rare.
pub fn least_rare(n: u32, p: f64, alpha: f64) -> u32 {
    let (mut common, mut rare) = (0, n + 1);
    // At least 0 is certain, at least n + 1 impossible.
    while rare - common > 1 {
        let middle = common + (rare - common) / 2;
        if at_least(middle, n, p) <= alpha { rare = middle } else { common = middle }
    }
    rare
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn tails_are_those_of_scipy() {
        // scipy.stats.binom.sf(x - 1, n, p), SciPy 1.17.1.
        assert_relative_eq!(at_least(18, 25, 0.5), 0.021_642_625_331_878_662, max_relative = 1e-12);
        assert_relative_eq!(at_least(14, 30, 1.0 / 3.0), 0.089_770_915_417_456_13, max_relative = 1e-12);
        assert_eq!((at_least(0, 5, 0.5), at_least(6, 5, 0.5), at_least(5, 5, 1.0)), (1.0, 0.0, 1.0));
        assert_relative_eq!(at_least(5, 5, 0.5), 1.0 / 32.0, max_relative = 1e-12);
        // Five heads in a row are not rare enough for 3 %, six are.
        assert_eq!((least_rare(5, 0.5, 0.03), least_rare(6, 0.5, 0.03)), (6, 6));
    }
}
