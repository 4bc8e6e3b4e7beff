//! The charts of a scrub as numbers, for whoever draws them elsewhere: the same series as the pictures.

use super::chart::{Curve, MAIN, Mark, POWDERS, Pen, even_ticks, plain, size_ticks};
use super::pictures::{BY_MASS, INDEX, LOAD, Plate, VOLUME, blend_plates, leading, size_range};
use crate::band::{Assessment, Judge};
use crate::blend::Scrub;
use serde::Serialize;

/// The charts of a scrub over one size axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeCharts {
    /// Sizes at which every curve has its values, µm, rising by equal factors. Scrubs share them where their ranges overlap.
    pub sizes_um: Vec<f64>,
    /// Where the size axis is marked.
    pub size_ticks: Vec<TickPart>,
    /// Name of the size axis.
    pub size_label: &'static str,
    /// Frequency, cumulative undersize, which grains do the work.
    pub charts: Vec<ChartPart>,
}

/// A mark on an axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TickPart {
    /// Where.
    pub at: f64,
    /// What is written there.
    pub label: String,
}

/// One chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChartPart {
    /// `frequency`, `undersize` or `work`.
    pub name: &'static str,
    /// Heading.
    pub title: String,
    /// What is seen, in words.
    pub description: String,
    /// Name of the vertical axis.
    pub y_label: String,
    /// Top of the vertical axis; it starts at 0.
    pub y_top: f64,
    /// Where it is marked.
    pub y_ticks: Vec<TickPart>,
    /// The curves, what the chart is about first.
    pub curves: Vec<CurvePart>,
    /// Marked points: size, value and label.
    pub marks: Vec<Mark>,
    /// A size marked from bottom to top.
    pub line: Option<Mark>,
}

/// One curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurvePart {
    /// What it is: `blend`, `by-mass`, `powder-1` and up, `volume`, `load`, `index`.
    pub key: String,
    /// Name in a legend.
    pub name: String,
    /// Lengths of dash and gap in pixels; empty for a whole line.
    pub dash: &'static str,
    /// The area below is shaded.
    pub shaded: bool,
    /// Position of the powder in the scrub, if it is the curve of one.
    pub powder: Option<usize>,
    /// Its values at the sizes; seven digits are more than any eye sees.
    pub values: Vec<f32>,
}

/// Points of a curve in a unit of ln size: every few pixels of a wide chart, and a change must be there at once.
const POINTS_PER_LN: f64 = 60.0;

/// The charts of an assessed scrub, over the sizes that it needs and those of `cover`, µm.
pub fn blend_series(scrub: &Scrub, assessment: &Assessment, judge: &Judge, cover: Option<(f64, f64)>) -> SizeCharts {
    let own = size_range(scrub, assessment, judge);
    let range = cover.map_or(own, |(lo, hi)| (own.0.min(lo), own.1.max(hi)));
    let sizes = shared_sizes(range);
    let powders: Vec<usize> = leading(&scrub.blend).into_iter().map(|(i, _)| i).collect();
    let charts = blend_plates(scrub, assessment, judge, &sizes).map(|plate| chart_part(plate, &powders));
    SizeCharts {
        size_ticks: ticks(size_ticks(range), range.1 - range.0),
        size_label: super::pictures::SIZE_AXIS,
        charts: charts.to_vec(),
        sizes_um: sizes,
    }
}

/// Sizes that do not depend on the range but for their ends, so that one scrub can be laid over another point by point.
fn shared_sizes((lo, hi): (f64, f64)) -> Vec<f64> {
    let step = |size: f64| size.ln() * POINTS_PER_LN;
    // A range that was made of such sizes stays what it is.
    let (first, last) = ((step(lo) + 1e-6).floor() as i32, (step(hi) - 1e-6).ceil() as i32);
    (first..=last).map(|i| (f64::from(i) / POINTS_PER_LN).exp()).collect()
}

fn chart_part(Plate { name, chart, description, .. }: Plate, powders: &[usize]) -> ChartPart {
    let percent = |v: f64| format!("{:.0} %", 100.0 * v);
    let mut y_ticks = ticks(even_ticks(0.0, chart.y_top), chart.y_top);
    if chart.y_percent {
        y_ticks.iter_mut().for_each(|t| t.label = percent(t.at));
    }
    ChartPart {
        name,
        title: chart.title,
        description,
        y_label: chart.y_label,
        y_top: chart.y_top,
        y_ticks,
        curves: chart.curves.iter().map(|c| curve_part(c, powders)).collect(),
        marks: chart.marks,
        line: chart.line_at.map(|(size_um, label)| Mark { size_um, value: 0.0, label }),
    }
}

fn curve_part(curve: &Curve, powders: &[usize]) -> CurvePart {
    let place = POWDERS.iter().position(|p| *p == curve.pen);
    CurvePart {
        key: place.map_or_else(|| key(curve.pen).to_owned(), |i| format!("powder-{}", i + 1)),
        name: curve.name.clone(),
        dash: curve.pen.dash,
        shaded: curve.shaded,
        powder: place.and_then(|i| powders.get(i).copied()),
        values: curve.points.iter().map(|p| p.1 as f32).collect(),
    }
}

fn key(pen: Pen) -> &'static str {
    let known = [(MAIN, "blend"), (BY_MASS, "by-mass"), (VOLUME, "volume"), (LOAD, "load"), (INDEX, "index")];
    known.into_iter().find(|(p, _)| *p == pen).map_or("other", |(_, key)| key)
}

fn ticks(at: Vec<f64>, span: f64) -> Vec<TickPart> {
    at.into_iter().map(|at| TickPart { at, label: plain(at, span) }).collect()
}
