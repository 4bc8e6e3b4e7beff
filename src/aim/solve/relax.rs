//! The relaxation of a part of the search: the best shares when the count holds only as far as largest shares make it hold, and
//! least shares only for powders that are decided. Its bound is read from dual prices, so that no rounding can make it wrong.

use super::frame::Frame;
use super::node::{Keys, Node};
use crate::aim::statement::problem::{Objective, Problem};
use crate::aim::statement::target::Target;
use gritwise_kernel::nearest::{Reached, nearest};
use gritwise_kernel::simplex::{BoxProgram, Ended, SimplexBasis};
use std::sync::Arc;

/// A share below this, % of the scrub, is none.
pub(in crate::aim) const NO_SHARE: f64 = 1e-7;

/// The best shares of a relaxation.
#[derive(Debug, Clone)]
pub(in crate::aim) struct Relaxed {
    /// No blend of the part is worth less.
    pub bound: f64,
    /// Candidates, rising, and shares in % of the scrub; those of none are left out.
    pub shares: Vec<(u16, f64)>,
    /// What it takes each elastic target to be missed by.
    pub misses: Vec<f64>,
    /// How much each row of the frame counts.
    pub weights: Vec<f64>,
    /// Price of each row: what one more unit of its bound, scaled as in the frame, costs.
    pub duals: Vec<f64>,
    pub start: Arc<Keys>,
}

#[derive(Debug, Clone)]
pub(in crate::aim) enum Relaxation {
    Solved(Relaxed),
    /// No shares meet the rows; the targets of those that prove it.
    Infeasible(Vec<Target>),
    Failed,
}

/// A stretch of a powder's share with one cost.
struct Piece {
    powder: u16,
    part: u32,
    cost: f64,
    low: f64,
    high: f64,
}

const MISSES: u32 = 1 << 20;

impl Node {
    /// The relaxation of this part. Misses beyond `cutoff` are of no interest.
    pub fn relaxed(&self, problem: &Problem, cutoff: f64) -> Relaxation {
        let frame = self.place.frame(problem);
        let counted: Vec<Vec<(u16, f64)>> = self.count_rows(frame, problem);
        let pieces = self.pieces(problem, frame);
        let mut program = BoxProgram {
            row_low: frame.row_low.iter().copied().chain(counted.iter().map(|_| f64::NEG_INFINITY)).collect(),
            row_high: frame.row_high.iter().copied().chain(counted.iter().zip(&self.clusters).map(|_| 1.0)).collect(),
            ..BoxProgram::default()
        };
        let mut keys: Vec<u32> = Vec::with_capacity(pieces.len() + problem.elastic.len());
        for piece in &pieces {
            let Some(place) = frame.place(piece.powder) else { continue };
            let counts = counted.iter().map(|row| {
                let at = row.binary_search_by_key(&piece.powder, |r| r.0);
                at.map_or(0.0, |at| row[at].1)
            });
            program.column(frame.terms(place).iter().copied().chain(counts), piece.cost, piece.low, piece.high);
            keys.push(u32::from(piece.powder) * 2 + piece.part);
        }
        let rows = frame.rows();
        for (place, &(low, high)) in self.place.region.misses.iter().enumerate() {
            let terms = &frame.misses[place * rows..(place + 1) * rows];
            let none = counted.iter().map(|_| 0.0);
            program.column(terms.iter().copied().chain(none), 1.0, low, high.min(cutoff.max(low)));
            keys.push(MISSES + place as u32);
        }
        let start = self.basis(&keys);
        if let Objective::Curve(_) = problem.objective {
            return self.nearest(problem, frame, program, &keys, &start, cutoff);
        }
        match program.minimise(Some(&start)) {
            Ended::Optimal(optimum) => {
                let bound = optimum.bound + problem.constant();
                let misses = optimum.x[pieces.len()..].to_vec();
                let shares = summed(&pieces, &optimum.x);
                let weights = weights(&optimum.duals[..rows], frame, &shares);
                let start = Arc::new(named(&optimum.basis, &keys));
                let duals = optimum.duals[..rows].to_vec();
                Relaxation::Solved(Relaxed { bound, shares, misses, weights, duals, start })
            }
            Ended::Infeasible(duals) => Relaxation::Infeasible(proving(&duals, frame)),
            Ended::Failed | Ended::Unbounded => Relaxation::Failed,
        }
    }

