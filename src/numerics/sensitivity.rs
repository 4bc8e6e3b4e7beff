//! Which inputs hold the variance of a result: first-order and total indices of I. M. Sobol' (*Math. Model. Comput. Exp.* 1, 1993,
//! 407), for inputs one by one or in groups. First order by A. Saltelli and others, *Comput. Phys. Commun.* 181 (2010) 259, table 2
//! (b); total by M. J. W. Jansen, *Comput. Phys. Commun.* 117 (1999) 35. Both from two independent quasi-random samples A and B and,
//! for each group, A with the group's columns taken from B.

use super::parallel::in_order;
use super::quasi::{LONGEST, Sequence};
use super::written::entries;
use serde::Serializer;

/// Independent scrambles; their spread gives the errors.
pub const SCRAMBLES: usize = 16;

/// A number with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard error, from independent scrambles.
    pub error: f64,
}

impl Estimate {
    /// `value` over all scrambles, with the error that the values of the single ones tell.
    pub fn new(value: f64, of_scrambles: &[f64]) -> Self {
        let n = of_scrambles.len() as f64;
        let mean = of_scrambles.iter().sum::<f64>() / n;
        let variance = of_scrambles.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        Self { value, error: (variance / n).sqrt() }
    }
}

/// Share of the variance that a group of inputs holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// By itself.
    pub first_order: Estimate,
    /// With all its interactions.
    pub total: Estimate,
}

impl Indices {
    /// As keys of JSON, each after `prefix`: `first_order`, `first_order_error`, `total`, `total_error`.
    ///
    /// # Errors
    /// Those of the serializer.
    pub fn keyed<S: Serializer>(&self, prefix: &str, serializer: S) -> Result<S::Ok, S::Error> {
        let both = [("first_order", self.first_order), ("total", self.total)].into_iter();
        let pair = |(name, e): (&str, Estimate)| {
            [(format!("{prefix}{name}"), e.value), (format!("{prefix}{name}_error"), e.error)]
        };
        entries(serializer, both.flat_map(pair))
    }
}

/// Pairs of points that are handed over together.
const PAIRS: usize = 16;

/// Sums over one scramble.
struct Sums {
    variance: f64,
    first: Vec<f64>,
    total: Vec<f64>,
}

/// Indices of `groups` of the `dimensions` coordinates of the unit cube, from `points` points (up to [`LONGEST`]) of each of
/// [`SCRAMBLES`] scrambles. `function` makes a function, one for each scramble, that takes many points, one after another in a slice,
/// and sets its value at each; `done` hears of every so many values and says whether to go on: `None` where it says no.
pub fn indices<F: FnMut(&[f64], &mut [f64])>(
    dimensions: usize,
    groups: &[Vec<usize>],
    points: usize,
    seed: u64,
    function: impl Fn() -> F + Sync + Send,
    done: impl Fn(u64) -> bool + Sync + Send,
) -> Option<Vec<Indices>> {
    let points = points.clamp(2, LONGEST);
    let scrambles = in_order(SCRAMBLES, |scramble| {
        sums(dimensions, groups, points, Sequence::new(seed, scramble), function(), &done)
    });
    let scrambles = scrambles.into_iter().collect::<Option<Vec<_>>>()?;
    let variance: f64 = scrambles.iter().map(|s| s.variance).sum();
    let estimate = |of: &dyn Fn(&Sums) -> f64| {
        let ratio = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        let each: Vec<f64> = scrambles.iter().map(|s| ratio(of(s), s.variance)).collect();
        Estimate::new(ratio(scrambles.iter().map(of).sum(), variance), &each)
    };
    let indices = |i| Indices { first_order: estimate(&|s| s.first[i]), total: estimate(&|s| s.total[i]) };
    Some((0..groups.len()).map(indices).collect())
}

