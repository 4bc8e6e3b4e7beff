//! A panel of testers held against the index: scores of scrubs, what they say of the exponent of Stevens' power law (S. S.
//! Stevens, *Psychol. Rev.* 64 (1957) 153), and the calibration that follows.
//!
//! Each tester scores the feel of each scrub on a scale. Testers use a scale each in their own way, so every score is taken
//! against its tester's level, on that day where days are noted; scrubs differ from the model by more than the testers' noise, so scrubs, not scores, are what
//! the exponent's uncertainty counts. The index is a model; a panel's score is a feel, not harm.
//!
//! # What a panel's scores say
//! ln score = panellist + n ln index + deviation of the scrub + noise. Panellists are fixed, which centres scores within a panellist;
//! scrubs are random, by REML, since they differ from the model by more than panellists do from each other: t has scrubs less two
//! degrees of freedom. `numerics::mixed` sweeps the panellists out and diagonalises what is left, so that any layout, missing
//! scores included, is a sum over independent contrasts. Where days are noted a block is a panellist's day: people use a scale anew
//! each session, and a level for the day that all share would leave each one's drift in the noise. Only where that tears the
//! scrubs apart, or leaves no noise to be seen, panellist and day are swept out side by side (`numerics::sweep`): the design
//! decides, never the scores. Days by which scrubs cannot be told from days conclude nothing. Ordered categories have fixed days
//! and random blocks; ranks are those of scores freed from both. A scrub left out is a mean-shift column of the same fit. When
//! the scores fit better than their noise (the scrubs' variance stops at 0) the interval is on the wide side; `tests/panel.rs`
//! simulates 6 000 panels. Where ln score cannot be had (`study::why_ordinal`) `numerics::ordinal` takes over, its uncertainty
//! by leaving out one scrub at a time. Estimates of model quantities are a grid of prior times profile likelihood.
//! `tests/published_panel.rs` holds all of it against SciPy, statsmodels and NIST (`tests/reference/panel_reference.py`). A
//! calibration file keeps the model quantities it was made with and is refused with others.

mod analysis;
mod calibration;
pub mod discrimination;
mod estimate;
mod findings;
pub mod plan;
mod quantity;
mod scores;
mod study;

pub use analysis::analyse;
pub use calibration::{Calibration, CalibrationError, Expected, ScoreLaw};
pub use estimate::{Posterior, Prior, Profile, estimate};
pub use findings::{DayFinding, Days, Findings, Fitted, Outlier, PanellistFinding, PowerLaw, ScrubFinding, Standing};
pub use quantity::{Wanted, WantedError, estimate_wanted};
pub use scores::{ScoreRow, days_of, read_scores};

use serde::Serialize;

/// The ends of the scale of scores.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScoreScale {
    /// Score of nothing felt.
    pub low: f64,
    /// Highest score.
    pub top: f64,
}

impl ScoreScale {
    /// From two finite numbers, the lower first; `None` otherwise.
    pub fn new(low: f64, top: f64) -> Option<Self> {
        (low.is_finite() && top.is_finite() && low < top && top.abs() <= 1e6 && low.abs() <= 1e6)
            .then_some(Self { low, top })
    }

    /// Whether a score lies on the scale.
    pub fn holds(&self, score: f64) -> bool {
        (self.low..=self.top).contains(&score)
    }
}

/// A scrub that was scored.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tested {
    /// Its name.
    pub name: String,
    /// Its abrasiveness index, in force when the panel is read.
    pub index: f64,
}

/// One score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Place of the scrub.
    pub scrub: usize,
    /// Place of the panellist.
    pub panellist: usize,
    /// Place of the day; 0 where none was noted.
    pub day: usize,
    /// What was given.
    pub score: f64,
}

/// All scores of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// The scale.
    pub scale: ScoreScale,
    /// The scrubs.
    pub scrubs: Vec<Tested>,
    /// Names of the panellists.
    pub panellists: Vec<String>,
    /// Names of the days (sessions); empty where none were noted.
    pub days: Vec<String>,
    /// The scores. A panellist may have scored a scrub on several days.
    pub scores: Vec<Score>,
}

/// Fewest scrubs of different index from which anything is concluded (convention: two degrees of freedom for the slope).
pub const FEWEST_SCRUBS: usize = 4;
/// Fewest panellists, each with two scrubs or more, from which anything is concluded (convention).
pub const FEWEST_PANELLISTS: usize = 3;
/// Least index with which a scrub takes part: below it next to no grain touches, and its logarithm would weigh more than all
/// others (convention).
pub const LEAST_INDEX: f64 = 0.1;
/// Confidence of every interval.
pub const CONFIDENCE: f64 = 0.95;
