//! How sure a stated band is: what a verdict says first.

use super::draws::Drawing;
use super::inputs::Inputs;
use super::outcome::Outcome;
use super::sampling::{Sampling, verdicts};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::sensitivity::{Estimate, SCRAMBLES};
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
    /// Index that 5 % of the draws stay below, and that 5 % pass.
    pub index: [f64; 2],
}

impl Sure {
    /// Of the draws that a longer run has made.
    pub fn of(outcome: &Outcome, draws: u64) -> Self {
        Self { draws, at_most: outcome.at_most.clone(), index: [outcome.index.p5.value, outcome.index.p95.value] }
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

/// Draws a scrub, skin and model over all their ranges, for band and index alone.
pub fn sure(scrub: &Scrub, judge: &Judge, tables: &Tables, sampling: Sampling) -> Sure {
    let drawing = Drawing::new(judge, scrub, Inputs::new(scrub, tables, judge.model().reference_position()));
    let ranks = judge.bands().len() + 1;
    let scrambles = in_order(SCRAMBLES, |scramble| {
        let (mut bands, mut indices) = (vec![0_u64; ranks], Vec::new());
        verdicts(&drawing, sampling, scramble, |rank, index| {
            bands[rank] += 1;
            indices.push(index);
        });
        (bands, indices)
    });
    let at_most = |rank: usize| {
        let within = |bands: &[u64]| bands[..=rank].iter().sum::<u64>() as f64;
        let each = scrambles.iter().map(|(bands, indices)| within(bands) / indices.len() as f64);
        let whole = scrambles.iter().map(|(bands, _)| within(bands)).sum::<f64>() / sampling.draws() as f64;
        Estimate::new(whole, &each.collect::<Vec<_>>())
    };
    let mut indices: Vec<f64> = scrambles.iter().flat_map(|s| s.1.iter().copied()).collect();
    indices.sort_by(f64::total_cmp);
    let at = |share: f64| indices[((indices.len() - 1) as f64 * share).round() as usize];
    Sure { draws: sampling.draws(), at_most: (0..ranks).map(at_most).collect(), index: [at(0.05), at(0.95)] }
}
