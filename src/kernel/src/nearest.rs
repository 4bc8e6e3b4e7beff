//! The point of a polytope whose curve lies nearest to another, with a bound that no other can come below.
//!
//! A curve's deviation is that of a ratio: each column's own, weighted by its part of the sum of all. The ratios of a polytope's
//! points are the convex hull of its vertices' ratios, so the nearest is a point of least norm, found by Wolfe's method
//! (P. Wolfe, *Math. Program.* 11 (1976) 128) from vertices that linear programs give one at a time. A linear-fractional program
//! is a few linear ones (W. Dinkelbach, *Manage. Sci.* 13 (1967) 492).

use crate::simplex::{BoxProgram, Ended, Optimum, SimplexBasis};
use crate::square::solved;

/// The nearest point.
#[derive(Debug, Clone, PartialEq)]
pub struct Nearest {
    /// The columns of the program.
    pub x: Vec<f64>,
    /// Norm of its deviation.
    pub norm: f64,
    /// No point has a deviation of a smaller norm.
    pub bound: f64,
    /// The basis of the last program.
    pub basis: SimplexBasis,
    /// Duals of the last program, for the rows that count.
    pub duals: Vec<f64>,
}

/// What became of the search for it.
#[derive(Debug, Clone, PartialEq)]
pub enum Reached {
    /// There is one.
    Nearest(Nearest),
    /// No point exists; the multipliers of the rows prove it.
    Infeasible(Vec<f64>),
    /// The solver failed.
    Failed,
}

/// A vertex: its columns, their sum, and its deviation at every size.
struct Vertex {
    x: Vec<f64>,
    sum: f64,
    off: Vec<f64>,
}

/// Vertices after which the bound is taken as it is.
const MOST_VERTICES: usize = 80;
/// Linear programs for one ratio.
const MOST_RATIOS: usize = 12;
/// A deviation below this is none.
const ON_THE_CURVE: f64 = 1e-10;
/// Norm and bound that agree within this, relative, are one.
const AGREED: f64 = 1e-9;

/// The point of `program`, whose costs are overwritten, nearest to the curve: `offsets` holds each column's deviation at every size,
/// `least_sum` (above 0) what the columns, none of which is negative, come to at least. Stops early when nothing can come below `cutoff`.
pub fn nearest(
    program: &mut BoxProgram,
    offsets: &[&[f64]],
    least_sum: f64,
    cutoff: f64,
    start: &SimplexBasis,
) -> Reached {
    program.cost.iter_mut().for_each(|c| *c = 0.0);
    let first = match program.minimise(Some(start)) {
        Ended::Optimal(optimum) => optimum,
        Ended::Infeasible(duals) => return Reached::Infeasible(duals),
        Ended::Failed | Ended::Unbounded => return Reached::Failed,
    };
    let mut basis = first.basis;
    let mut duals = first.duals;
    let mut corral = vec![vertex(first.x, offsets)];
    let mut weights = vec![1.0];
    let mut bound = 0.0_f64;
    for _ in 0..MOST_VERTICES {
        let off = mixed(&corral, &weights, |v| &v.off);
        let norm = norm_of(&off);
        if norm < ON_THE_CURVE {
            break;
        }
        let gains: Vec<f64> = offsets.iter().map(|o| dot(o, &off)).collect();
        let Some((optimum, lower)) = least_ratio(program, &gains, norm * norm, least_sum, &basis) else {
            return Reached::Failed;
        };
        bound = bound.max(lower / norm);
        basis.clone_from(&optimum.basis);
        duals.clone_from(&optimum.duals);
        let new = vertex(optimum.x, offsets);
        let gained = norm * norm - dot(&new.off, &off);
        if bound >= cutoff || norm - bound <= AGREED * norm || gained <= 1e-14 * norm * norm {
            break;
        }
        corral.push(new);
        weights.push(0.0);
        settle(&mut corral, &mut weights);
    }
    let norm = norm_of(&mixed(&corral, &weights, |v| &v.off));
    // Shares of the load, back as shares of the whole.
    let total: f64 = corral.iter().zip(&weights).map(|(v, w)| w / v.sum).sum();
    let parts: Vec<f64> = corral.iter().zip(&weights).map(|(v, w)| w / v.sum / total).collect();
    Reached::Nearest(Nearest { x: mixed(&corral, &parts, |v| &v.x), norm, bound: bound.min(norm), basis, duals })
}

