//! The pictures of a ladder: index and groove ratios along one quantity, or the bands over two.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, Mark, POWDERS, Pen};
use super::ground::{CutLine, FilledArea, Ground, Name, Spot};
use super::pictures::{Picture, finished, shortened, stacked};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::design::{Ladder, LadderStep, Map, Varied};
use crate::numerics::written::{four, three};
use plotters::prelude::RGBColor;
use std::collections::BTreeSet;
use std::iter::once;

/// Room above the highest curve, where the names of the bands stand.
const HEADROOM: f64 = 1.25;

/// Index above and groove ratios below along what is varied, each band shaded, each crossing marked.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn ladder_picture(scrub: &Scrub, judge: &Judge, ladder: &Ladder) -> Result<Picture, PlotError> {
    let curve = |name: &str, pen: Pen, value: &dyn Fn(&LadderStep) -> f64| {
        Curve::new(name, pen, ladder.curve.iter().map(|s| (s.value, value(s))).collect())
    };
    let index = vec![curve("abrasiveness index (model)", MAIN, &|s| s.index)];
    let sites = judge.model().sites().iter().zip(POWDERS.iter().cycle()).enumerate();
    let ratios = sites.map(|(i, (site, pen))| curve(&site.name, *pen, &|s| s.groove_ratios[i])).collect();
    let name = shortened(&scrub.name);
    let along = |title: String, y_label: &str, curves| along(scrub, ladder.varied, title, y_label, curves);
    let mut upper = along(format!("{name}: abrasiveness index (model)"), "abrasiveness index", index);
    let mut lower = along(format!("{name}: groove ratio at each site (model)"), "groove ratio", ratios);
    upper.ground = zones(judge, ladder, upper.y_top);
    lower.ground = zones(judge, ladder, lower.y_top);
    lower.ground.cuts.iter_mut().for_each(|cut| cut.label.clear());
    let title = format!("{} along the {}", scrub.name, ladder.varied.label(scrub));
    stacked("ladder", [&upper, &lower], &title, &spoken(scrub, judge, ladder))
}

/// The bands over two quantities, with the borders between them.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn map_picture(scrub: &Scrub, judge: &Judge, map: &Map) -> Result<Picture, PlotError> {
    let [across, upwards] = map.varied;
    let title = format!("{}: bands (model)", shortened(&scrub.name));
    let mut shown = along(scrub, across, title, &upwards.label(scrub), borders(judge, map));
    (shown.y_low, shown.y_top) = (upwards.low, upwards.high);
    let inside = |v: f64, of: Varied| (of.low..=of.high).contains(&v);
    if inside(map.now.0, across) && inside(map.now.1, upwards) {
        shown.marks.push(Mark { size_um: map.now.0, value: map.now.1, label: String::new() });
        shown.ground.names.push(Name { label: "this scrub".to_owned(), spots: beside(map) });
    }
    let bands = judge.bands().len();
    let rim = rectangle((across.low, across.high), (upwards.low, upwards.high));
    // The harsher first: where the limits of a milder band are met as well, that one counts.
    let regions = map.regions.iter().enumerate().rev();
    let regions = regions.map(|(rank, outlines)| FilledArea { outlines: outlines.clone(), color: shade(rank, bands) });
    shown.ground.fills = once(FilledArea { outlines: vec![rim], color: shade(bands, bands) }).chain(regions).collect();
    let ranks: BTreeSet<usize> = map.rank.iter().flatten().copied().collect();
    let name = |&rank: &usize| Name { label: judge.band_name(rank).to_owned(), spots: spots(map, rank) };
    shown.ground.names.extend(ranks.iter().map(name));
    let [over, up] = map.varied.map(|v| v.label(scrub));
    let (name, bands) = (&scrub.name, ranks.iter().map(|r| judge.band_name(*r)).collect::<Vec<_>>().join(", "));
    let description = format!(
        "Bands of {name} over {over} (across) and {up} (upwards): {bands}. Abrasiveness index, a model, and band limits, a convention."
    );
    finished("map", &shown, &format!("Bands of {}", scrub.name), &description)
}

fn along(scrub: &Scrub, varied: Varied, title: String, y_label: &str, curves: Vec<Curve>) -> Chart {
    let labels = [&varied.label(scrub), y_label];
    Chart { x_log: false, ..Chart::new(title, labels, (varied.low, varied.high), HEADROOM, curves) }
}

/// Ever darker from the mildest band to what no band allows, so that the order shows without colour.
pub(super) fn shade(rank: usize, bands: usize) -> RGBColor {
    let part = rank as f64 / bands.max(1) as f64;
    let between = |light: f64, dark: f64| (light + (dark - light) * part).round() as u8;
    RGBColor(between(250.0, 178.0), between(248.0, 168.0), between(242.0, 146.0))
}

pub(super) fn rectangle(x: (f64, f64), y: (f64, f64)) -> Vec<(f64, f64)> {
    vec![(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)]
}

