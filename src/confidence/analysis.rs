//! How sure index, groove ratios and band are, and what holds the variance.

use super::bought::{self, Bought};
use super::draws::Drawing;
use super::inputs::{Inputs, Measures, Vary};
use super::measuring::{Measurement, measurement};
use super::outcome::{LEAST_INDEX, Outcome, outcome};
use super::sampling::Sampling;
use super::variance::{ALL_POWDERS, NOTHING, Share, groups, variance};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::sensitivity::SCRAMBLES;
use crate::tables::Tables;

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
    let runs = groups + 2 * 2 + bought::count(scrub, &inputs) * 2 * (1 + 2);
    sampling.draws() + 3 * sampling.in_part() + SCRAMBLES as u64 * sampling.points() * runs as u64
}

/// Draws a scrub, skin and model over all their ranges. `done` hears of every so many evaluations, from any thread, and says
/// whether to go on: `None` where it says no. The result does not depend on the number of threads.
pub fn confidence(
    scrub: &Scrub,
    judge: &Judge,
    tables: &Tables,
    sampling: Sampling,
    done: impl Fn(u64) -> bool + Sync + Send,
) -> Option<Confidence> {
    let inputs = Inputs::new(scrub, tables, judge.model().reference_position());
    let drawing = Drawing::new(judge, scrub, inputs);
    let outcome = |vary, draws| outcome(&drawing, judge, vary, draws, sampling.seed(), &done);
    let all = outcome(Vary::All, sampling.draws())?;
    let powders = outcome(Vary::Powders, sampling.in_part())?;
    let skin_and_model = outcome(Vary::SkinAndModel, sampling.in_part())?;
    let skins = outcome(Vary::Skins, sampling.in_part())?;
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
        return Some(drawn);
    }
    let (variance, variance_of_powders) = variance(&drawing, sampling, &done)?;
    let fewer = sampling.at_most(Sampling::VERDICT);
    let mut worth: Vec<Measures> = Vec::new();
    for share in variance.iter().filter(|s| s.of_band.total.value >= WORTH_MEASURING) {
        // What a sieve leaves is measured in one: its sizes, and how sharply it cut.
        worth.extend(share.measures.filter(|measures| !worth.contains(measures)));
    }
    let mut measurements = Vec::new();
    for measures in worth.into_iter().take(MOST_MEASUREMENTS) {
        measurements.extend(measurement(scrub, judge, tables, measures, fewer));
        // Its draws are none of those that are counted.
        if !done(0) {
            return None;
        }
    }
    let bought = bought::bought(scrub, judge, tables, sampling, &variance, &done);
    done(0).then_some(Confidence { measurements, bought, variance, variance_of_powders, ..drawn })
}

/// Share of the variance of the band that makes a measurement worth telling, and how many are told.
const WORTH_MEASURING: f64 = 0.05;
const MOST_MEASUREMENTS: usize = 2;
