//! Rank correlation and concordance, with their p-values.
//!
//! Midranks for ties. Spearman's rho, Kendall's tau-b and Kendall's W as in M. G. Kendall, *Rank Correlation Methods*, 4th ed.
//! 1970; exact null distributions where they can be had, SciPy's approximations elsewhere.

use super::normal;
use super::student::{chi_squared_above, two_sided};
use serde::Serialize;

/// A rank correlation with its two-sided p-value against no association.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankTest {
    /// The coefficient, −1..1.
    pub value: f64,
    /// Two-sided p-value.
    pub p: f64,
    /// Whether the p-value counts all orders; otherwise it is an approximation.
    pub exact: bool,
}

/// Kendall's coefficient of concordance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Concordance {
    /// W, 0 (no agreement) to 1.
    pub w: f64,
    /// p-value against no agreement, by χ² (Friedman's test).
    pub p: f64,
}

/// Most values for which all orders are gone through, by Spearman's rho; and by Kendall's tau where values are tied.
const MOST_ORDERS: usize = 9;
const MOST_TIED_ORDERS: usize = 8;
/// Most values for which Kendall's null distribution is counted, unless next to nothing is out of order; as SciPy has it.
const MOST_COUNTED: usize = 33;

/// Ranks from 1; equal values share the mean of theirs.
pub fn ranks(values: &[f64]) -> Vec<f64> {
    let below = |v: f64| values.iter().filter(|w| **w < v).count() as f64;
    let equal = |v: f64| values.iter().filter(|w| **w == v).count() as f64;
    values.iter().map(|&v| below(v) + 0.5 * (equal(v) + 1.0)).collect()
}

/// Sizes of the groups of equal values.
fn ties(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(|run| run.len() as f64).collect()
}

