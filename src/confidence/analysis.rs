//! How sure index, groove ratios and band are, and what holds the variance.

use super::draws::{BLOCK, Drawing};
use super::inputs::{Input, Inputs, Measures, Vary};
use super::measuring::{Measurement, measurement};
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
    /// What a verdict is drawn with wherever nothing else is asked for: enough draws for a whole per cent.
    pub const VERDICT: Self = Self { draws: 4_096, seed: 1 };
    /// Enough draws to tell what is far from a share.
    pub const FEW: Self = Self { draws: 512, seed: 1 };
    /// As many draws as a verdict has that had no part in finding what is judged.
    pub const FRESH: Self = Self { draws: 4_096, seed: 0x5eed };

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
    /// Probability of each rank or a milder one.
    pub at_most: Vec<Estimate>,
    /// Places at equal steps of ln index, and the share of the draws per unit of ln.
    pub density: Vec<(f64, f64)>,
}

/// What an input holds of the variance.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// The input.
    pub input: String,
    /// Of ln index.
    pub of_index: Indices,
    /// Of the band (of its rank).
    pub of_band: Indices,
    /// What a maker can measure of it; `None` for what nobody can.
    pub measures: Option<Measures>,
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
    let inputs = Inputs::new(scrub, tables, judge.model().reference_position());
    let groups = groups(&inputs, |i| i.moves_index).len() + groups(&inputs, |i| i.moves_band).len();
    sampling.draws + 3 * sampling.in_part() + SCRAMBLES as u64 * sampling.points() * (groups as u64 + 2 * 2)
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
    let skins = outcome(Vary::Skins, sampling.in_part());
    let nothing = Share { input: ALL_POWDERS.into(), of_index: NOTHING, of_band: NOTHING, measures: None };
    let drawn = Confidence {
        sampling,
        all,
        powders,
        skin_and_model,
        skins,
        variance: Vec::new(),
        variance_of_powders: nothing,
        measurements: Vec::new(),
    };
    if drawn.hardly_rubs() {
        return drawn;
    }
    let (variance, variance_of_powders) = variance(&drawing, sampling, &done);
    let fewer = Sampling { draws: sampling.draws.min(Sampling::VERDICT.draws), ..sampling };
    let worth = variance.iter().filter(|s| s.of_band.total.value >= WORTH_MEASURING).filter_map(|s| s.measures);
    let measurements = worth.take(MOST_MEASUREMENTS).filter_map(|m| measurement(scrub, judge, tables, m, fewer));
    Confidence { measurements: measurements.collect(), variance, variance_of_powders, ..drawn }
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
        count(drawing, vary, of_scramble(draws, scramble), (seed, scramble), (sites, bands), done)
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
    let probability = |ranks: std::ops::RangeInclusive<usize>| {
        let among = |s: &Counts| s.bands[ranks.clone()].iter().sum::<u64>();
        let share = |s: &Counts| among(s) as f64 / s.bands.iter().sum::<u64>() as f64;
        let whole = scrambles.iter().map(among).sum::<u64>() as f64 / draws as f64;
        Estimate::new(whole, &scrambles.iter().map(share).collect::<Vec<_>>())
    };
    Outcome {
        index,
        ratios: (0..sites).map(|i| interval(&|s| &s.ratios[i]).0).collect(),
        bands: (0..bands).map(|rank| probability(rank..=rank)).collect(),
        at_most: (0..bands).map(|rank| probability(0..=rank)).collect(),
        density: if ends[1] > ends[0] { tally.density(ends[0] / 1.1, ends[1] * 1.1, PLACES) } else { Vec::new() },
    }
}

/// How many of all draws one scramble makes.
fn of_scramble(draws: u64, scramble: usize) -> usize {
    let (scramble, scrambles) = (scramble as u64, SCRAMBLES as u64);
    (draws / scrambles + u64::from(scramble < draws % scrambles)) as usize
}

/// Draws one scramble for rank and index alone.
pub(super) fn verdicts(drawing: &Drawing, sampling: Sampling, scramble: usize, mut each: impl FnMut(usize, f64)) {
    let own = of_scramble(sampling.draws, scramble);
    let mut rubber = drawing.rubber(Vary::All);
    at_points(drawing, own, (sampling.seed, scramble), |points| rubber.verdicts(points, &mut each), &|_| {});
}

/// Every point of all scrambles, up to [`BLOCK`] at a time.
pub(crate) fn at_all_points(drawing: &Drawing, sampling: Sampling, mut block: impl FnMut(&[f64])) {
    for scramble in 0..SCRAMBLES {
        let own = of_scramble(sampling.draws, scramble);
        at_points(drawing, own, (sampling.seed, scramble), &mut block, &|_| {});
    }
}

