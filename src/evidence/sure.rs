//! How sure a stated band is: what a verdict says first.

use super::confidence::{Interval, Outcome, Sampling, drawn};
use super::inputs::Vary;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::sensitivity::Estimate;
use crate::tables::Tables;

/// Share of the draws at which a verdict is taken for sure.
pub const SURE: f64 = 0.9;

/// How many draws bear a band out.
#[derive(Debug, Clone, PartialEq)]
pub struct Sure {
    /// Draws.
    pub draws: u64,
    /// Share of the draws (0..1) in each rank or a milder one, mild to harsh; the last one is what no band allows.
    pub at_most: Vec<Estimate>,
    /// The index.
    pub index: Interval,
}

impl Sure {
    /// Of the draws that a longer run has made.
    pub fn of(outcome: &Outcome, draws: u64) -> Self {
        Self { draws, at_most: outcome.at_most.clone(), index: outcome.index }
    }

    /// Share of the draws in a band or a milder one, 0..1.
    pub fn share(&self, rank: usize) -> f64 {
        self.at_most.get(rank).map_or(1.0, |estimate| estimate.value)
    }

    /// Rank of the mildest band that at least a share (0..1) of the draws meets.
    pub fn rank_met_by(&self, share: f64) -> usize {
        (0..self.at_most.len()).find(|rank| self.share(*rank) >= share).unwrap_or(self.at_most.len())
    }

    /// A share in whole per cent, never rounded up: 89.9 % is not nine in ten.
    pub fn pct(share: f64) -> f64 {
        (100.0 * share + 1e-9).floor()
    }
}

/// Draws a scrub, skin and model over all their ranges, for the band alone.
pub fn sure(scrub: &Scrub, judge: &Judge, tables: &Tables, sampling: Sampling) -> Sure {
    Sure::of(&drawn(scrub, judge, tables, sampling, Vary::All), sampling.draws())
}