/// Pearson's correlation; `None` when one of the two does not vary.
pub fn correlation(x: &[f64], y: &[f64]) -> Option<f64> {
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let sum = |f: &dyn Fn(f64, f64) -> f64| x.iter().zip(y).map(|(a, b)| f(a - mx, b - my)).sum::<f64>();
    let r = sum(&|a, b| a * b) / (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt();
    r.is_finite().then(|| r.clamp(-1.0, 1.0))
}

/// Spearman's rho. The p-value counts all orders of up to nine values, tied or not; otherwise it is Student's t with n − 2
/// degrees of freedom. `None` with fewer than three pairs or when one side does not vary.
pub fn spearman(x: &[f64], y: &[f64]) -> Option<RankTest> {
    if x.len() < 3 {
        return None;
    }
    let (rx, ry) = (ranks(x), ranks(y));
    let value = correlation(&rx, &ry)?;
    let exact = x.len() <= MOST_ORDERS;
    let df = x.len() as f64 - 2.0;
    let p = if exact { spearman_exact(&rx, &ry) } else { two_sided(value * (df / (1.0 - value * value)).sqrt(), df) };
    Some(RankTest { value, p, exact })
}

/// Share of all orders whose Σ rank products lies at least as far from its mean.
fn spearman_exact(rx: &[f64], ry: &[f64]) -> f64 {
    let n = rx.len();
    let middle = n as f64 * ((n as f64 + 1.0) / 2.0).powi(2);
    share_as_far(ry, |order| rx.iter().zip(order).map(|(a, b)| a * b).sum::<f64>() - middle)
}

/// Share of all orders of the values that lie at least as far from the middle as this one; tied values count as many times as they can
/// change places, so that every order is as likely as any other.
fn share_as_far(values: &[f64], from_middle: impl Fn(&[f64]) -> f64) -> f64 {
    let n = values.len();
    let off = |order: &[f64]| from_middle(order).abs();
    let seen = off(values) - 1e-9;
    let (mut order, mut turns) = (values.to_vec(), vec![0; n]);
    let (mut as_far, mut all, mut i) = (1_u32, 1_u32, 0);
    // Heap's algorithm: every order, each one swap from the last.
    while i < n {
        if turns[i] < i {
            order.swap(if i % 2 == 0 { 0 } else { turns[i] }, i);
            as_far += u32::from(off(&order) >= seen);
            all += 1;
            turns[i] += 1;
            i = 0;
        } else {
            turns[i] = 0;
            i += 1;
        }
    }
    f64::from(as_far) / f64::from(all)
}

/// Kendall's tau-b. The p-value is exact without ties (up to 33 values, or when at most one pair is out of order) and of up to eight
/// values with ties, of which all orders are counted; otherwise normal with the variance corrected for ties. `None` with fewer than three pairs or when one side does not vary.
pub fn kendall(x: &[f64], y: &[f64]) -> Option<RankTest> {
    let n = x.len();
    if n < 3 {
        return None;
    }
    let (with, against) = pairs_by_order(x, y);
    let count = n as f64;
    let pairs = count * (count - 1.0) / 2.0;
    let (tx, ty) = (ties(x), ties(y));
    let sum = |ties: &[f64], f: &dyn Fn(f64) -> f64| ties.iter().map(|t| f(*t)).sum::<f64>();
    let [ux, uy] = [&tx, &ty].map(|t| sum(t, &|t| t * (t - 1.0) / 2.0));
    let value = (with - against) / ((pairs - ux) * (pairs - uy)).sqrt();
    if !value.is_finite() {
        return None;
    }
    let swaps = f64::min(with, against);
    let tied = ux > 0.0 || uy > 0.0;
    let exact = if tied { n <= MOST_TIED_ORDERS } else { n <= MOST_COUNTED || swaps <= 1.0 };
    let p = if exact && tied {
        share_as_far(y, |order| {
            let (with, against) = pairs_by_order(x, order);
            with - against
        })
    } else if exact {
        kendall_exact(n, swaps as usize)
    } else {
        let [vx, vy] = [&tx, &ty].map(|t| sum(t, &|t| t * (t - 1.0) * (2.0 * t + 5.0)));
        let [wx, wy] = [&tx, &ty].map(|t| sum(t, &|t| t * (t - 1.0) * (t - 2.0)));
        let m = 2.0 * pairs;
        let variance =
            (m * (2.0 * count + 5.0) - vx - vy) / 18.0 + 2.0 * ux * uy / m + wx * wy / (9.0 * m * (count - 2.0));
        2.0 * normal::cdf(-((with - against) / variance.sqrt()).abs())
    };
    Some(RankTest { value: value.clamp(-1.0, 1.0), p: p.min(1.0), exact })
}

/// How many pairs stand the same way round on both sides, and how many the other way.
fn pairs_by_order(x: &[f64], y: &[f64]) -> (f64, f64) {
    let (mut with, mut against) = (0.0, 0.0);
    for i in 0..x.len() {
        for j in 0..i {
            let turn = (x[i] - x[j]) * (y[i] - y[j]);
            with += f64::from(u8::from(turn > 0.0));
            against += f64::from(u8::from(turn < 0.0));
        }
    }
    (with, against)
}

/// Twice the share of orders of `n` values with at most `swaps` pairs out of order.
fn kendall_exact(n: usize, swaps: usize) -> f64 {
    // Share of the orders of k values with so many pairs out of order: the k-th value adds 0 to k − 1 of them.
    let mut share = vec![1.0];
    for k in 2..=n {
        let most = share.len() + k - 1;
        let of = |s: usize| share[s.saturating_sub(k - 1).min(share.len())..share.len().min(s + 1)].iter().sum::<f64>();
        share = (0..most.min(swaps + 1)).map(|s| of(s) / k as f64).collect();
    }
    2.0 * share.iter().sum::<f64>()
}

/// Kendall's W of judges (rows) who each ranked the same things (columns), corrected for ties. `None` with fewer than two
/// judges or three things, or when no judge tells anything apart.
pub fn concordance(judged: &[Vec<f64>]) -> Option<Concordance> {
    let (m, n) = (judged.len() as f64, judged.first()?.len());
    if judged.len() < 2 || n < 3 || judged.iter().any(|row| row.len() != n) {
        return None;
    }
    let ranked: Vec<Vec<f64>> = judged.iter().map(|row| ranks(row)).collect();
    let sums = (0..n).map(|i| ranked.iter().map(|row| row[i]).sum::<f64>());
    let count = n as f64;
    let spread: f64 = sums.map(|s| (s - m * (count + 1.0) / 2.0).powi(2)).sum();
    let cube = |t: f64| t * t * t - t;
    let tie: f64 = judged.iter().flat_map(|row| ties(row)).map(cube).sum();
    let w = 12.0 * spread / (m * m * cube(count) - m * tie);
    let df = count - 1.0;
    w.is_finite().then(|| Concordance { w, p: chi_squared_above(m * df * w, df) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Hollander and Wolfe, *Nonparametric Statistical Methods* (1973), table 1 of chapter 8: Hunter L lightness of canned
    /// tuna and a panel's score. Kendall's K = 26 − 10, tau 0.4444, exact p 0.1194; Spearman's rho 0.6, exact p 0.0968 (the
    /// figures that R prints for this example in `cor.test`).
    #[test]
    fn hollander_and_wolfe_tuna() {
        let lightness = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1];
        let score = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8];
        let (tau, rho) = (kendall(&lightness, &score).unwrap(), spearman(&lightness, &score).unwrap());
        assert!(tau.exact && rho.exact);
        assert_relative_eq!(tau.value, 4.0 / 9.0, max_relative = 1e-12);
        assert_relative_eq!(tau.p, 0.1194, epsilon = 5e-5);
        assert_relative_eq!(rho.value, 0.6, max_relative = 1e-12);
        assert_relative_eq!(rho.p, 0.0968, epsilon = 5e-5);
    }

    #[test]
    fn orders_with_ties_are_counted() {
        // By hand: of 1 1 2 3 3 in any of 120 orders, the rising and the falling ones are as far out as can be, each with 2 × 2 ways to
        // have the equal ones change places: 8 of 120. With one pair of equals 4 of 120, of four values 4 of 24.
        for (y, p) in [
            (&[1.0, 1.0, 2.0, 3.0, 3.0][..], 8.0 / 120.0),
            (&[1.0, 2.0, 3.0, 4.0, 4.0], 4.0 / 120.0),
            (&[1.0, 1.0, 2.0, 3.0], 4.0 / 24.0),
        ] {
            let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
            for (test, name) in [(spearman(&x, y), "rho"), (kendall(&x, y), "tau")] {
                let test = test.unwrap();
                assert!(test.exact, "{name} {y:?}");
                assert_relative_eq!(test.p, p, max_relative = 1e-12);
            }
        }
        // Ties on both sides, by an enumeration of itertools.permutations in Python: 76 and 116 of 720.
        let (x, y) = ([1.0, 1.0, 2.0, 3.0, 4.0, 5.0], [2.0, 1.0, 1.0, 3.0, 5.0, 3.0]);
        assert_relative_eq!(spearman(&x, &y).unwrap().p, 76.0 / 720.0, max_relative = 1e-12);
        assert_relative_eq!(kendall(&x, &y).unwrap().p, 116.0 / 720.0, max_relative = 1e-12);
        // More values than are counted.
        let many: Vec<f64> = (0..10).map(|i| f64::from(i / 2)).collect();
        let rising: Vec<f64> = (0..10).map(f64::from).collect();
        assert!(!spearman(&rising, &many).unwrap().exact && !kendall(&rising, &many).unwrap().exact);
    }

    #[test]
    fn nothing_is_said_of_what_does_not_vary() {
        assert_eq!(spearman(&[1.0, 2.0, 3.0], &[1.0, 1.0, 1.0]), None);
        assert_eq!(kendall(&[2.0, 2.0, 2.0], &[1.0, 2.0, 3.0]), None);
        assert_eq!(concordance(&[vec![1.0, 1.0, 1.0], vec![2.0, 2.0, 2.0]]), None);
        let perfect = kendall(&[1.0, 2.0, 3.0, 4.0, 5.0], &[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap();
        assert_relative_eq!(perfect.p, 2.0 / 120.0, max_relative = 1e-12);
    }
}
