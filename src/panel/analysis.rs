//! A panel's findings, put together from the study of its scores.

use super::findings::{Findings, Fitted, Standing};
use super::study::{Fit, Study};
use super::{CONFIDENCE, Panel};
use crate::numerics::rank::{RankTest, correlation, kendall, spearman};
use std::cmp::Ordering;

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
    let (swapped, mut level): (Vec<_>, Vec<_>) =
        turned.iter().partition(|pair| study.tells_apart(**pair, turned.len()));
    level.extend(equal(&indices, &scores));
    let concluded = !matches!(standing, Standing::TooFew(_));
    Findings {
        outliers: if concluded { study.outliers() } else { Vec::new() },
        standing,
        r2: fit.as_ref().map(|f| f.r2),
        fitted: fit.map(|f| f.fitted),
        panellists: study.panellist_findings(&means, concluded),
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

/// Scores that differ by less differ by rounding only.
const SAME_SCORE: f64 = 1e-9;

/// Pairs that stand one way round by index and the other by score.
fn turned(indices: &[f64], scores: &[f64]) -> Vec<(usize, usize)> {
    rising(indices).filter(|&(i, j)| scores[i] > scores[j] + SAME_SCORE).collect()
}

/// Pairs that the index tells apart and the scores do not at all.
fn equal(indices: &[f64], scores: &[f64]) -> Vec<(usize, usize)> {
    rising(indices).filter(|&(i, j)| (scores[i] - scores[j]).abs() <= SAME_SCORE).collect()
}

/// Pairs of which the second has the higher index.
fn rising(indices: &[f64]) -> impl Iterator<Item = (usize, usize)> {
    let pairs = (0..indices.len()).flat_map(|i| (0..indices.len()).map(move |j| (i, j)));
    pairs.filter(|&(i, j)| indices[i] < indices[j])
}