    fn nearest(
        &self,
        problem: &Problem,
        frame: &Frame,
        mut program: BoxProgram,
        keys: &[u32],
        start: &SimplexBasis,
        cutoff: f64,
    ) -> Relaxation {
        let offsets: Vec<&[f64]> = keys.iter().map(|k| problem.curve_offsets[(k / 2) as usize].as_slice()).collect();
        let unit = problem.points_of_norm();
        match nearest(&mut program, &offsets, problem.load_pct[0], cutoff / unit, start) {
            Reached::Nearest(nearest) => {
                let shares = keys.iter().zip(&nearest.x).filter(|(_, x)| **x > NO_SHARE);
                let shares: Vec<(u16, f64)> = shares.map(|(k, x)| ((k / 2) as u16, *x)).collect();
                let duals = nearest.duals[..frame.rows()].to_vec();
                Relaxation::Solved(Relaxed {
                    bound: nearest.bound * unit,
                    weights: weights(&duals, frame, &shares),
                    misses: Vec::new(),
                    start: Arc::new(named(&nearest.basis, keys)),
                    shares,
                    duals,
                })
            }
            Reached::Infeasible(duals) => Relaxation::Infeasible(proving(&duals, frame)),
            Reached::Failed => Relaxation::Failed,
        }
    }

    /// Rows that hold the count: each powder takes its part of its largest share.
    fn count_rows(&self, frame: &Frame, problem: &Problem) -> Vec<Vec<(u16, f64)>> {
        let most = |m: u16| frame.place(m).map_or(0.0, |p| frame.most_pct[p]).max(NO_SHARE);
        let holds = |c: &&super::node::Cluster| {
            let largest = c.members.iter().map(|m| most(*m)).fold(0.0, f64::max);
            c.most < c.members.len() && largest * c.most as f64 <= problem.load_pct[1]
        };
        let row = |c: &super::node::Cluster| {
            c.members.iter().map(|m| (*m, 1.0 / (most(*m) * c.most as f64))).collect::<Vec<_>>()
        };
        self.clusters.iter().filter(holds).map(row).collect()
    }

    fn pieces(&self, problem: &Problem, frame: &Frame) -> Vec<Piece> {
        let mut pieces = Vec::new();
        for powder in self.members() {
            let Some(place) = frame.place(powder) else { continue };
            let candidate = &problem.candidates[usize::from(powder)];
            let is_forced = self.forced.binary_search(&powder).is_ok();
            let mut least = if is_forced { candidate.min_pct } else { 0.0 };
            let mut left = frame.most_pct[place].max(least);
            for (part, (cost, width)) in problem.costs(usize::from(powder)).into_iter().enumerate() {
                let high = width.min(left);
                if high <= 0.0 && part > 0 {
                    continue;
                }
                let low = least.min(high);
                pieces.push(Piece { powder, part: part as u32, cost, low, high });
                least -= low;
                left -= high;
            }
        }
        pieces
    }

    /// The basis of the parent as far as its columns are still there.
    fn basis(&self, keys: &[u32]) -> SimplexBasis {
        let find = |key: &u32| keys.binary_search(key).ok();
        let places = |names: &[u32]| names.iter().filter_map(find).collect();
        SimplexBasis { basic: places(&self.start.basic), at_high: places(&self.start.at_high) }
    }
}

fn named(basis: &SimplexBasis, keys: &[u32]) -> Keys {
    let names = |columns: &[usize]| columns.iter().filter_map(|v| keys.get(*v).copied()).collect();
    Keys { basic: names(&basis.basic), at_high: names(&basis.at_high) }
}