/// The vertex of least `Σ gain x / Σ x`, which is below `start` if any is, and a bound of that ratio.
fn least_ratio(
    program: &mut BoxProgram,
    gains: &[f64],
    start: f64,
    least_sum: f64,
    basis: &SimplexBasis,
) -> Option<(Optimum, f64)> {
    let (mut ratio, mut basis) = (start, basis.clone());
    for round in 0..MOST_RATIOS {
        program.cost.iter_mut().zip(gains).for_each(|(c, g)| *c = g - ratio);
        let Ended::Optimal(optimum) = program.minimise(Some(&basis)) else { return None };
        let sum: f64 = optimum.x.iter().sum();
        let own = dot(&optimum.x, gains) / sum;
        let lower = ratio + optimum.bound.min(0.0) / least_sum;
        if own >= ratio - 1e-12 * ratio.abs() || round + 1 == MOST_RATIOS {
            return Some((optimum, lower));
        }
        basis.clone_from(&optimum.basis);
        ratio = own;
    }
    None
}

/// The weights of the point of least norm in the hull of the vertices; those that have no part in it are dropped.
fn settle(corral: &mut Vec<Vertex>, weights: &mut Vec<f64>) {
    loop {
        let Some(affine) = least_affine(corral) else {
            // The newest lies in the flat of the others.
            corral.pop();
            weights.pop();
            let sum: f64 = weights.iter().sum();
            weights.iter_mut().for_each(|w| *w /= sum);
            return;
        };
        if affine.iter().all(|a| *a > 1e-12) {
            *weights = affine;
            return;
        }
        let falling = weights.iter().zip(&affine).filter(|(_, a)| **a <= 1e-12);
        let step = falling.map(|(w, a)| if w > a { w / (w - a) } else { 0.0 }).fold(1.0, f64::min);
        weights.iter_mut().zip(&affine).for_each(|(w, a)| *w += step * (a - *w));
        let kept: Vec<bool> = weights.iter().map(|w| *w > 1e-12).collect();
        let mut keep = kept.iter();
        corral.retain(|_| keep.next().copied().unwrap_or(true));
        weights.retain(|w| *w > 1e-12);
        let sum: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= sum);
    }
}

/// Weights, summing to 1, of the point of least norm in the flat through the vertices: (1 1ᵀ + G) b = 1 scaled.
fn least_affine(corral: &[Vertex]) -> Option<Vec<f64>> {
    let n = corral.len();
    let size = corral.iter().map(|v| dot(&v.off, &v.off)).fold(0.0, f64::max);
    let row = |i: usize| (0..n).map(|j| size + dot(&corral[i].off, &corral[j].off)).chain([1.0]).collect();
    let b = solved((0..n).map(row).collect(), 1e-13 * size)?;
    let sum: f64 = b.iter().sum();
    (sum.abs() > 0.0).then(|| b.iter().map(|v| v / sum).collect())
}

fn vertex(x: Vec<f64>, offsets: &[&[f64]]) -> Vertex {
    let sum: f64 = x.iter().sum();
    let mut off = vec![0.0; offsets.first().map_or(0, |o| o.len())];
    for (x, column) in x.iter().zip(offsets).filter(|(x, _)| **x > 0.0) {
        off.iter_mut().zip(*column).for_each(|(o, c)| *o += x / sum * c);
    }
    Vertex { x, sum, off }
}

