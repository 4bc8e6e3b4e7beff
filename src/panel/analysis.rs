//! What a panel's scores say: the findings, put together from the study of the scores.

use super::calibration::Calibration;
use super::study::{Days, Fit, Study};
use super::{CONFIDENCE, Panel};
use crate::numerics::mixed::Trend;
use crate::numerics::ordinal::CumulativeLogit;
use crate::numerics::rank::{Concordance, RankTest, correlation, kendall, spearman};
use std::cmp::Ordering;

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
#[derive(Debug, Clone, PartialEq)]
pub struct ScrubFinding {
    /// How many scores it has.
    pub scores: usize,
    /// The panel's score: mean over tasters, geometric for the power law, freed from who happened to score it.
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

/// What is found of a taster.
#[derive(Debug, Clone, PartialEq)]
pub struct TasterFinding {
    /// How many scores were given.
    pub scores: usize,
    /// Level against the panel: a factor for the power law, points otherwise. `None` with too few data.
    pub level: Option<f64>,
    /// Spearman's rank correlation of the taster's scores with the index. `None` with too few data.
    pub rho: Option<f64>,
}

/// What is found of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayFinding {
    /// How many scores were given.
    pub scores: usize,
    /// Level against the mean day, tasters and scrubs taken out: a factor for the power law, points otherwise. `None` with too few
    /// data, or where days cannot be told from who came and what was scored.
    pub level: Option<f64>,
}

/// A score that stands apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Place of the scrub.
    pub scrub: usize,
    /// Place of the taster.
    pub taster: usize,
    /// The score, or the mean of several days.
    pub score: f64,
    /// Externally studentised residual from scrub and taster.
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
    /// Every taster.
    pub tasters: Vec<TasterFinding>,
    /// How days were taken out.
    pub taken_out: Days,
    /// Every day, where they were noted.
    pub days: Vec<DayFinding>,
    /// Spearman's rho of index and panel score over scrubs.
    pub spearman: Option<RankTest>,
    /// Kendall's tau-b of the same.
    pub kendall: Option<RankTest>,
    /// Agreement of the tasters who scored every scrub, and how many they are.
    pub concordance: Option<(Concordance, usize)>,
    /// How far the panel's score lies from what the other scrubs foretell, root mean square, points.
    pub left_out_error: Option<f64>,
    /// Scores that stand apart.
    pub outliers: Vec<Outlier>,
    /// Pairs of scrubs that the panel ranks the other way round than the index, beyond noise.
    pub swapped: Vec<(usize, usize)>,
    /// Pairs that stand the other way round by no more than noise.
    pub level: Vec<(usize, usize)>,
    /// The calibration, when the scores rise with the index.
    pub calibration: Option<Calibration>,
}

/// Analyses a panel. Every index must be above 0. `source` names the table of scores in the calibration.
pub fn analyse(panel: &Panel, source: &str) -> Findings {
    let study = Study::new(panel);
    let mut reasons = study.too_few();
    let mut fit = if reasons.is_empty() { study.fit() } else { None };
    if reasons.is_empty() && fit.is_none() {
        reasons.push(
            "who scored what does not tell scrubs and tasters apart; let every taster score every scrub".to_owned(),
        );
    }
    let means = study.layout.group_means();
    // With scores missing, a mean freed from who scored may fall just beyond the scale.
    let score = |m: &f64| {
        let score = if study.is_power() { m.exp() } else { (m * 1e12).round() / 1e12 };
        score.clamp(panel.scale.low, panel.scale.top)
    };
    let scores: Vec<f64> = means.iter().map(score).collect();
    let indices: Vec<f64> = panel.scrubs.iter().map(|s| s.index).collect();
    let tested = |test: fn(&[f64], &[f64]) -> Option<RankTest>| {
        // Means that differ by rounding only are equal.
        let rounded: Vec<f64> = scores.iter().map(|s| (s * 1e9).round()).collect();
        if reasons.is_empty() { test(&indices, &rounded) } else { None }
    };
    let (spearman, kendall) = (tested(spearman), tested(kendall));
    let scrubs = study.scrub_findings(&scores, fit.as_ref());
    let left_out_error = root_mean_square(scrubs.iter().map(|s| s.foretold.map(|f| f - s.score)));
    if let Some(Fit { fitted: Fitted::Ordinal { .. }, r2, .. }) = &mut fit {
        let expected: Vec<f64> = scrubs.iter().filter_map(|s| s.expected).collect();
        *r2 = correlation(&expected, &scores).map_or(0.0, |r| r * r);
    }
    let standing = match fit.as_ref().map(|f| trend_of(&f.fitted, spearman)) {
        None => Standing::TooFew(reasons),
        Some(Ordering::Greater) if left_out_error.is_some() => Standing::Calibrated,
        Some(Ordering::Less) => Standing::Falling,
        Some(_) => Standing::Unrelated,
    };
    let calibration = fit.as_ref().zip(left_out_error).filter(|_| standing == Standing::Calibrated);
    let calibration = calibration.map(|(fit, error)| study.calibration(fit, error, source));
    let turned = turned(&indices, &scores);
    let (swapped, level) = turned.iter().partition(|pair| study.tells_apart(**pair, turned.len()));
    let concluded = !matches!(standing, Standing::TooFew(_));
    Findings {
        outliers: if concluded { study.outliers() } else { Vec::new() },
        standing,
        r2: fit.as_ref().map(|f| f.r2),
        fitted: fit.map(|f| f.fitted),
        tasters: study.taster_findings(&means, concluded),
        taken_out: study.days,
        days: study.day_findings(concluded),
        spearman,
        kendall,
        concordance: study.concordance().filter(|_| concluded),
        left_out_error,
        swapped,
        level,
        scrubs,
        calibration,
    }
}

fn root_mean_square(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let values = values.collect::<Option<Vec<f64>>>()?;
    Some((values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt())
}

/// Whether the scores rise or fall with the index, beyond doubt. The power law has an interval; of ordered categories the
/// exact test of ranks over scrubs says it, as the slope of scores that separate the scrubs has no interval of its own.
fn trend_of(fitted: &Fitted, ranks: Option<RankTest>) -> Ordering {
    let (low, high) = match (fitted, ranks) {
        (Fitted::Power(p), _) => p.interval,
        (Fitted::Ordinal { .. }, Some(r)) if r.p <= 1.0 - CONFIDENCE => (r.value, r.value),
        (Fitted::Ordinal { .. }, _) => (-1.0, 1.0),
    };
    if low > 0.0 {
        Ordering::Greater
    } else if high < 0.0 {
        Ordering::Less
    } else {
        Ordering::Equal
    }
}

/// Pairs that stand one way round by index and the other by score.
fn turned(indices: &[f64], scores: &[f64]) -> Vec<(usize, usize)> {
    let pairs = (0..indices.len()).flat_map(|i| (0..indices.len()).map(move |j| (i, j)));
    pairs.filter(|&(i, j)| indices[i] < indices[j] && scores[i] > scores[j] + 1e-9).collect()
}
