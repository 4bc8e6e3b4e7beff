//! Where the figures of a scrub stand between the limits of the bands.

use super::{Assessment, BEYOND, Judge};
use crate::tables::Criterion;
use serde::Serialize;

/// The figures of a scrub on the scale of the bands. The field names are JSON keys.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandScale {
    /// All bands, mild to harsh, and what lies beyond them.
    pub bands: Vec<String>,
    /// Position of the scrub's band among them.
    pub rank: usize,
    /// Every figure: the groove ratio at each site where a band is judged, the index, the coarse end.
    pub figures: Vec<ScaleFigure>,
}

/// One figure between its limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScaleFigure {
    /// `groove_ratio`, `index`, `d99_um` or `not_on_face_pct`.
    pub criterion: &'static str,
    /// In words.
    pub label: String,
    /// The site, if it is of one.
    pub site: Option<String>,
    /// Unit; empty for a plain number.
    pub unit: &'static str,
    /// The figure.
    pub value: f64,
    /// Where it stands along the steps, each taken as equally wide: 0 at the mild end, 1 at the harsh one.
    pub position: f64,
    /// It governs the band.
    pub governs: bool,
    /// The limit that the scrub's own band sets it (beyond all bands, the harshest one); absent where that sets none, or looks at
    /// another site.
    pub limit: Option<f64>,
    /// The steps, one for each band that limits this figure and one beyond.
    pub steps: Vec<ScaleStep>,
}

/// One step of a scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScaleStep {
    /// The band.
    pub band: String,
    /// Its limit; absent for what lies beyond.
    pub limit: Option<f64>,
    /// The figure lies in this step.
    pub holds: bool,
}

impl BandScale {
    /// Puts the figures of an assessed scrub on the scale.
    pub fn new(assessment: &Assessment, judge: &Judge) -> Self {
        let bands = judge.bands();
        let sites = judge.model().sites().iter().enumerate();
        let judged = sites.filter(|(_, site)| bands.iter().any(|b| b.site == site.name));
        let mut figures: Vec<ScaleFigure> =
            judged.map(|(i, site)| figure(assessment, judge, Criterion::GrooveRatio, Some((i, &site.name)))).collect();
        figures.extend([Criterion::Index, Criterion::D99].map(|c| figure(assessment, judge, c, None)));
        if assessment.figures.not_on_face_pct > 0.0 {
            figures.push(figure(assessment, judge, Criterion::NotOnFace, None));
        }
        let names = bands.iter().map(|b| b.name.clone()).chain([BEYOND.to_owned()]);
        Self { bands: names.collect(), rank: assessment.verdict.rank, figures }
    }
}

fn figure(assessment: &Assessment, judge: &Judge, criterion: Criterion, site: Option<(usize, &String)>) -> ScaleFigure {
    let figures = &assessment.figures;
    let (value, label, unit) = match (criterion, site) {
        (Criterion::GrooveRatio, Some((i, name))) => {
            (figures.groove_ratios[i], format!("{} at the {name}", criterion.label()), "")
        }
        (Criterion::D99, _) => (figures.d99_um, format!("{} of the blend by volume", criterion.label()), "µm"),
        (Criterion::NotOnFace, _) => (figures.not_on_face_pct, criterion.label().to_owned(), "%"),
        _ => (figures.index, criterion.label().to_owned(), ""),
    };
    let bands = judge.bands().iter().filter(|b| site.is_none_or(|(_, name)| b.site == *name));
    let bands = bands.filter(|b| b.limit(criterion).is_finite());
    let limits: Vec<(&str, f64)> = bands.map(|b| (b.name.as_str(), b.limit(criterion))).collect();
    // Where harsher bands have no limit, what lies beyond is the first of them.
    let beyond = judge.bands().iter().find(|b| b.limit(criterion).is_infinite()).map_or(BEYOND, |b| b.name.as_str());
    let step = limits.iter().position(|(_, limit)| value <= *limit).unwrap_or(limits.len());
    let rank = assessment.verdict.rank.min(judge.bands().len() - 1);
    let own = &judge.bands()[rank];
    let here = site.is_none_or(|(_, name)| own.site == *name);
    let named = limits.iter().map(|(band, limit)| ((*band).to_owned(), Some(*limit)));
    let steps = named.chain([(beyond.to_owned(), None)]).enumerate();
    ScaleFigure {
        criterion: criterion.key(),
        label,
        site: site.map(|(_, name)| name.clone()),
        unit,
        value,
        position: position(value, step, &limits),
        governs: here && assessment.verdict.governing().criterion == criterion,
        limit: here.then(|| own.limit(criterion)).filter(|limit| limit.is_finite()),
        steps: steps.map(|(i, (band, limit))| ScaleStep { band, limit, holds: i == step }).collect(),
    }
}

/// Along the steps, 0 to 1. Beyond the last limit it nears 1 as the figure grows without end.
fn position(value: f64, step: usize, limits: &[(&str, f64)]) -> f64 {
    let low = step.checked_sub(1).map_or(0.0, |below| limits[below].1);
    let within = match limits.get(step) {
        Some((_, high)) if *high > low => (value - low) / (high - low),
        Some(_) => 1.0,
        None if value > 0.0 => 1.0 - low / value,
        None => 0.0,
    };
    (step as f64 + within.clamp(0.0, 1.0)) / (limits.len() + 1) as f64
}

#[cfg(test)]
mod tests {
    use super::position;

    #[test]
    fn a_limit_is_the_end_of_its_step() {
        let limits = [("a", 60.0), ("b", 180.0)];
        for (value, step, at) in [(0.0, 0, 0.0), (30.0, 0, 0.5), (60.0, 0, 1.0), (120.0, 1, 1.5), (360.0, 2, 2.5)] {
            assert!((position(value, step, &limits) - at / 3.0).abs() < 1e-12, "{value}");
        }
        assert!(position(1e12, 2, &limits) <= 1.0);
    }
}
