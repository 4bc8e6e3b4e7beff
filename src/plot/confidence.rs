//! The picture of a confidence run: where the draws of the index lie against the limits of the bands.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, POWDERS};
use super::ground::{CutLine, FilledArea, Ground, Name};
use super::ladder::{rectangle, shade};
use super::pictures::{Picture, finished, shortened};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{Confidence, Outcome};
use crate::numerics::written::{percent, three};
use crate::tables::Criterion;

/// The areas are no probabilities of the bands, which have other limits too.
const ACROSS: &str =
    "abrasiveness index (model, not a clinical measure), shaded by index limit alone; % of draws in each band";

/// Room above the highest curve, where the names of the bands stand.
const HEADROOM: f64 = 1.3;

/// The distribution of the index with everything drawn and with the powders alone, against the limits of the bands.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn confidence_picture(scrub: &Scrub, judge: &Judge, confidence: &Confidence) -> Result<Picture, PlotError> {
    let stated = judge.assess(scrub).figures.index;
    let all = &confidence.all;
    let curves = vec![
        Curve::new("everything drawn", MAIN, all.density.clone()).shaded(true),
        Curve::new("powders alone", POWDERS[0], confidence.powders.density.clone()),
        Curve::new("skin and model alone", POWDERS[1], confidence.skin_and_model.density.clone()),
    ];
    let places = || curves.iter().flat_map(|c| &c.points).map(|p| p.0);
    let low = places().fold(stated / 1.1, f64::min).max(1e-3);
    let high = places().fold(stated * 1.1, f64::max).max(low * 1.5);
    let title = format!("{}: how sure is the index (model)", shortened(&scrub.name));
    let labels = [ACROSS, "share of the draws per unit of ln index"];
    let mut chart = Chart::new(title, labels, (low, high), HEADROOM, curves);
    chart.ground = zones(judge, all, (low, high), chart.y_top);
    chart.ground.cuts.push(CutLine { x: stated, label: format!("as stated {}", three(stated)), dash: "1 3" });
    let bands = all.bands.iter().enumerate();
    let bands: Vec<String> = bands
        .filter(|(_, p)| p.value >= 0.0005)
        .map(|(rank, p)| format!("{} {:.1} %", judge.band_name(rank), 100.0 * p.value))
        .collect();
    let [p5, p50, p95] = all.index.values().map(three);
    let description = format!(
        "Distribution of the abrasiveness index, a model, over {} draws: 5 % below {p5}, half below {p50}, 5 % above {p95}. Shaded by \
         the index limits of the bands, a convention; a band has other limits too. Probability of each band: {}.",
        confidence.sampling.draws(),
        bands.join(", ")
    );
    finished("confidence", &chart, &format!("How sure is the index of {}", scrub.name), &description)
}

/// The index limits of the bands: shaded stretches with their names and the probability of the whole band, and a cut at each.
fn zones(judge: &Judge, all: &Outcome, (low, high): (f64, f64), y_top: f64) -> Ground {
    let mut ground = Ground::default();
    let limits = judge.bands().iter().map(|b| b.limit(Criterion::Index)).chain([f64::INFINITY]);
    let mut from = low;
    for (rank, limit) in limits.enumerate().filter(|(_, limit)| *limit > low) {
        let to = limit.min(high);
        if to > from {
            let color = shade(rank, judge.bands().len());
            ground.fills.push(FilledArea { outlines: vec![rectangle((from, to), (0.0, y_top))], color });
            let head = ((from, to), (0.88 * y_top, y_top));
            let spots = vec![head, ((from, to), (0.5 * y_top, y_top)), ((from, to), (0.0, y_top))];
            ground.names.push(Name { label: judge.band_name(rank).to_owned(), spots });
            let under = [(0.79, 0.88), (0.4, 0.79), (0.0, 0.79)].map(|(y0, y1)| ((from, to), (y0 * y_top, y1 * y_top)));
            let label = format!("{} %", percent(100.0 * all.bands[rank].value));
            ground.names.push(Name { label, spots: under.to_vec() });
        }
        if limit > low && limit < high {
            ground.cuts.push(CutLine { x: limit, label: three(limit), dash: "" });
        }
        from = to.max(from);
    }
    ground
}
