//! Scrubs under common draws: the same skin and model for all, and the same stray of every powder that they share. The share of draws in
//! which one is milder says more than two intervals that overlap.

use super::draws::{BLOCK, Drawing};
use super::inputs::{Input, Inputs, Vary};
use super::sampling::Sampling;
use super::shared::UnknownOf;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::quasi::{LONGEST, Sequence};
use crate::tables::Tables;

/// Pieces of parallel work.
const PIECES: usize = 16;

/// Of two indices whose ratio is nearer to 1 than this neither is lower: they are worked out in single precision.
const SAME_INDEX: f64 = 1e-5;

/// What the draws that scrubs have in common say of one of them beside the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BesideFirst {
    /// Share of the draws (0..1) in which it has a lower index than the first.
    pub milder: f64,
    /// Share in which it has another index than the first.
    pub apart: f64,
}

/// What common draws say of each scrub but the first.
pub fn beside_first(scrubs: &[Scrub], judge: &Judge, tables: &Tables, sampling: Sampling) -> Vec<BesideFirst> {
    let reference = judge.model().reference_position();
    let drawings: Vec<Drawing> =
        scrubs.iter().map(|s| Drawing::new(judge, s, Inputs::new(s, tables, reference))).collect();
    let (columns, dimensions) = columns(&drawings);
    let draws = sampling.draws() as usize;
    let counted = in_order(PIECES, |piece| {
        let own = draws / PIECES + usize::from(piece < draws % PIECES);
        counts(&drawings, &columns, dimensions, own, |i| (sampling.seed(), piece + PIECES * (i / LONGEST)))
    });
    let share = |scrub: usize, of: fn(&ApartCounts) -> usize| {
        counted.iter().map(|c| of(&c[scrub])).sum::<usize>() as f64 / draws as f64
    };
    let of = |scrub| BesideFirst { milder: share(scrub, |c| c.milder), apart: share(scrub, |c| c.milder + c.harsher) };
    (1..scrubs.len()).map(of).collect()
}

/// Inputs that scrubs have in common: what it is of and what it is called, and its common coordinates.
struct CommonInput<'a> {
    subject: Option<&'a UnknownOf>,
    label: &'a str,
    coordinates: std::ops::Range<usize>,
}

/// For every scrub, which of the common coordinates each of its own is; and how many common ones there are. What is of one subject has
/// the same coordinates, and after that what two scrubs call the same; of several things of one name the first goes with the first.
fn columns(drawings: &[Drawing]) -> (Vec<Vec<usize>>, usize) {
    let mut known: Vec<CommonInput> = Vec::new();
    let mut dimensions = 0;
    let mut all = Vec::new();
    for drawing in drawings {
        let inputs = drawing.inputs.list();
        let mut taken = vec![false; known.len()];
        let mut places: Vec<Option<usize>> = vec![None; inputs.len()];
        let by_subject =
            |input: &Input, known: &CommonInput| input.subject.is_some() && input.subject.as_ref() == known.subject;
        let by_label = |input: &Input, known: &CommonInput| input.label == known.label;
        for is_same in [&by_subject as &dyn Fn(&Input, &CommonInput) -> bool, &by_label] {
            for (input, place) in inputs.iter().zip(&mut places).filter(|(_, place)| place.is_none()) {
                let fits = |i: &usize| {
                    !taken[*i] && known[*i].coordinates.len() == input.coordinates().len() && is_same(input, &known[*i])
                };
                *place = (0..taken.len()).find(fits);
                place.iter().for_each(|i| taken[*i] = true);
            }
        }
        let mut own = Vec::new();
        for (input, place) in inputs.iter().zip(places) {
            let range = match place {
                Some(place) => known[place].coordinates.clone(),
                None => {
                    let coordinates = dimensions..dimensions + input.coordinates().len();
                    dimensions = coordinates.end;
                    let (subject, label) = (input.subject.as_ref(), input.label.as_str());
                    known.push(CommonInput { subject, label, coordinates: coordinates.clone() });
                    coordinates
                }
            };
            own.extend(range);
        }
        all.push(own);
    }
    (all, dimensions)
}

/// Draws in which a scrub has a lower or a higher index than the first.
#[derive(Debug, Clone, Copy, Default)]
struct ApartCounts {
    milder: usize,
    harsher: usize,
}

/// In how many of `draws` points each scrub has another index than the first.
fn counts(
    drawings: &[Drawing],
    columns: &[Vec<usize>],
    dimensions: usize,
    draws: usize,
    sequence: impl Fn(usize) -> (u64, usize),
) -> Vec<ApartCounts> {
    let mut rubbers: Vec<_> = drawings.iter().map(|d| d.rubber(Vary::All)).collect();
    let mut common = vec![0.0; BLOCK * dimensions];
    let mut points: Vec<Vec<f64>> = columns.iter().map(|c| vec![0.0; BLOCK * c.len()]).collect();
    let mut indices = vec![[0.0; BLOCK]; drawings.len()];
    let mut counts = vec![ApartCounts::default(); drawings.len()];
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
            for (own, first) in indices[scrub].iter().zip(&indices[0]).take(count) {
                counted.milder += usize::from(*own < first * (1.0 - SAME_INDEX));
                counted.harsher += usize::from(own * (1.0 - SAME_INDEX) > *first);
            }
        }
    }
    counts
}
