//! The picture of a control chart: individuals above, moving ranges below.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, POWDERS, Pen, Ring};
use super::pictures::{Picture, shortened_to, stacked};
use crate::lots::charts::LotChart;
use crate::lots::control::ControlRule;
use crate::lots::lot::LotVerdict;
use crate::numerics::written::four;
use plotters::prelude::RGBColor;

const SIGNAL: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
const REFUSED: RGBColor = RGBColor(0x66, 0x66, 0x66);
const CENTRE: Pen = Pen { color: RGBColor(0x66, 0x66, 0x66), width_px: 1.4, dash: "" };
/// More lots than this stand too close for numbers in their rings.
const MOST_NUMBERED: usize = 30;
/// Shortest axis, so that its ticks are whole lots.
const LEAST_LOTS: usize = 4;

/// Individuals and moving ranges of a chart with their limits; a lot that breaks a rule has a ring with its number.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn control_picture(chart: &LotChart) -> Result<Picture, PlotError> {
    let values: Vec<(f64, f64)> = chart.lots.iter().enumerate().map(|(i, l)| ((i + 1) as f64, l.value)).collect();
    let ranges = chart.lots.iter().enumerate().filter_map(|(i, l)| Some(((i + 1) as f64, l.moving_range?))).collect();
    let refused = |n: &usize| chart.lots[n - 1].verdict == LotVerdict::Refuse;
    let name = shortened_to(64, &chart.title());
    let (mut lines, mut range_lines) = (Vec::new(), Vec::new());
    if let Some(l) = &chart.limits {
        lines = vec![
            ("centre", l.centre, CENTRE),
            ("upper limit", l.upper, POWDERS[0]),
            ("lower limit", l.lower, POWDERS[1]),
        ];
        range_lines = vec![("mean", l.range_mean, CENTRE), ("upper limit", l.range_upper, POWDERS[0])];
    }
    let rings = |of_range: bool| {
        let of_chart = chart.signals.iter().filter(|s| (s.rule == ControlRule::Range) == of_range);
        of_chart.map(|s| s.number).filter(|n| !refused(n)).collect::<Vec<_>>()
    };
    let aside: Vec<usize> = (1..=chart.lots.len()).filter(refused).collect();
    let across =
        if chart.is_of_index() { "lot, by date; the index is a model, not a clinical measure" } else { "lot, by date" };
    let count = chart.lots.len();
    let upper = panel(name, [across, chart.label], values, &lines, [rings(false), aside.clone()], count);
    let over = if aside.is_empty() { "" } else { " that was not refused" };
    let title = format!("Moving range: step from the lot before{over}");
    let labels = ["lot, by date", "moving range"];
    let mut lower = panel(title, labels, ranges, &range_lines, [rings(true), aside], count);
    lower.y_low = 0.0;
    let said: Vec<String> = chart.signals.iter().map(|s| format!("{}: {}", s.lot, s.rule.label())).collect();
    let said = if said.is_empty() { "no lot breaks a rule".to_owned() } else { said.join("; ") };
    let description = format!(
        "Individuals and moving range chart of {} over {count} lots by date, with control limits. Western Electric rules: {said}.",
        chart.title()
    );
    stacked("lots", [&upper, &lower], &chart.title(), &description)
}

fn panel(
    title: String,
    labels: [&str; 2],
    points: Vec<(f64, f64)>,
    lines: &[(&str, f64, Pen)],
    [mut numbers, aside]: [Vec<usize>; 2],
    lots: usize,
) -> Chart {
    let x_range = (0.0, (lots.max(LEAST_LOTS) + 1) as f64);
    let heights = || points.iter().map(|p| p.1).chain(lines.iter().map(|l| l.1));
    let (low, high) = heights().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), y| (lo.min(y), hi.max(y)));
    let room = match high - low {
        spread if spread > 0.0 => 0.12 * spread,
        _ if high > 0.0 => 0.05 * high,
        _ => 1.0,
    };
    let line = |&(name, y, pen): &(&str, f64, Pen)| {
        Curve::new(format!("{name} {}", four(y)), pen, vec![(x_range.0, y), (x_range.1, y)])
    };
    let own = Curve::new("lots", Pen { width_px: 1.8, ..MAIN }, points.clone());
    let curves = std::iter::once(own).chain(lines.iter().map(line)).collect();
    let mut chart = Chart::new(title, labels, x_range, 1.0, curves);
    numbers.dedup();
    // Points stand by number.
    let at = |number: usize| {
        let place = points.partition_point(|p| p.0 < number as f64);
        points.get(place).copied().filter(|p| p.0 == number as f64)
    };
    let ring = |(i, number): (usize, usize)| {
        let at = at(number)?;
        let numbered = lots <= MOST_NUMBERED;
        let name = match i {
            0 if numbered => "breaks a rule (its number)",
            0 => "breaks a rule",
            _ => "",
        };
        let sign = if numbered { number.to_string() } else { String::new() };
        Some(Ring { name: name.to_owned(), sign, color: SIGNAL, at, sign_at: None })
    };
    let refused = |(i, number): (usize, usize)| {
        let name = if i == 0 { "refused: not in centre and limits" } else { "" };
        Some(Ring { name: name.to_owned(), sign: "×".to_owned(), color: REFUSED, at: at(number)?, sign_at: None })
    };
    chart.rings = numbers.into_iter().enumerate().filter_map(ring).collect();
    let aside = aside.into_iter().filter(|n| at(*n).is_some()).enumerate();
    chart.rings.extend(aside.filter_map(refused));
    chart.dots = points.clone();
    chart.x_log = false;
    // A chart without points is drawn empty.
    (chart.y_low, chart.y_top) = if low <= high { (low - room, high + room) } else { (0.0, 1.0) };
    chart
}
