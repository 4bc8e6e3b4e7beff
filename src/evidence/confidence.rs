//! How sure index, groove ratios and band are, and what holds the variance.

use super::draws::{BLOCK, Drawing};
use super::inputs::{Inputs, Vary};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::quasi::{LONGEST, Sequence};
use crate::numerics::sensitivity::{Estimate, Indices, SCRAMBLES, indices};
use crate::numerics::tally::Tally;
use crate::tables::Tables;

/// Fewest draws: 50 of them then lie in a tail of 5 %.
pub const FEWEST_DRAWS: u64 = 1_000;
/// Most draws: some minutes, and errors far below what the ranges themselves are worth.
pub const MOST_DRAWS: u64 = 100_000_000;
/// Draws when none are asked for.
pub const DEFAULT_DRAWS: u64 = 32_768;

/// Of the draws, how many are made once more with a part of the inputs only, and how many points of a scramble go into the shares
/// of the variance.
const FEWER_IN_PART: u64 = 4;
const DRAWS_PER_POINT: u64 = 128;
const POINTS: (u64, u64) = (128, 4096);

/// Draws between two words of progress.
const STRIDE: usize = 1024;

/// An index under this is next to nothing; its logarithm is taken as that of this.
const LEAST_INDEX: f64 = 0.01;

/// What can be wrong with a call.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ConfidenceError {
    /// Too few draws, or too many.
    #[error(
        "{0} draws; take {FEWEST_DRAWS} to {MOST_DRAWS} (fewer leave the 5 % tails to chance, more take minutes and tell nothing \
         that the ranges are worth)"
    )]
    Draws(u64),
}

/// How many draws, and the seed of the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sampling {
    draws: u64,
    seed: u64,
}

impl Sampling {
    /// # Errors
    /// [`ConfidenceError::Draws`] when they are not between [`FEWEST_DRAWS`] and [`MOST_DRAWS`].
    pub fn new(draws: u64, seed: u64) -> Result<Self, ConfidenceError> {
        if (FEWEST_DRAWS..=MOST_DRAWS).contains(&draws) {
            Ok(Self { draws, seed })
        } else {
            Err(ConfidenceError::Draws(draws))
        }
    }

    /// The draws.
    pub fn draws(&self) -> u64 {
        self.draws
    }

    /// The seed.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    fn in_part(&self) -> u64 {
        self.draws / FEWER_IN_PART
    }

    fn points(&self) -> u64 {
        (self.draws / DRAWS_PER_POINT).clamp(POINTS.0, POINTS.1)
    }
}

/// 5, 50 and 95 % of the draws, each with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// 5 % of the draws are lower.
    pub p5: Estimate,
    /// Half of the draws are lower.
    pub p50: Estimate,
    /// 5 % of the draws are higher.
    pub p95: Estimate,
}

/// What the draws come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Abrasiveness index.
    pub index: Interval,
    /// Groove ratio at each site.
    pub ratios: Vec<Interval>,
    /// Probability (0..1) of each rank, mild to harsh, the last one being what no band allows.
    pub bands: Vec<Estimate>,
    /// Places at equal steps of ln index, and the share of the draws per unit of ln.
    pub density: Vec<(f64, f64)>,
}

/// Share of the variance of ln index that an input holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// The input.
    pub input: String,
    /// By itself, 0..1.
    pub first_order: Estimate,
    /// With all its interactions.
    pub total: Estimate,
    /// What to do about it; `None` for what nobody can measure.
    pub advice: Option<String>,
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
    /// Shares of the variance of ln index, the largest total first.
    pub variance: Vec<Share>,
    /// The share of all powders together.
    pub variance_of_powders: Share,
    /// Share of the variance of the band's rank that goes, on the mean, once all powders are known exactly, 0..1.
    pub band_from_powders: Estimate,
}

impl Confidence {
    /// Whether grains touch in next to no draw: there is then no spread of the index to speak of.
    pub fn hardly_rubs(&self) -> bool {
        self.all.index.p95.value < LEAST_INDEX
    }
}

/// Places of the density.
const PLACES: usize = 80;

/// Evaluations of the model that [`confidence`] makes at most: what its `done` adds up to.
pub fn evaluations(scrub: &Scrub, judge: &Judge, tables: &Tables, sampling: Sampling) -> u64 {
    let groups = groups(&Inputs::new(scrub, tables, judge.model().reference_position())).len() as u64;
    sampling.draws + 2 * sampling.in_part() + SCRAMBLES as u64 * sampling.points() * (groups + 2 + 3)
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
    let outcome = |vary, draws| outcome(&drawing, judge, vary, draws, sampling.seed, &done);
    let all = outcome(Vary::All, sampling.draws);
    let powders = outcome(Vary::Powders, sampling.in_part());
    let skin_and_model = outcome(Vary::SkinAndModel, sampling.in_part());
    let none = Estimate { value: 0.0, error: 0.0 };
    let variance_of_powders = Share { input: "all powders".into(), first_order: none, total: none, advice: None };
    let drawn = Confidence {
        sampling,
        all,
        powders,
        skin_and_model,
        variance: Vec::new(),
        variance_of_powders,
        band_from_powders: none,
    };
    if drawn.hardly_rubs() {
        return drawn;
    }
    let (variance, powders) = variance(&drawing, sampling, &done);
    let variance_of_powders =
        Share { first_order: powders.first_order, total: powders.total, ..drawn.variance_of_powders.clone() };
    Confidence {
        variance,
        variance_of_powders,
        band_from_powders: band_from_powders_of(&drawing, sampling, &done),
        ..drawn
    }
}

/// Counts of one scramble.
struct Counts {
    index: Tally,
    ratios: Vec<Tally>,
    bands: Vec<u64>,
}

