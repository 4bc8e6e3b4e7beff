//! The picture of a panel: scores against the index, with the fit and its interval.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, POWDERS, Ring};
use super::ground::FilledArea;
use super::pictures::{HEIGHT, Picture, WIDTH, finished, sample, shortened_apart, size_grid};
use crate::numerics::written::three;
use crate::panel::{CONFIDENCE, Calibration, Findings, Panel, ScoreScale};
use plotters::prelude::RGBColor;

const INTERVAL: RGBColor = RGBColor(0xe6, 0xe9, 0xee);
/// Room for a ring with its sign, as a share of the width and of the height of the plot.
const RING: (f64, f64) = (21.0 / WIDTH as f64, 25.0 / HEIGHT as f64);

/// Every panellist's scores (dots) and the panel's score of every scrub (rings) over the index, with the calibration, if there is
/// one, and its interval.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn panel_picture(panel: &Panel, found: &Findings) -> Result<Picture, PlotError> {
    let indices = panel.scrubs.iter().map(|s| s.index);
    let (low, high) = indices.fold((f64::INFINITY, 0.0_f64), |(lo, hi), x| (lo.min(x), hi.max(x)));
    let across = size_grid((low / 1.4, high * 1.4));
    let title = "What the panel felt against the index (model)".to_owned();
    let labels = ["abrasiveness index (a model, not a clinical measure)", "score; dots: each taster"];
    let ends = (across[0], across[across.len() - 1]);
    let mut chart = Chart::new(title, labels, ends, 1.0, Vec::new());
    let room = 0.04 * (panel.scale.top - panel.scale.low);
    (chart.y_low, chart.y_top) = (panel.scale.low - room, panel.scale.top + room);
    if let Some(c) = &found.calibration {
        let percent = 100.0 * CONFIDENCE;
        let name = format!("expected score of the panel, {percent:.0} % interval shaded");
        chart.curves.push(Curve::new(name, MAIN, sample(&across, |x| c.expected(x).score)));
        chart.ground.fills.push(interval(c, &across));
    }
    chart.dots = panel.scores.iter().map(|s| (panel.scrubs[s.scrub].index, s.score)).collect();
    chart.rings = rings(panel, found, &chart);
    let ([low, high], ScoreScale { low: from, top }) = ([low, high].map(three), panel.scale);
    let (panellists, scrubs) = (panel.panellists.len(), panel.scrubs.len());
    let description = format!(
        "Scores of {panellists} tasters for {scrubs} scrubs on a scale of {from} to {top}, over the abrasiveness index, a model, on a \
         logarithmic axis from {low} to {high}."
    );
    finished("panel", &chart, "Panel scores against the abrasiveness index", &description)
}

fn interval(calibration: &Calibration, across: &[f64]) -> FilledArea {
    let low = across.iter().map(|&x| (x, calibration.expected(x).low));
    let high = across.iter().rev().map(|&x| (x, calibration.expected(x).high));
    FilledArea { outlines: vec![low.chain(high).collect()], color: INTERVAL }
}

/// Where a number may stand beside its point, in widths and heights of a ring: the nearest first.
fn beside() -> impl Iterator<Item = (f64, f64)> {
    const TURNS: u32 = 12;
    (1..=8).flat_map(|step| {
        (0..TURNS).map(move |turn| {
            let (sin, cos) = (std::f64::consts::TAU * f64::from(turn) / f64::from(TURNS)).sin_cos();
            (f64::from(step) * cos, f64::from(step) * sin)
        })
    })
}

/// The panel's score of every scrub at its index, numbered by index. Where a ring would cover another, the point gets a small
/// ring and its number moves aside.
fn rings(panel: &Panel, found: &Findings, chart: &Chart) -> Vec<Ring> {
    let mut order: Vec<usize> = (0..panel.scrubs.len()).collect();
    order.sort_by(|a, b| panel.scrubs[*a].index.total_cmp(&panel.scrubs[*b].index));
    let width = (chart.x_range.1 / chart.x_range.0).ln() * RING.0;
    let height = (chart.y_top - chart.y_low) * RING.1;
    let points: Vec<(f64, f64)> = order.iter().map(|i| (panel.scrubs[*i].index, found.scrubs[*i].score)).collect();
    let covers = |a: (f64, f64), b: (f64, f64)| (a.0 / b.0).ln().abs() < width && (a.1 - b.1).abs() < height;
    let on_chart = |p: (f64, f64)| {
        let (lo, hi) = chart.x_range;
        (lo.ln() + width..hi.ln() - width).contains(&p.0.ln())
            && (chart.y_low + 0.5 * height..chart.y_top - 0.5 * height).contains(&p.1)
    };
    let crowded = |k: usize| (0..points.len()).any(|j| j != k && covers(points[k], points[j]));
    let names = shortened_apart(&order.iter().map(|i| panel.scrubs[*i].name.as_str()).collect::<Vec<_>>());
    let mut signs: Vec<(f64, f64)> = Vec::new();
    let mut rings: Vec<Ring> = Vec::new();
    for (number, (name, at)) in names.into_iter().zip(&points).enumerate() {
        let free = |p: &(f64, f64)| on_chart(*p) && !points.iter().chain(&signs).any(|q| covers(*p, *q));
        let aside = || beside().map(|(x, y)| (at.0 * (width * x).exp(), at.1 + height * y)).find(free);
        let sign_at = if crowded(number) { aside() } else { None };
        signs.extend(sign_at);
        rings.push(Ring {
            name,
            sign: (number + 1).to_string(),
            color: POWDERS[number % POWDERS.len()].color,
            at: *at,
            sign_at,
        });
    }
    rings
}