fn sums(
    dimensions: usize,
    groups: &[Vec<usize>],
    points: usize,
    sequence: Sequence,
    mut f: impl FnMut(&[f64], &mut [f64]),
    done: &impl Fn(u64) -> bool,
) -> Option<Sums> {
    // A and B lie one after another in a point of twice the dimensions.
    let mut pairs = vec![0.0; PAIRS * 2 * dimensions];
    let mut ends = vec![0.0; 2 * points];
    for (chunk, values) in ends.chunks_mut(2 * PAIRS).enumerate() {
        let pairs = &mut pairs[..values.len() * dimensions];
        let each = pairs.chunks_exact_mut(2 * dimensions).enumerate();
        each.for_each(|(i, pair)| sequence.point(chunk * PAIRS + i, pair));
        f(pairs, values);
        if !done(values.len() as u64) {
            return None;
        }
    }
    let n = points as f64;
    let mean = ends.iter().sum::<f64>() / (2.0 * n);
    let variance = ends.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (2.0 * n);
    let (mut first, mut total) = (vec![0.0; groups.len()], vec![0.0; groups.len()]);
    let mut swapped = vec![0.0; groups.len() * dimensions];
    let mut values = vec![0.0; groups.len()];
    let pair = &mut pairs[..2 * dimensions];
    for (i, end) in ends.chunks_exact(2).enumerate() {
        sequence.point(i, pair);
        let (a, b) = (end[0], end[1]);
        for (group, swapped) in groups.iter().zip(swapped.chunks_exact_mut(dimensions)) {
            swapped.copy_from_slice(&pair[..dimensions]);
            group.iter().for_each(|&k| swapped[k] = pair[dimensions + k]);
        }
        f(&swapped, &mut values);
        if !done(values.len() as u64) {
            return None;
        }
        for (g, ab) in values.iter().enumerate() {
            // Taking the mean off first leaves the estimator's value and much of its error behind.
            first[g] += (b - mean) * (ab - a) / n;
            total[g] += (a - ab).powi(2) / (2.0 * n);
        }
    }
    Some(Sums { variance, first, total })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn singles(dimensions: usize) -> Vec<Vec<usize>> {
        (0..dimensions).map(|k| vec![k]).collect()
    }

    /// Values of a function of one point at many.
    fn at_each(dimensions: usize, points: &[f64], values: &mut [f64], f: impl Fn(&[f64]) -> f64) {
        values.iter_mut().zip(points.chunks(dimensions)).for_each(|(v, point)| *v = f(point));
    }

    fn close(what: &str, got: Estimate, want: f64) {
        assert!((got.value - want).abs() < 0.01, "{what}: {got:?} is not {want}");
        assert!(got.error < 0.01 && (got.value - want).abs() < 5.0 * got.error + 1e-4, "{what}: {got:?}, {want}");
    }

    #[test]
    fn ishigami() {
        // T. Ishigami and T. Homma, Proc. ISUMA '90 (1990) 398: sin x1 + a sin² x2 + b x3⁴ sin x1 on (-π, π)³, a = 7, b = 0.1.
        // Exact indices from the variances: V = a²/8 + bπ⁴/5 + b²π⁸/18 + 1/2, V1 = (1 + bπ⁴/5)²/2, V2 = a²/8, V13 = 8b²π⁸/225.
        let (a, b) = (7.0_f64, 0.1_f64);
        let v = a * a / 8.0 + b * PI.powi(4) / 5.0 + b * b * PI.powi(8) / 18.0 + 0.5;
        let (v1, v2) = (0.5 * (1.0 + b * PI.powi(4) / 5.0).powi(2), a * a / 8.0);
        let v13 = 8.0 * b * b * PI.powi(8) / 225.0;
        let one = |u: &[f64]| {
            let x = |k: usize| PI * (2.0 * u[k] - 1.0);
            x(0).sin() + 7.0 * x(1).sin().powi(2) + 0.1 * x(2).powi(4) * x(0).sin()
        };
        let f = || |points: &[f64], values: &mut [f64]| at_each(3, points, values, one);
        let mut groups = singles(3);
        groups.push(vec![0, 2]);
        let found = indices(3, &groups, 1024, 1, f, |_| true).unwrap();
        let exact = [(v1, v1 + v13), (v2, v2), (0.0, v13), (v1 + v13, v1 + v13)];
        for (i, ((first, total), got)) in exact.into_iter().zip(&found).enumerate() {
            close(&format!("first {i}"), got.first_order, first / v);
            close(&format!("total {i}"), got.total, total / v);
        }
    }

    #[test]
    fn sobol_g() {
        // The g-function of Sobol' 1993: Π (|4u − 2| + a) / (1 + a), a = 0, 1, 4.5, 9, 99, 99, 99, 99 as in Saltelli and others
        // 2010; V_i = 1 / (3 (1 + a)²), V = Π (1 + V_i) − 1, total index V_i Π_{j≠i} (1 + V_j) / V.
        const A: [f64; 8] = [0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0];
        let part = A.map(|a| 1.0 / (3.0 * (1.0 + a).powi(2)));
        let product: f64 = part.iter().map(|v| 1.0 + v).product();
        let one = |u: &[f64]| u.iter().zip(A).map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a)).product();
        let f = || |points: &[f64], values: &mut [f64]| at_each(8, points, values, one);
        let found = indices(8, &singles(8), 2048, 5, f, |_| true).unwrap();
        for (i, got) in found.iter().enumerate() {
            close(&format!("first {i}"), got.first_order, part[i] / (product - 1.0));
            close(&format!("total {i}"), got.total, part[i] * product / (1.0 + part[i]) / (product - 1.0));
        }
    }

    #[test]
    fn a_constant_has_no_variance_to_hold() {
        let flat = || |_: &[f64], values: &mut [f64]| values.fill(3.0);
        let found = indices(2, &singles(2), 64, 1, flat, |_| true).unwrap();
        assert_eq!(indices(2, &singles(2), 64, 1, flat, |_| false).map(|found| found.len()), None);
        assert!(found.iter().all(|i| i.first_order.value == 0.0 && i.total.value == 0.0 && i.total.error == 0.0));
    }
}
