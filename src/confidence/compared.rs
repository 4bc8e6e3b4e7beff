//! Scrubs under common draws: the same skin and model for all, and the same stray of every powder that they share by name. The share of
//! draws in which one is milder says more than two intervals that overlap.

use super::draws::{BLOCK, Drawing};
use super::inputs::{Inputs, Vary};
use super::sampling::Sampling;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::quasi::{LONGEST, Sequence};
use crate::tables::Tables;

/// Pieces of parallel work.
const PIECES: usize = 16;

/// The share of common draws (0..1) in which each scrub but the first has a lower index than the first.
pub fn milder_than_first(scrubs: &[Scrub], judge: &Judge, tables: &Tables, sampling: Sampling) -> Vec<f64> {
    let reference = judge.model().reference_position();
    let drawings: Vec<Drawing> =
        scrubs.iter().map(|s| Drawing::new(judge, s, Inputs::new(s, tables, reference))).collect();
    let (columns, dimensions) = columns(&drawings);
    let draws = sampling.draws() as usize;
    let counted = in_order(PIECES, |piece| {
        let own = draws / PIECES + usize::from(piece < draws % PIECES);
        milder_counts(&drawings, &columns, dimensions, own, |i| (sampling.seed(), piece + PIECES * (i / LONGEST)))
    });
    let of = |scrub: usize| counted.iter().map(|c| c[scrub]).sum::<usize>() as f64 / draws as f64;
    (1..scrubs.len()).map(of).collect()
}

/// For every scrub, which of the common coordinates each of its own is; and how many common ones there are. What two scrubs call the same
/// has the same coordinates; of several things of one name within a scrub the first goes with the first.
fn columns(drawings: &[Drawing]) -> (Vec<Vec<usize>>, usize) {
    let mut known: Vec<(String, usize, std::ops::Range<usize>)> = Vec::new();
    let mut dimensions = 0;
    let mut all = Vec::new();
    for drawing in drawings {
        let mut own = Vec::new();
        let mut seen: Vec<&str> = Vec::new();
        for input in drawing.inputs.list() {
            let nth = seen.iter().filter(|s| **s == input.label).count();
            seen.push(&input.label);
            let count = input.coordinates().len();
            let found = known.iter().find(|k| k.0 == input.label && k.1 == nth && k.2.len() == count);
            let range = match found {
                Some(known) => known.2.clone(),
                None => {
                    let range = dimensions..dimensions + count;
                    dimensions = range.end;
                    known.push((input.label.clone(), nth, range.clone()));
                    range
                }
            };
            own.extend(range);
        }
        all.push(own);
    }
    (all, dimensions)
}

/// In how many of `draws` points each scrub has a lower index than the first.
fn milder_counts(
    drawings: &[Drawing],
    columns: &[Vec<usize>],
    dimensions: usize,
    draws: usize,
    sequence: impl Fn(usize) -> (u64, usize),
) -> Vec<usize> {
    let mut rubbers: Vec<_> = drawings.iter().map(|d| d.rubber(Vary::All)).collect();
    let mut common = vec![0.0; BLOCK * dimensions];
    let mut points: Vec<Vec<f64>> = columns.iter().map(|c| vec![0.0; BLOCK * c.len()]).collect();
    let mut indices = vec![[0.0; BLOCK]; drawings.len()];
    let mut counts = vec![0; drawings.len()];
    for start in (0..draws).step_by(BLOCK) {
        let count = BLOCK.min(draws - start);
        for (k, point) in common.chunks_exact_mut(dimensions).enumerate().take(count) {
            let (seed, number) = sequence(start + k);
            Sequence::new(seed, number).point((start + k) % LONGEST, point);
        }
        for (((rubber, columns), points), indices) in rubbers.iter_mut().zip(columns).zip(&mut points).zip(&mut indices)
        {
            for (own, common) in points.chunks_exact_mut(columns.len()).zip(common.chunks_exact(dimensions)) {
                own.iter_mut().zip(columns).for_each(|(u, column)| *u = common[*column]);
            }
            rubber.indices(&points[..count * columns.len()], &mut indices[..count]);
        }
        for (scrub, counted) in counts.iter_mut().enumerate() {
            *counted += (0..count).filter(|k| indices[scrub][*k] < indices[0][*k]).count();
        }
    }
    counts
}