/// The bands along the way, and cuts where they change, where a site turns grain-borne and where the scrub stands.
fn zones(judge: &Judge, ladder: &Ladder, y_top: f64) -> Ground {
    let (low, high) = (ladder.varied.low, ladder.varied.high);
    let mut ground = Ground::default();
    for (rank, from, to) in stretches(ladder) {
        let outlines = vec![rectangle((from, to), (0.0, y_top))];
        ground.fills.push(FilledArea { outlines, color: shade(rank, judge.bands().len()) });
        let head = ((from, to), (0.86 * y_top, y_top));
        let spots = vec![head, ((from, to), (0.4 * y_top, y_top)), ((from, to), (0.0, y_top))];
        ground.names.push(Name { label: judge.band_name(rank).to_owned(), spots });
    }
    let mut cuts: Vec<CutLine> =
        ladder.crossings.iter().map(|c| CutLine { x: c.value, label: four(c.value), dash: "" }).collect();
    if (low..=high).contains(&ladder.now) {
        cuts.push(CutLine { x: ladder.now, label: format!("now {}", three(ladder.now)), dash: "1 3" });
    }
    for borne in &ladder.borne {
        let site = &judge.model().sites()[borne.site].name;
        let ends = [(borne.from, "grain-borne from"), (borne.to, "grain-borne up to")];
        for (x, word) in ends.into_iter().filter(|(x, _)| *x > low && *x < high) {
            cuts.push(CutLine { x, label: format!("{site}: {word} {}", three(x)), dash: "6 4" });
        }
    }
    ground.cuts = cuts;
    ground
}

/// The bands along the way: rank, from, to.
fn stretches(ladder: &Ladder) -> Vec<(usize, f64, f64)> {
    let first = ladder.crossings.first().map_or(ladder.curve[0].rank, |c| c.from);
    let starts = once((first, ladder.varied.low)).chain(ladder.crossings.iter().map(|c| (c.to, c.value)));
    let ends = ladder.crossings.iter().map(|c| c.value).chain(once(ladder.varied.high));
    starts.zip(ends).map(|((rank, from), to)| (rank, from, to)).collect()
}

fn spoken(scrub: &Scrub, judge: &Judge, ladder: &Ladder) -> String {
    let said = stretches(ladder)
        .into_iter()
        .map(|(rank, from, to)| format!("{} from {} to {}", judge.band_name(rank), four(from), four(to)));
    format!(
        "Abrasiveness index, a model, and groove ratio at each site along the {}. Bands, whose limits are a convention: {}.",
        ladder.varied.label(scrub),
        said.collect::<Vec<_>>().join("; ")
    )
}

/// The border lines, each pair of bands with a pen of its own.
fn borders(judge: &Judge, map: &Map) -> Vec<Curve> {
    let pairs: BTreeSet<(usize, usize)> = map.borders.iter().map(|b| (b.from, b.to)).collect();
    let mut curves = Vec::new();
    for (pair, pen) in pairs.into_iter().zip(POWDERS.iter().cycle()) {
        let mut name = format!("{} | {}", judge.band_name(pair.0), judge.band_name(pair.1));
        for border in map.borders.iter().filter(|b| (b.from, b.to) == pair) {
            let pen = Pen { width_px: 2.4, ..*pen };
            curves.push(Curve::new(std::mem::take(&mut name), pen, border.points.clone()));
        }
    }
    curves
}

/// Places around the point at which the scrub stands, for its label: first those that no border runs through.
fn beside(map: &Map) -> Vec<Spot> {
    let [across, upwards] = map.varied.map(|v| v.high - v.low);
    let (x, y) = map.now;
    let right = (x + 0.01 * across, x + 0.13 * across);
    let left = (x - 0.13 * across, x - 0.01 * across);
    let (above, below) = ((y + 0.005 * upwards, y + 0.06 * upwards), (y - 0.06 * upwards, y - 0.005 * upwards));
    let mut spots = vec![(right, above), (right, below), (left, above), (left, below)];
    let within = |v: f64, (lo, hi): (f64, f64)| lo <= v && v <= hi;
    let [over, up] = map.varied.map(|v| (v.low, v.high));
    spots.retain(|(h, v)| within(h.0, over) && within(h.1, over) && within(v.0, up) && within(v.1, up));
    let points = || map.borders.iter().flat_map(|b| &b.points);
    spots.sort_by_key(|(h, v)| points().filter(|(x, y)| within(*x, *h) && within(*y, *v)).count());
    spots
}

/// Where the name of a band may stand on the map: stretches of some rows that lie in it, the longest first, then of some
/// columns; three of them before two.
fn spots(map: &Map, rank: usize) -> Vec<Spot> {
    let (columns, rows) = (map.x.len(), map.y.len());
    let is = |i: usize, j: usize| map.rank[j][i] == rank;
    let mut found: Vec<Spot> = Vec::new();
    for thick in [2, 1] {
        let lying = stretches_within(columns, rows, thick, &is);
        found.extend(lying.iter().map(|s| ((map.x[s.0], map.x[s.1]), (map.y[s.2], map.y[s.2 + thick]))));
        let upright = stretches_within(rows, columns, thick, &|j, i| is(i, j));
        found.extend(upright.iter().map(|s| ((map.x[s.2], map.x[s.2 + thick]), (map.y[s.0], map.y[s.1]))));
    }
    found
}

/// First, last and lowest row of every stretch of `thick` + 1 rows that is within, the longest first.
fn stretches_within(
    long: usize,
    across: usize,
    thick: usize,
    is: &impl Fn(usize, usize) -> bool,
) -> Vec<(usize, usize, usize)> {
    let rows = 0..across.saturating_sub(thick);
    let mut found: Vec<(usize, usize, usize)> = rows
        .flat_map(|row| {
            let within = |i: usize| (row..=row + thick).all(|j| is(i, j));
            runs(long, within).into_iter().map(move |(a, b)| (a, b, row))
        })
        .collect();
    found.sort_by_key(|(a, b, _)| std::cmp::Reverse(b - a));
    found
}

/// First and last of every run of places that are within.
fn runs(count: usize, within: impl Fn(usize) -> bool) -> Vec<(usize, usize)> {
    let places: Vec<usize> = (0..count).filter(|&i| within(i)).collect();
    places.chunk_by(|a, b| a + 1 == *b).map(|run| (run[0], run[run.len() - 1])).collect()
}