/// The points of a scramble, as many sequences as it takes, up to [`BLOCK`] at a time.
fn at_points(
    drawing: &Drawing,
    draws: usize,
    (seed, scramble): (u64, usize),
    mut block: impl FnMut(&[f64]),
    done: &impl Fn(u64),
) {
    let dimensions = drawing.inputs.dimensions();
    let mut points = vec![0.0; BLOCK * dimensions];
    for start in (0..draws).step_by(STRIDE) {
        let sequence = Sequence::new(seed, scramble + SCRAMBLES * (start / LONGEST));
        let stride = STRIDE.min(draws - start);
        for i in (start..start + stride).step_by(BLOCK) {
            let points = &mut points[..BLOCK.min(start + stride - i) * dimensions];
            let own = points.chunks_exact_mut(dimensions).enumerate();
            own.for_each(|(k, point)| sequence.point((i + k) % LONGEST, point));
            block(points);
        }
        done(stride as u64);
    }
}

/// Counts one scramble.
fn count(
    drawing: &Drawing,
    vary: Vary,
    draws: usize,
    scramble: (u64, usize),
    (sites, bands): (usize, usize),
    done: &impl Fn(u64),
) -> Counts {
    let mut counts = Counts { index: Tally::default(), ratios: vec![Tally::default(); sites], bands: vec![0; bands] };
    let mut rubber = drawing.rubber(vary);
    let add = |points: &[f64]| {
        for figures in rubber.figures(points) {
            counts.index.add(figures.index);
            counts.ratios.iter_mut().zip(&figures.groove_ratios).for_each(|(tally, ratio)| tally.add(*ratio));
            counts.bands[figures.rank] += 1;
        }
    };
    at_points(drawing, draws, scramble, add, done);
    counts
}

/// Coordinates of every input that moves something, and of all of these together that can be measured.
fn groups(inputs: &Inputs, moves: impl Fn(&Input) -> bool) -> Vec<Vec<usize>> {
    let moving = || inputs.list().iter().filter(|i| moves(i));
    let powders = moving().filter(|i| i.is_measurable()).flat_map(Input::coordinates).collect();
    moving().map(|i| i.coordinates().collect()).chain([powders]).collect()
}

/// What every input holds of the variance of ln index and of the band, and what all powders do.
fn variance(drawing: &Drawing, sampling: Sampling, done: &(impl Fn(u64) + Sync + Send)) -> (Vec<Share>, Share) {
    let inputs = &drawing.inputs;
    let dimensions = inputs.dimensions();
    let ln_index = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            rubber.indices(points, values);
            values.iter_mut().for_each(|v| *v = v.max(LEAST_INDEX).ln());
        }
    };
    let rank = || {
        let mut rubber = drawing.rubber(Vary::All);
        move |points: &[f64], values: &mut [f64]| {
            for (points, values) in points.chunks(BLOCK * dimensions).zip(values.chunks_mut(BLOCK)) {
                let mut values = values.iter_mut();
                rubber.verdicts(points, |rank, _| values.by_ref().take(1).for_each(|v| *v = rank as f64));
            }
        }
    };
    let (points, seed) = (sampling.points() as usize, sampling.seed);
    let of_index = indices(dimensions, &groups(inputs, |i| i.moves_index), points, seed, ln_index, done);
    let of_band = indices(dimensions, &groups(inputs, |i| i.moves_band), points, seed, rank, done);
    let (mut of_index, mut of_band) = (of_index.into_iter(), of_band.into_iter());
    // Either list holds what moves something, in the order of the inputs, and the powders at its end.
    let mut share = |input: String, moves: [bool; 2], measures| Share {
        input,
        of_index: if moves[0] { of_index.next().unwrap_or(NOTHING) } else { NOTHING },
        of_band: if moves[1] { of_band.next().unwrap_or(NOTHING) } else { NOTHING },
        measures,
    };
    let each = inputs.list().iter().map(|i| share(i.label.clone(), [i.moves_index, i.moves_band], i.measures));
    let mut shares: Vec<Share> = each.collect();
    let powders = share(ALL_POWDERS.into(), [true; 2], None);
    let weight = |s: &Share| (s.of_band.total.value, s.of_index.total.value);
    shares.sort_by(|a, b| weight(b).0.total_cmp(&weight(a).0).then(weight(b).1.total_cmp(&weight(a).1)));
    (shares, powders)
}
