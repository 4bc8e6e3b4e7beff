//! How sure index, groove ratios and band are, and what holds the variance.

use super::bought::{self, Bought};
use super::draws::{BLOCK, Drawing};
use super::inputs::{Input, Inputs, Measures, Vary};
use super::measuring::{Measurement, measurement};
use super::outcome::{LEAST_INDEX, Outcome, outcome};
use super::sampling::Sampling;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::sensitivity::{Estimate, Indices, SCRAMBLES, indices};
use crate::tables::Tables;
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

/// How sure a verdict is.
#[derive(Debug, Clone, PartialEq)]
pub struct Confidence {
    /// What was asked for.
    pub sampling: Sampling,
    /// With everything drawn.
    pub all: Outcome,
    /// With the powders drawn, skin and model as stated: what a maker can measure.
    pub powders: Outcome,
    /// With skin and model drawn, the powders as stated: what nobody knows.
    pub skin_and_model: Outcome,
    /// On the skin of different people, against the limits as stated; powders and model as stated.
    pub skins: Outcome,
    /// What each input holds of the variance, first what holds most of the band's, then of that of ln index.
    pub variance: Vec<Share>,
    /// What all powders hold together.
    pub variance_of_powders: Share,
    /// What measuring would find, of the properties that hold most of the band's variance.
    pub measurements: Vec<Measurement>,
    /// What measuring has done already, of roundnesses that the scrub's file gives the source of.
    pub bought: Vec<Bought>,
}

impl Confidence {
    /// Whether grains touch in next to no draw: there is then no spread of the index to speak of.
    pub fn hardly_rubs(&self) -> bool {
        self.all.index.p95.value < LEAST_INDEX
    }
}

/// Evaluations of the model that [`confidence`] makes at most: what its `done` adds up to.
pub fn evaluations(scrub: &Scrub, judge: &Judge, tables: &Tables, sampling: Sampling) -> u64 {
    let inputs = Inputs::new(scrub, tables, judge.model().reference_position());
    let groups = groups(&inputs, |i| i.moves_index).len() + groups(&inputs, |i| i.moves_band).len();
    // Each group is one run more than the two that all have in common, for the index and for the band.
    let runs = groups + 2 * 2 + bought::count(scrub) * 2 * (1 + 2);
    sampling.draws() + 3 * sampling.in_part() + SCRAMBLES as u64 * sampling.points() * runs as u64
}

/// Draws a scrub, skin and model over all their ranges. `done` hears of every so many evaluations, from any thread. The result does
/// not depend on the number of threads.
pub fn confidence(
    scrub: &Scrub,
    judge: &Judge,
    tables: &Tables,
    sampling: Sampling,
    done: impl Fn(u64) + Sync + Send,
) -> Confidence {
    let inputs = Inputs::new(scrub, tables, judge.model().reference_position());
    let drawing = Drawing::new(judge, scrub, inputs);
    let outcome = |vary, draws| outcome(&drawing, judge, vary, draws, sampling.seed(), &done);
    let all = outcome(Vary::All, sampling.draws());
    let powders = outcome(Vary::Powders, sampling.in_part());
    let skin_and_model = outcome(Vary::SkinAndModel, sampling.in_part());
    let skins = outcome(Vary::Skins, sampling.in_part());
    let (of_index, of_band) = (NOTHING, NOTHING);
    let nothing = Share { input: ALL_POWDERS.into(), of_index, of_band, measures: None, measurable: true };
    let drawn = Confidence {
        sampling,
        all,
        powders,
        skin_and_model,
        skins,
        variance: Vec::new(),
        variance_of_powders: nothing,
        measurements: Vec::new(),
        bought: Vec::new(),
    };
    if drawn.hardly_rubs() {
        return drawn;
    }
    let (variance, variance_of_powders) = variance(&drawing, sampling, &done);
    let fewer = sampling.at_most(Sampling::VERDICT);
    let mut worth: Vec<Measures> = Vec::new();
    for share in variance.iter().filter(|s| s.of_band.total.value >= WORTH_MEASURING) {
        // What a sieve leaves is measured in one: its sizes, and how sharply it cut.
        worth.extend(share.measures.filter(|measures| !worth.contains(measures)));
    }
    let measurements =
        worth.into_iter().take(MOST_MEASUREMENTS).filter_map(|m| measurement(scrub, judge, tables, m, fewer));
    let bought = bought::bought(scrub, judge, tables, sampling, &variance, &done);
    Confidence { measurements: measurements.collect(), bought, variance, variance_of_powders, ..drawn }
}

/// Share of the variance of the band that makes a measurement worth telling, and how many are told.
const WORTH_MEASURING: f64 = 0.05;
const MOST_MEASUREMENTS: usize = 2;

/// What all powders together are called.
const ALL_POWDERS: &str = "all powders";

/// No share of any variance.
const NOTHING: Indices = {
    let none = Estimate { value: 0.0, error: 0.0 };
    Indices { first_order: none, total: none }
};

/// Coordinates of every input that moves something, and of all of these together that can be measured.
fn groups(inputs: &Inputs, moves: impl Fn(&Input) -> bool) -> Vec<Vec<usize>> {
    let moving = || inputs.list().iter().filter(|i| moves(i));
    let powders = moving().filter(|i| i.is_measurable()).flat_map(Input::coordinates).collect();
    moving().map(|i| i.coordinates().collect()).chain([powders]).collect()
}

/// What groups of inputs hold of the variance of ln index.
fn of_index(
    drawing: &Drawing,
    groups: &[Vec<usize>],
    sampling: Sampling,
    done: &(impl Fn(u64) + Sync + Send),
) -> Vec<Indices> {
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
    done: &(impl Fn(u64) + Sync + Send),
) -> Vec<Indices> {
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
    done: &(impl Fn(u64) + Sync + Send),
) -> Option<Share> {
    let input = drawing.inputs.list().iter().find(|i| i.measures == Some(measures))?;
    let group = [input.coordinates().collect()];
    Some(Share {
        input: input.label.clone(),
        of_index: of_index(drawing, &group, sampling, done).pop()?,
        of_band: of_band(drawing, &group, sampling, done).pop()?,
        measures: input.measures,
        measurable: true,
    })
}

/// What every input holds of the variance of ln index and of the band, and what all powders do.
fn variance(drawing: &Drawing, sampling: Sampling, done: &(impl Fn(u64) + Sync + Send)) -> (Vec<Share>, Share) {
    let inputs = &drawing.inputs;
    let mut of_index = of_index(drawing, &groups(inputs, |i| i.moves_index), sampling, done).into_iter();
    let mut of_band = of_band(drawing, &groups(inputs, |i| i.moves_band), sampling, done).into_iter();
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
    (shares, powders)
}