fn outcome(
    drawing: &Drawing,
    judge: &Judge,
    vary: Vary,
    draws: u64,
    seed: u64,
    done: &(impl Fn(u64) + Sync + Send),
) -> Outcome {
    let (sites, bands) = (judge.model().sites().len(), judge.bands().len() + 1);
    let scrambles = in_order(SCRAMBLES, |scramble| {
        let own = draws / SCRAMBLES as u64 + u64::from((scramble as u64) < draws % SCRAMBLES as u64);
        count(drawing, vary, own as usize, (seed, scramble), (sites, bands), done)
    });
    let interval = |of: &dyn Fn(&Counts) -> &Tally| {
        let mut whole = Tally::default();
        scrambles.iter().for_each(|s| whole.merge(of(s)));
        let quantile = |p: f64| {
            let each: Vec<f64> = scrambles.iter().map(|s| of(s).quantile(p)).collect();
            Estimate::new(whole.quantile(p), &each)
        };
        (Interval { p5: quantile(0.05), p50: quantile(0.5), p95: quantile(0.95) }, whole)
    };
    let (index, tally) = interval(&|s| &s.index);
    let ends = [0.001, 0.999].map(|p| tally.quantile(p).max(LEAST_INDEX));
    let probability = |rank: usize| {
        let share = |s: &Counts| s.bands[rank] as f64 / s.bands.iter().sum::<u64>() as f64;
        let whole = scrambles.iter().map(|s| s.bands[rank]).sum::<u64>() as f64 / draws as f64;
        Estimate::new(whole, &scrambles.iter().map(share).collect::<Vec<_>>())
    };
    Outcome {
        index,
        ratios: (0..sites).map(|i| interval(&|s| &s.ratios[i]).0).collect(),
        bands: (0..bands).map(probability).collect(),
        density: if ends[1] > ends[0] { tally.density(ends[0] / 1.1, ends[1] * 1.1, PLACES) } else { Vec::new() },
    }
}

/// Draws one scramble: as many sequences as it takes.
fn count(
    drawing: &Drawing,
    vary: Vary,
    draws: usize,
    (seed, scramble): (u64, usize),
    (sites, bands): (usize, usize),
    done: &impl Fn(u64),
) -> Counts {
    let mut counts = Counts { index: Tally::default(), ratios: vec![Tally::default(); sites], bands: vec![0; bands] };
    let mut rubber = drawing.rubber(vary);
    let dimensions = drawing.inputs.dimensions();
    let mut points = vec![0.0; BLOCK * dimensions];
    for start in (0..draws).step_by(STRIDE) {
        let sequence = Sequence::new(seed, scramble + SCRAMBLES * (start / LONGEST));
        let stride = STRIDE.min(draws - start);
        for i in (start..start + stride).step_by(BLOCK) {
            let points = &mut points[..BLOCK.min(start + stride - i) * dimensions];
            let each = points.chunks_exact_mut(dimensions).enumerate();
            each.for_each(|(k, point)| sequence.point((i + k) % LONGEST, point));
            for figures in rubber.figures(points) {
                counts.index.add(figures.index);
                counts.ratios.iter_mut().zip(&figures.groove_ratios).for_each(|(tally, ratio)| tally.add(*ratio));
                counts.bands[figures.rank] += 1;
            }
        }
        done(stride as u64);
    }
    counts
}

/// Coordinates of all that can be measured of the powders.
fn measurable(inputs: &Inputs) -> Vec<usize> {
    inputs.list().iter().filter(|i| i.moves_index && i.is_measurable()).flat_map(|i| i.coordinates()).collect()
}

/// Coordinates of every input that moves the index, and of all powders together.
fn groups(inputs: &Inputs) -> Vec<Vec<usize>> {
    let moving = || inputs.list().iter().filter(|i| i.moves_index);
    let powders = measurable(inputs);
    moving().map(|i| i.coordinates().collect()).chain([powders]).collect()
}

fn variance(drawing: &Drawing, sampling: Sampling, done: &(impl Fn(u64) + Sync + Send)) -> (Vec<Share>, Indices) {
    let inputs = &drawing.inputs;
    let ln_index = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            rubber.indices(points, values);
            values.iter_mut().for_each(|v| *v = v.max(LEAST_INDEX).ln());
        }
    };
    let groups = groups(inputs);
    let mut found = indices(inputs.dimensions(), &groups, sampling.points() as usize, sampling.seed, ln_index, done);
    let none = Estimate { value: 0.0, error: 0.0 };
    let powders = found.pop().unwrap_or(Indices { first_order: none, total: none });
    let moving = inputs.list().iter().filter(|i| i.moves_index);
    let mut shares: Vec<Share> = moving
        .zip(found)
        .map(|(input, i)| Share {
            input: input.label.clone(),
            first_order: i.first_order,
            total: i.total,
            advice: input.advice.clone(),
        })
        .collect();
    shares.sort_by(|a, b| b.total.value.total_cmp(&a.total.value));
    (shares, powders)
}

/// What the powders tell of the band: the index may hang on other inputs than the criterion that decides.
fn band_from_powders_of(drawing: &Drawing, sampling: Sampling, done: &(impl Fn(u64) + Sync + Send)) -> Estimate {
    let dimensions = drawing.inputs.dimensions();
    let rank = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            for (points, values) in points.chunks(BLOCK * dimensions).zip(values.chunks_mut(BLOCK)) {
                values.iter_mut().zip(rubber.figures(points)).for_each(|(v, f)| *v = f.rank as f64);
            }
        }
    };
    let powders = [measurable(&drawing.inputs)];
    let points = sampling.points() as usize;
    let found = indices(dimensions, &powders, points, sampling.seed, rank, done);
    found[0].first_order
}
