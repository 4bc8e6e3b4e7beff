//! What holds the variance of index and band: each input, all powders together, or one input of a scrub as it stood before.

use super::draws::{BLOCK, Drawing};
use super::inputs::{Input, Inputs, Measures, Vary};
use super::outcome::LEAST_INDEX;
use super::sampling::Sampling;
use crate::numerics::sensitivity::{Estimate, Indices, indices};
use serde::{Serialize, Serializer};

/// What an input holds of the variance. In JSON `first_order` and `total` are of ln index; those of the band have `band_` before them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// The input.
    pub input: String,
    /// Of ln index.
    #[serde(flatten, serialize_with = "keyed")]
    pub of_index: Indices,
    /// Of the band (of its rank).
    #[serde(flatten, serialize_with = "keyed_band")]
    pub of_band: Indices,
    /// What a maker would measure of it; `None` for what nobody can, and for several together.
    #[serde(skip)]
    pub measures: Option<Measures>,
    /// Whether a maker can measure it.
    pub measurable: bool,
}

fn keyed<S: Serializer>(indices: &Indices, serializer: S) -> Result<S::Ok, S::Error> {
    indices.keyed("", serializer)
}

fn keyed_band<S: Serializer>(indices: &Indices, serializer: S) -> Result<S::Ok, S::Error> {
    indices.keyed("band_", serializer)
}

/// What all powders together are called.
pub(super) const ALL_POWDERS: &str = "all powders";

/// No share of any variance.
pub(super) const NOTHING: Indices = {
    let none = Estimate { value: 0.0, error: 0.0 };
    Indices { first_order: none, total: none }
};

/// Coordinates of every input that moves something, and of all of these together that can be measured.
pub(super) fn groups(inputs: &Inputs, moves: impl Fn(&Input) -> bool) -> Vec<Vec<usize>> {
    let moving = || inputs.list().iter().filter(|i| moves(i));
    let powders = moving().filter(|i| i.is_measurable()).flat_map(Input::coordinates).collect();
    moving().map(|i| i.coordinates().collect()).chain([powders]).collect()
}

/// What groups of inputs hold of the variance of ln index.
fn of_index(
    drawing: &Drawing,
    groups: &[Vec<usize>],
    sampling: Sampling,
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Option<Vec<Indices>> {
    let ln_index = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            rubber.indices(points, values);
            values.iter_mut().for_each(|v| *v = v.max(LEAST_INDEX).ln());
        }
    };
    indices(drawing.inputs.dimensions(), groups, sampling.points() as usize, sampling.seed(), ln_index, done)
}

/// The same of the band, by its rank.
fn of_band(
    drawing: &Drawing,
    groups: &[Vec<usize>],
    sampling: Sampling,
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Option<Vec<Indices>> {
    let dimensions = drawing.inputs.dimensions();
    let rank = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            for (points, values) in points.chunks(BLOCK * dimensions).zip(values.chunks_mut(BLOCK)) {
                let mut values = values.iter_mut();
                rubber.verdicts(points, |rank, _| values.by_ref().take(1).for_each(|v| *v = rank as f64));
            }
        }
    };
    indices(dimensions, groups, sampling.points() as usize, sampling.seed(), rank, done)
}

/// What one input alone holds; none where it is not drawn.
pub(super) fn share_of(
    drawing: &Drawing,
    measures: Measures,
    sampling: Sampling,
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Option<Share> {
    let input = drawing.inputs.list().iter().find(|i| i.is_told_by(measures))?;
    let group = [input.coordinates().collect()];
    Some(Share {
        input: input.label.clone(),
        of_index: of_index(drawing, &group, sampling, done)?.pop()?,
        of_band: of_band(drawing, &group, sampling, done)?.pop()?,
        measures: input.measures,
        measurable: true,
    })
}

/// What every input holds of the variance of ln index and of the band, and what all powders do; `None` where `done` stops it.
pub(super) fn variance(
    drawing: &Drawing,
    sampling: Sampling,
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Option<(Vec<Share>, Share)> {
    let inputs = &drawing.inputs;
    let mut of_index = of_index(drawing, &groups(inputs, |i| i.moves_index), sampling, done)?.into_iter();
    let mut of_band = of_band(drawing, &groups(inputs, |i| i.moves_band), sampling, done)?.into_iter();
    // Either list holds what moves something, in the order of the inputs, and the powders at its end.
    let mut share = |input: String, moves: [bool; 2], measures| Share {
        input,
        of_index: if moves[0] { of_index.next().unwrap_or(NOTHING) } else { NOTHING },
        of_band: if moves[1] { of_band.next().unwrap_or(NOTHING) } else { NOTHING },
        measures,
        measurable: measures.is_some(),
    };
    let each = inputs.list().iter().map(|i| share(i.label.clone(), [i.moves_index, i.moves_band], i.measures));
    let mut shares: Vec<Share> = each.collect();
    let powders = Share { measurable: true, ..share(ALL_POWDERS.into(), [true; 2], None) };
    let weight = |s: &Share| (s.of_band.total.value, s.of_index.total.value);
    shares.sort_by(|a, b| weight(b).0.total_cmp(&weight(a).0).then(weight(b).1.total_cmp(&weight(a).1)));
    Some((shares, powders))
}
