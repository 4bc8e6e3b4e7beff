//! How many draws, and where they lie: scrambles of a Sobol sequence, each counted on its own.

use super::draws::{BLOCK, Drawing};
use super::inputs::Vary;
use crate::numerics::quasi::{LONGEST, Sequence};
use crate::numerics::sensitivity::SCRAMBLES;

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

    /// As many draws, or as few as another sampling makes.
    pub(super) fn at_most(self, other: Self) -> Self {
        Self { draws: self.draws.min(other.draws), ..self }
    }

    /// The draws.
    pub fn draws(&self) -> u64 {
        self.draws
    }

    /// The seed.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    pub(super) fn in_part(&self) -> u64 {
        self.draws / FEWER_IN_PART
    }

    pub(super) fn points(&self) -> u64 {
        (self.draws / DRAWS_PER_POINT).clamp(POINTS.0, POINTS.1)
    }
}

/// How many of all draws one scramble makes.
pub(super) fn of_scramble(draws: u64, scramble: usize) -> usize {
    let (scramble, scrambles) = (scramble as u64, SCRAMBLES as u64);
    (draws / scrambles + u64::from(scramble < draws % scrambles)) as usize
}

/// Draws one scramble for rank and index alone.
pub(super) fn verdicts(drawing: &Drawing, sampling: Sampling, scramble: usize, mut each: impl FnMut(usize, f64)) {
    let own = of_scramble(sampling.draws, scramble);
    let mut rubber = drawing.rubber(Vary::All);
    at_points(drawing, own, (sampling.seed, scramble), |points| rubber.verdicts(points, &mut each), &|_| true);
}

/// Every point of all scrambles, up to [`BLOCK`] at a time.
pub(crate) fn at_all_points(drawing: &Drawing, sampling: Sampling, mut block: impl FnMut(&[f64])) {
    for scramble in 0..SCRAMBLES {
        let own = of_scramble(sampling.draws, scramble);
        at_points(drawing, own, (sampling.seed, scramble), &mut block, &|_| true);
    }
}

/// The points of a scramble, as many sequences as it takes, up to [`BLOCK`] at a time. Whether `done` let it come to its end.
pub(super) fn at_points(
    drawing: &Drawing,
    draws: usize,
    (seed, scramble): (u64, usize),
    mut block: impl FnMut(&[f64]),
    done: &impl Fn(u64) -> bool,
) -> bool {
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
        if !done(stride as u64) {
            return false;
        }
    }
    true
}
