//! Fixed levels swept out of values: of one factor (blocks), or of two crossed ones (blocks and days).
//!
//! With X the incidence of the levels, everything needed is X' X solved: exactly for blocks, and for days by the Schur complement of
//! the blocks, whose generalised inverse is that of Moore and Penrose, so that days that stand apart from each other are let be.
//! What is worked out from it does not depend on which generalised inverse is taken, as long as it is a mean of rows of X.

use super::eigen;
use ndarray::{Array1, Array2};

/// An eigenvalue below this share of the largest is none.
const NONE: f64 = 1e-10;

/// The levels, laid out.
#[derive(Debug, Clone)]
pub(super) struct Sweep {
    /// Columns that each value belongs to: its block, and where there are days its day, counted after the blocks.
    rows: Vec<Vec<usize>>,
    /// Values of each block.
    counts: Array1<f64>,
    /// Values by block and day.
    cross: Array2<f64>,
    /// Generalised inverse of the Schur complement, by day.
    inverse: Array2<f64>,
    /// Independent columns.
    rank: usize,
}

impl Sweep {
    /// From block and day of each value; without days for an empty `days`.
    pub fn new(blocks_of: &[usize], days_of: &[usize], blocks: usize) -> Self {
        let days = days_of.iter().max().map_or(0, |d| d + 1);
        let mut counts = Array1::zeros(blocks);
        let mut cross = Array2::zeros((blocks, days));
        blocks_of.iter().for_each(|b| counts[*b] += 1.0);
        blocks_of.iter().zip(days_of).for_each(|(b, d)| cross[[*b, *d]] += 1.0);
        let mut schur = Array2::from_diag(&cross.sum_axis(ndarray::Axis(0)));
        for (row, n) in cross.rows().into_iter().zip(&counts).filter(|(_, n)| **n > 0.0) {
            for i in 0..days {
                for j in 0..days {
                    schur[[i, j]] -= row[i] * row[j] / n;
                }
            }
        }
        let (values, vectors) = eigen::symmetric(&schur);
        let largest = values.iter().fold(0.0, |m: f64, v| m.max(*v));
        // Where no block has two days, rounding is all that is left of the complement.
        let kept = |v: f64| largest > NONE * days_of.len() as f64 && v > NONE * largest;
        let inverted: Array1<f64> = values.iter().map(|&v| if kept(v) { 1.0 / v } else { 0.0 }).collect();
        let inverse = (&vectors * &inverted).dot(&vectors.t());
        let used = counts.iter().filter(|n| **n > 0.0).count();
        let rank = used + values.iter().filter(|v| kept(**v)).count();
        let day = |i: usize| days_of.get(i).map(|d| blocks + d);
        let rows = blocks_of.iter().enumerate().map(|(i, b)| [*b].into_iter().chain(day(i)).collect());
        Self { rows: rows.collect(), counts, cross, inverse, rank }
    }

    /// Independent columns of X.
    pub fn rank(&self) -> usize {
        self.rank
    }

    /// Columns of X.
    pub fn columns(&self) -> usize {
        self.counts.len() + self.cross.ncols()
    }

    /// The columns that value `i` belongs to.
    pub fn row(&self, i: usize) -> &[usize] {
        &self.rows[i]
    }

    /// The mean of all different rows.
    pub fn mean_row(&self) -> Array1<f64> {
        let mut rows: Vec<&Vec<usize>> = self.rows.iter().collect();
        rows.sort();
        rows.dedup();
        let mut mean = Array1::zeros(self.columns());
        rows.iter().flat_map(|row| row.iter()).for_each(|k| mean[*k] += 1.0 / rows.len() as f64);
        mean
    }

    /// X' X solved for a right side.
    pub fn solve(&self, right: &Array1<f64>) -> Array1<f64> {
        let blocks = self.counts.len();
        let (of_blocks, of_days) = right.view().split_at(ndarray::Axis(0), blocks);
        let by_count = |v: Array1<f64>| -> Array1<f64> {
            v.iter().zip(&self.counts).map(|(v, n)| if *n > 0.0 { v / n } else { 0.0 }).collect()
        };
        if self.cross.ncols() == 0 {
            return by_count(of_blocks.to_owned());
        }
        let left = &of_days - &self.cross.t().dot(&by_count(of_blocks.to_owned()));
        let days = self.inverse.dot(&left);
        let blocks = by_count(&of_blocks - &self.cross.dot(&days));
        blocks.iter().chain(&days).copied().collect()
    }
}