fn mixed(corral: &[Vertex], weights: &[f64], of: impl Fn(&Vertex) -> &Vec<f64>) -> Vec<f64> {
    let mut sum = vec![0.0; corral.first().map_or(0, |v| of(v).len())];
    for (v, w) in corral.iter().zip(weights) {
        sum.iter_mut().zip(of(v)).for_each(|(s, x)| *s += w * x);
    }
    sum
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn norm_of(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The x within `bounds` and `rows` of the least ‖Σ x a − target‖: the target is a column that is 1, and a last one without a
    /// deviation brings the sum of all to a constant.
    fn least_squares(
        bounds: &[(f64, f64)],
        rows: &[(&[f64], f64, f64)],
        columns: &[&[f64]],
        target: &[f64],
    ) -> Option<Vec<f64>> {
        const SUM: f64 = 100.0;
        // Columns begin at 0.
        let begin = |terms: &dyn Fn(usize) -> f64| bounds.iter().enumerate().map(|(j, b)| b.0 * terms(j)).sum::<f64>();
        let moved = |r: &(&[f64], f64, f64), end: f64| end - begin(&|j| r.0[j]);
        let mut program = BoxProgram::default();
        program.row_low.extend([SUM].into_iter().chain(rows.iter().map(|r| moved(r, r.1))));
        program.row_high.extend([SUM].into_iter().chain(rows.iter().map(|r| moved(r, r.2))));
        for (j, (low, high)) in bounds.iter().enumerate() {
            program.column([1.0].into_iter().chain(rows.iter().map(|r| r.0[j])), 0.0, 0.0, high - low);
        }
        let none = || [1.0].into_iter().chain(rows.iter().map(|_| 0.0));
        program.column(none(), 0.0, 1.0, 1.0);
        program.column(none(), 0.0, 0.0, SUM);
        let less: Vec<f64> = (0..target.len()).map(|i| begin(&|j| columns[j][i]) - target[i]).collect();
        let zero = vec![0.0; target.len()];
        let offsets: Vec<&[f64]> = columns.iter().copied().chain([less.as_slice(), zero.as_slice()]).collect();
        match nearest(&mut program, &offsets, SUM, f64::INFINITY, &SimplexBasis::default()) {
            Reached::Nearest(found) => Some(found.x.iter().zip(bounds).map(|(x, b)| b.0 + x).collect()),
            Reached::Infeasible(_) => None,
            Reached::Failed => panic!("failed"),
        }
    }

    #[test]
    fn textbook_constrained_least_squares() {
        // Lawson and Hanson, Solving Least Squares Problems (1974), section 23.7: a line that does not fall, is not negative at 0
        // and at most 1 at 1, to four points; printed as 0.621 and 0.379. With the last row active by hand: 0.685 / 1.1025.
        let line: [&[f64]; 2] = [&[0.25, 0.5, 0.5, 0.8], &[1.0; 4]];
        let rows: [(&[f64], f64, f64); 1] = [(&[1.0, 1.0], f64::NEG_INFINITY, 1.0)];
        let at = least_squares(&[(0.0, 9.0); 2], &rows, &line, &[0.5, 0.6, 0.7, 1.2]).unwrap();
        assert!((at[0] - 0.685 / 1.1025).abs() < 1e-8 && (at[1] - 1.0 + 0.685 / 1.1025).abs() < 1e-8, "{at:?}");
        // The example of the dual method of Goldfarb and Idnani (1983) as the quadprog packages carry it (from memory): nearest to
        // (0, 5, 0) under -4x - 3y ≥ -8, 2x + y ≥ 2, -2y + z ≥ 0; printed as 0.4761905, 1.0476190, 2.0952381.
        let axes: [&[f64]; 3] = [&[1.0, 0.0, 0.0], &[0.0, 1.0, 0.0], &[0.0, 0.0, 1.0]];
        let open = f64::INFINITY;
        let mut rows: Vec<(&[f64], f64, f64)> =
            vec![(&[-4.0, -3.0, 0.0], -8.0, open), (&[2.0, 1.0, 0.0], 2.0, open), (&[0.0, -2.0, 1.0], 0.0, open)];
        let at = least_squares(&[(-9.0, 9.0); 3], &rows, &axes, &[0.0, 5.0, 0.0]).unwrap();
        for (x, printed) in at.iter().zip([0.476_190_5, 1.047_619_0, 2.095_238_1]) {
            assert!((x - printed).abs() < 1e-7, "{at:?}");
        }
        // And no point at all is no answer.
        rows.push((&[2.0, 1.0, 0.0], -open, 1.0));
        assert_eq!(least_squares(&[(-9.0, 9.0); 3], &rows, &axes, &[0.0, 5.0, 0.0]), None);
    }
}
