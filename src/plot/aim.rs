//! The pictures of an aim: limits on what passes with the found curves inside, and what an index costs.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, POWDERS, Pen, Ring};
use super::pictures::{Picture, as_percent, chart, finished, padded, sample, shortened, shortened_to, size_grid};
use crate::aim::{Aim, Found, FrontierPoint, Goal};
use crate::blend::Basis;
use crate::numerics::written::three;

/// More blends than this are not drawn.
const MOST_BLENDS: usize = 6;

/// The pictures of an aim: the found curves with the limits and the curve asked for; and, where every powder has a price,
/// what an index costs. None without a blend.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn aim_pictures(aim: &Aim, blends: &[Found], line: &[FrontierPoint]) -> Result<Vec<Picture>, PlotError> {
    let blends = &blends[..blends.len().min(MOST_BLENDS)];
    let mut pictures = Vec::new();
    if !blends.is_empty() {
        pictures.push(passing_picture(aim, blends)?);
    }
    if blends.iter().all(|b| b.scrub.cost_per_kg().is_some()) && line.iter().any(|p| p.cost_per_kg.is_some()) {
        pictures.push(frontier_picture(aim, blends, line)?);
    }
    Ok(pictures)
}

/// The pen of a blend: the best is drawn like the blend of a single picture.
fn pen(i: usize) -> Pen {
    if i == 0 { MAIN } else { POWDERS[i - 1] }
}

fn passing_picture(aim: &Aim, blends: &[Found]) -> Result<Picture, PlotError> {
    let quantile = |f: &Found, p: f64| f.scrub.blend.quantile(Basis::Mass, p);
    let limits = aim.passing.iter().map(|l| l.um);
    let low = blends.iter().map(|f| quantile(f, 0.002)).chain(limits.clone()).fold(f64::INFINITY, f64::min);
    let high = blends.iter().map(|f| quantile(f, 0.998)).chain(limits).fold(0.0, f64::max);
    let d10 = blends.iter().map(|f| quantile(f, 0.1)).fold(f64::INFINITY, f64::min);
    let sizes = size_grid(padded(low, high, d10));
    let curve = |(i, f): (usize, &Found)| {
        Curve::new(numbered(i, f), pen(i), sample(&sizes, |x| f.scrub.blend.undersize(Basis::Mass, x)))
    };
    let curves = blends.iter().enumerate().map(curve).collect();
    let mut shown = chart(&sizes, String::new(), "finer than, by mass", curves);
    as_percent(&mut shown);
    shown.corridor = aim.passing.iter().map(|l| (l.um, l.min / 100.0, l.max / 100.0)).collect();
    if let Goal::ClosestCurve(target) = &aim.goal {
        let within = |p: &&(f64, f64)| p.0 > sizes[0] && p.0 < sizes[sizes.len() - 1];
        shown.dots = target.points.iter().filter(within).copied().collect();
    }
    let what = match (shown.corridor.is_empty(), shown.dots.is_empty()) {
        (false, true) => ", with the limits asked for (green)",
        (true, false) => ", with the curve asked for (dots)",
        (false, false) => ", with limits (green) and curve (dots) asked for",
        (true, true) => "",
    };
    shown.title = format!("{}: finer than{what}", shortened(&aim.name));
    let [d10, d50, d90] = [0.1, 0.5, 0.9].map(|p| three(quantile(&blends[0], p)));
    let description = format!(
        "Cumulative undersize by mass of {} found blends on a logarithmic size axis{what}. The best has D10 {d10} µm, D50 {d50} µm, \
         D90 {d90} µm by mass.",
        blends.len()
    );
    finished("passing", &shown, &format!("Curves found for {}", aim.name), &description)
}

/// Rank and powders of a blend, short enough for a legend.
fn numbered(i: usize, found: &Found) -> String {
    let names: Vec<&str> = found.scrub.blend.components().iter().map(|c| c.powder.name.as_str()).collect();
    shortened_to(90, &format!("{}. {}", i + 1, names.join(" + ")))
}

fn frontier_picture(aim: &Aim, blends: &[Found], line: &[FrontierPoint]) -> Result<Picture, PlotError> {
    let rings: Vec<Ring> = blends
        .iter()
        .enumerate()
        .filter_map(|(i, f)| {
            let at = (f.assessment.figures.index, f.scrub.cost_per_kg()?);
            let powders = numbered(i, f);
            let name = powders.split_once(". ").map_or(powders.clone(), |(_, names)| names.to_owned());
            Some(Ring { name, sign: (i + 1).to_string(), color: pen(i).color, at, sign_at: None })
        })
        .collect();
    let indices = line.iter().map(|p| p.index);
    let (low, high) = indices.fold((f64::INFINITY, 0.0_f64), |(lo, hi), x| (lo.min(x), hi.max(x)));
    let stretches = line.split(|p| p.cost_per_kg.is_none()).filter(|s| !s.is_empty());
    let points = |s: &[FrontierPoint]| s.iter().filter_map(|p| Some((p.index, p.cost_per_kg?))).collect::<Vec<_>>();
    // Each stretch is a curve of its own; one name is enough.
    let names = std::iter::once("cheapest blend of each index").chain(std::iter::repeat(""));
    let curves: Vec<Curve> = stretches.zip(names).map(|(s, name)| Curve::new(name, MAIN, points(s))).collect();
    let dearest = rings.iter().map(|s| s.at.1).chain(line.iter().filter_map(|p| p.cost_per_kg)).fold(0.0, f64::max);
    let title = format!("{}: what an index costs", shortened(&aim.name));
    let mut shown: Chart = chart(&[low, high], title, "powders, cost per kg of scrub", curves);
    shown.x_label = "abrasiveness index (model)".to_owned();
    shown.y_top = if dearest > 0.0 { dearest * 1.12 } else { 1.0 };
    shown.rings = rings;
    let ([low, high], count) = ([low, high].map(three), blends.len());
    let description = format!(
        "Cost of the powders in a kilogram of scrub against the abrasiveness index (a model): the cheapest blend at each \
         index from {low} to {high}, all other targets kept, and the {count} blends found."
    );
    finished("frontier", &shown, &format!("What an index costs: {}", aim.name), &description)
}
