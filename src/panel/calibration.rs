//! From the index to the score that a panel would give, and back.

use super::{CONFIDENCE, ScoreScale};
use crate::numerics::ordinal::CumulativeLogit;
use crate::numerics::roots::brent;
use crate::numerics::student;

/// What a panel has taught: which score goes with which index.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The table of scores, as it was named.
    pub source: String,
    /// The scale.
    pub scale: ScoreScale,
    /// Least and largest index that was scored.
    pub index_range: (f64, f64),
    /// How many scrubs were scored.
    pub scrubs: usize,
    /// How many panellists scored.
    pub panellists: usize,
    /// Degrees of freedom behind the intervals.
    pub df: f64,
    /// How the score follows the index.
    pub law: ScoreLaw,
}

/// How the score follows the index.
#[derive(Debug, Clone, PartialEq)]
pub enum ScoreLaw {
    /// score = `centre_score` (index / `centre_index`)^`exponent`; standard deviations are of ln score.
    Power {
        /// Exponent.
        exponent: f64,
        /// Its standard error.
        exponent_se: f64,
        /// Index at which the line is known best.
        centre_index: f64,
        /// Score there.
        centre_score: f64,
        /// Uncertainty of that score.
        level_sd: f64,
        /// What a single scrub, scored by such a panel, is off the line.
        scrub_sd: f64,
    },
    /// Ordered categories of ln index.
    Ordinal {
        /// The model, x being ln index.
        model: CumulativeLogit,
        /// The score that each category stands for.
        scores: Vec<f64>,
        /// How far the panel's mean score lay from what the other scrubs foretold, root mean square, points.
        error_points: f64,
    },
}

/// A score to be expected of a scrub.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The panel's score.
    pub score: f64,
    /// Low end of its interval, [`CONFIDENCE`].
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Whether the index lies outside what was scored.
    pub beyond: bool,
}

/// Why a score has no index.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrationError {
    /// The score is off the scale, or is its lower end, which an index of 0 alone would reach.
    #[error("a score must lie above {low} and at most at {top}, not {score}")]
    OffScale {
        /// As asked.
        score: f64,
        /// Low end of the scale.
        low: f64,
        /// Its top.
        top: f64,
    },
    /// No index near those that were scored has this score.
    #[error("the panel's scores run from {least:.2} to {most:.2} over the indices it knows; {score} lies beyond")]
    OutOfReach {
        /// As asked.
        score: f64,
        /// Least score reached.
        least: f64,
        /// Highest.
        most: f64,
    },
}

/// How far beyond the scored indices an ordinal law is followed, as a factor (convention).
const ORDINAL_REACH: f64 = 2.0;

impl Calibration {
    /// The score that the panel would give, on the mean, to a scrub of this index.
    pub fn expected(&self, index: f64) -> Expected {
        let t = student::quantile(0.5 + 0.5 * CONFIDENCE, self.df);
        let (score, low, high) = match &self.law {
            _ if index <= 0.0 => (self.scale.low, self.scale.low, self.scale.low),
            ScoreLaw::Power { exponent, exponent_se, centre_index, centre_score, level_sd, scrub_sd } => {
                let off = (index / centre_index).ln();
                let sd = (level_sd.powi(2) + (exponent_se * off).powi(2) + scrub_sd.powi(2)).sqrt();
                let score = centre_score * (exponent * off).exp();
                (score, score * (-t * sd).exp(), score * (t * sd).exp())
            }
            ScoreLaw::Ordinal { error_points, .. } => {
                let score = self.mean_score(index);
                (score, score - t * error_points, score + t * error_points)
            }
        };
        let on_scale = |v: f64| v.clamp(self.scale.low, self.scale.top);
        let beyond = !(self.index_range.0..=self.index_range.1).contains(&index);
        Expected { score: on_scale(score), low: on_scale(low), high: on_scale(high), beyond }
    }

    /// Mean score of the ordinal law.
    fn mean_score(&self, index: f64) -> f64 {
        let ScoreLaw::Ordinal { model, scores, .. } = &self.law else { return f64::NAN };
        model.chances(index.ln()).iter().zip(scores).map(|(p, s)| p * s).sum()
    }

    /// The index at which the panel would give this score.
    ///
    /// # Errors
    /// [`CalibrationError`] when the score is off the scale or out of reach.
    pub fn index_at(&self, score: f64) -> Result<f64, CalibrationError> {
        let ScoreScale { low, top } = self.scale;
        if !(score > low && score <= top) {
            return Err(CalibrationError::OffScale { score, low, top });
        }
        match &self.law {
            ScoreLaw::Power { exponent, centre_index, centre_score, .. } => {
                Ok(centre_index * (score / centre_score).powf(1.0 / exponent))
            }
            ScoreLaw::Ordinal { .. } => {
                let ends = (self.index_range.0 / ORDINAL_REACH, self.index_range.1 * ORDINAL_REACH);
                let off = |ln_index: f64| self.mean_score(ln_index.exp()) - score;
                let root = brent(off, ends.0.ln(), ends.1.ln(), 1e-12);
                let (least, most) = (self.mean_score(ends.0), self.mean_score(ends.1));
                root.map(f64::exp).map_err(|_| CalibrationError::OutOfReach { score, least, most })
            }
        }
    }
}
