//! What can be found in a panel's scores.

use super::calibration::Calibration;
use crate::numerics::mixed::Trend;
use crate::numerics::ordinal::CumulativeLogit;
use crate::numerics::rank::{Concordance, RankTest};
use serde::Serialize;

/// How days are taken out of the scores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Days {
    /// None or one was noted.
    None,
    /// Every panellist came on one day only, so that a day goes with its panellists.
    #[serde(rename = "with-tasters")]
    WithPanellists,
    /// Each panellist has a level on each day.
    #[serde(rename = "within-tasters")]
    WithinPanellists,
    /// Each panellist has a level, and each day.
    #[serde(rename = "beside-tasters")]
    BesidePanellists,
}

/// What can be concluded.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// Nothing: too few data, and why.
    TooFew(Vec<String>),
    /// The scores do not rise with the index beyond doubt.
    Unrelated,
    /// The scores fall with the index beyond doubt.
    Falling,
    /// The scores rise with the index.
    Calibrated,
}

/// The law that was fitted.
#[derive(Debug, Clone, PartialEq)]
pub enum Fitted {
    /// score ∝ index^n.
    Power(PowerLaw),
    /// Ordered categories.
    Ordinal {
        /// The model, x being ln index.
        model: CumulativeLogit,
        /// The score of each category.
        scores: Vec<f64>,
        /// Whether the scores separate the scrubs so well that the prior alone keeps the slope finite.
        prior_holds: bool,
        /// Why the power law does not fit these scores.
        why: String,
    },
}

/// A fitted power law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerLaw {
    /// The line through ln score over ln index; its slope is the exponent.
    pub trend: Trend,
    /// 95 % interval of the exponent.
    pub interval: (f64, f64),
}

/// What is found of a scrub.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScrubFinding {
    /// How many scores it has.
    pub scores: usize,
    /// The panel's score: mean over panellists, geometric for the power law, freed from who happened to score it.
    pub score: f64,
    /// The score that the fit expects.
    pub expected: Option<f64>,
    /// The score that a fit through all other scrubs foretells.
    pub foretold: Option<f64>,
    /// Its externally studentised residual.
    pub studentised: Option<f64>,
    /// Whether that is beyond chance, all scrubs considered.
    pub outlying: bool,
}

/// What is found of a panellist.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PanellistFinding {
    /// How many scores were given.
    pub scores: usize,
    /// Level against the panel: a factor for the power law, points otherwise. `None` with too few data.
    pub level: Option<f64>,
    /// Spearman's rank correlation of the panellist's scores with the index. `None` with too few data.
    pub rho: Option<f64>,
}

/// What is found of a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayFinding {
    /// How many scores were given.
    pub scores: usize,
    /// Level against the mean day, panellists and scrubs taken out: a factor for the power law, points otherwise. `None` with too few
    /// data, or where days cannot be told from who came and what was scored.
    pub level: Option<f64>,
}

/// A score that stands apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Place of the scrub.
    pub scrub: usize,
    /// Place of the panellist.
    pub panellist: usize,
    /// The score, or the mean of several days.
    pub score: f64,
    /// Externally studentised residual from scrub and panellist.
    pub studentised: f64,
}

/// Everything found.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    /// What can be concluded.
    pub standing: Standing,
    /// The fit; `None` with too few data.
    pub fitted: Option<Fitted>,
    /// Share of the scatter between scrubs that the fit explains.
    pub r2: Option<f64>,
    /// Every scrub, in the panel's order.
    pub scrubs: Vec<ScrubFinding>,
    /// Every panellist.
    pub panellists: Vec<PanellistFinding>,
    /// How days were taken out.
    pub taken_out: Days,
    /// Every day, where they were noted.
    pub days: Vec<DayFinding>,
    /// Spearman's rho of index and panel score over scrubs.
    pub spearman: Option<RankTest>,
    /// Kendall's tau-b of the same.
    pub kendall: Option<RankTest>,
    /// Agreement of the panellists who scored every scrub, and how many they are.
    pub concordance: Option<(Concordance, usize)>,
    /// How far the panel's score lies from what the other scrubs foretell, root mean square, points.
    pub left_out_error: Option<f64>,
    /// Scores that stand apart.
    pub outliers: Vec<Outlier>,
    /// Pairs of scrubs that the panel ranks the other way round than the index, beyond noise.
    pub swapped: Vec<(usize, usize)>,
    /// Pairs that stand the other way round by no more than noise, or have one score.
    pub level: Vec<(usize, usize)>,
    /// The calibration, when the scores rise with the index.
    pub calibration: Option<Calibration>,
}