/// Shares of the powders from those of their pieces.
fn summed(pieces: &[Piece], x: &[f64]) -> Vec<(u16, f64)> {
    let mut shares: Vec<(u16, f64)> = Vec::new();
    for (piece, x) in pieces.iter().zip(x) {
        match shares.last_mut() {
            Some((powder, sum)) if *powder == piece.powder => *sum += x,
            _ => shares.push((piece.powder, *x)),
        }
    }
    shares.retain(|(_, pct)| *pct > NO_SHARE);
    shares
}

/// How much each row counts for a cut: by its price, or, where nothing has a price, by whether it holds at its bound.
fn weights(duals: &[f64], frame: &Frame, shares: &[(u16, f64)]) -> Vec<f64> {
    let largest = duals.iter().fold(0.0_f64, |s, y| s.max(y.abs()));
    if largest > 0.0 {
        return duals.iter().map(|y| y.abs() / largest).collect();
    }
    let mut sums = vec![0.0; frame.rows()];
    for (powder, pct) in shares {
        if let Some(place) = frame.place(*powder) {
            sums.iter_mut().zip(frame.terms(place)).for_each(|(s, a)| *s += a * pct);
        }
    }
    let ends = frame.row_low.iter().zip(&frame.row_high);
    let holds = |(sum, (low, high)): (&f64, (&f64, &f64))| (sum - low).abs() < 1e-7 || (sum - high).abs() < 1e-7;
    sums.iter().zip(ends).map(|row| if holds(row) { 1.0 } else { 1e-3 }).collect()
}

/// Targets of the rows that a proof rests on, and of those that largest shares were taken from.
fn proving(duals: &[f64], frame: &Frame) -> Vec<Target> {
    let largest = duals.iter().fold(0.0_f64, |s, y| s.max(y.abs()));
    let counts = |i: usize| duals[i].abs() > 1e-12 * largest || frame.tightening[i];
    (0..frame.rows()).filter(|i| counts(*i)).filter_map(|i| frame.targets[i]).collect()
}

impl Problem<'_> {
    /// What a share of a candidate costs: costs per % of the scrub, rising, and for how many % each holds.
    fn costs(&self, candidate: usize) -> Vec<(f64, f64)> {
        match self.objective {
            Objective::Cost => vec![(self.candidates[candidate].cost, f64::INFINITY)],
            Objective::Change => {
                let start = self.start.0[candidate];
                if start > 0.0 { vec![(-1.0, start), (1.0, f64::INFINITY)] } else { vec![(1.0, f64::INFINITY)] }
            }
            Objective::Violation if self.is_elastic(Target::Shelf) => {
                vec![(0.0, self.candidates[candidate].max_pct), (1.0, f64::INFINITY)]
            }
            Objective::Violation | Objective::Any | Objective::Curve(_) => vec![(0.0, f64::INFINITY)],
        }
    }

    /// What the objective is when no powder is used.
    fn constant(&self) -> f64 {
        if self.objective == Objective::Change { self.start.0.iter().sum::<f64>() + self.start.1 } else { 0.0 }
    }

    /// Root mean square deviation in percentage points of a deviation of norm 1.
    pub fn points_of_norm(&self) -> f64 {
        let points = self.curve_offsets.first().map_or(1, Vec::len).max(1);
        100.0 / (points as f64).sqrt()
    }

    /// What shares are worth; for [`Objective::Violation`] that is [`Problem::violation`].
    pub fn worth(&self, members: &[usize], pct: &[f64]) -> f64 {
        let cost = |m: usize, mut left: f64| {
            let mut sum = 0.0;
            for (cost, width) in self.costs(m) {
                let own = left.min(width);
                sum += cost * own;
                left -= own;
            }
            sum
        };
        if let Objective::Curve(_) = self.objective {
            let load: f64 = pct.iter().sum();
            let points = self.curve_offsets.first().map_or(0, Vec::len);
            let off = |i: usize| {
                members.iter().zip(pct).map(|(&m, p)| p / load * self.curve_offsets[m][i]).sum::<f64>().powi(2)
            };
            return self.points_of_norm() * (0..points).map(off).sum::<f64>().sqrt();
        }
        self.constant() + members.iter().zip(pct).map(|(&m, p)| cost(m, *p)).sum::<f64>()
    }
}
