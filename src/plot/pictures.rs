//! The pictures of a scrub and of a powder.

use super::PlotError;
use super::chart::{Chart, Curve, MAIN, Mark, POWDERS, Pen};
use super::svg::{Canvas, FINE};
use crate::band::{Assessment, Judge};
use crate::blend::{Basis, Blend, Scrub};
use crate::numerics::written::{three, two};
use crate::rub::Work;
use crate::size::{SizeDistribution, SizeRecord};
use plotters::prelude::{IntoDrawingArea, RGBColor};

/// A finished picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// What it shows, as the end of a file name.
    pub name: &'static str,
    /// The SVG document.
    pub svg: String,
}

pub(super) const WIDTH: i32 = 800;
pub(super) const HEIGHT: i32 = 480;
/// Points of a curve.
const POINTS: usize = 400;
pub(super) const SIZE_AXIS: &str = "grain size, µm";
const PER_LN: &str = "share per unit of ln size";

/// The volume of the blend behind what its grains do.
pub(super) const VOLUME: Pen = Pen { color: RGBColor(0x88, 0x88, 0x88), width_px: 1.2, dash: "1 2" };
pub(super) const LOAD: Pen = Pen { color: POWDERS[0].color, width_px: 2.0, dash: "7 3" };
pub(super) const INDEX: Pen = Pen { color: POWDERS[1].color, width_px: 2.6, dash: "" };
pub(super) const BY_MASS: Pen = Pen { width_px: 1.6, dash: "4 2", ..MAIN };

/// A chart of a scrub before it is drawn.
pub(super) struct Plate {
    pub name: &'static str,
    pub chart: Chart,
    pub title: String,
    pub description: String,
}

/// The three pictures of an assessed scrub.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn blend_pictures(scrub: &Scrub, assessment: &Assessment, judge: &Judge) -> Result<Vec<Picture>, PlotError> {
    let sizes = size_grid(size_range(scrub, assessment, judge));
    let plates = blend_plates(scrub, assessment, judge, &sizes);
    plates.iter().map(|p| finished(p.name, &p.chart, &p.title, &p.description)).collect()
}

/// What the three pictures show: frequency, cumulative undersize, which grains do the work.
pub(super) fn blend_plates(scrub: &Scrub, assessment: &Assessment, judge: &Judge, sizes: &[f64]) -> [Plate; 3] {
    [frequency_plate(scrub, sizes), undersize_plate(scrub, sizes), work_plate(scrub, assessment, judge, sizes)]
}

/// The picture of one powder: frequency above, cumulative undersize below.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn size_picture(name: &str, record: &SizeRecord) -> Result<Picture, PlotError> {
    let d = &record.distribution;
    let before = record.sieved.as_ref().map(|sieved| &sieved.of);
    let widest = before.map_or(d, |before| &before.distribution);
    let sizes = size_grid(padded(widest.quantile(0.001), widest.quantile(0.999), widest.quantile(0.1)));
    let title = shortened(name);
    let drawn = |label: &str, of: &dyn Fn(&SizeDistribution, f64) -> f64| {
        let own = Curve::new(label, MAIN, sample(&sizes, |x| of(d, x))).shaded(true);
        let first =
            before.map(|b| Curve::new("before sieving", POWDERS[0], sample(&sizes, |x| of(&b.distribution, x))));
        [own].into_iter().chain(first).collect::<Vec<_>>()
    };
    let upper = drawn(if before.is_some() { "kept" } else { "by volume" }, &|d, x| d.density_ln(x.ln()));
    let upper = chart(&sizes, format!("{title}: frequency"), PER_LN, upper);
    let lower = match (before, record.points.is_empty()) {
        (Some(_), _) => "kept",
        (None, true) => "curve",
        (None, false) => "curve through the data",
    };
    let lower = drawn(lower, &SizeDistribution::undersize).into_iter().map(|curve| curve.shaded(false)).collect();
    let mut lower = chart(&sizes, format!("{title}: finer than"), "finer than, by volume", lower);
    let measured = before.map_or(record, |before| before);
    lower.dots = measured.points.iter().copied().filter(|p| inside(&sizes, p.0)).collect();
    lower.marks = percentile_marks(|p| d.quantile(p), &sizes);
    as_percent(&mut lower);
    let description = format!("Size distribution of {name}, {}. {}", record.basis, spoken(|p| d.quantile(p)));
    stacked("size", [&upper, &lower], &format!("Grain sizes of {name}"), &description)
}

/// Several scrubs in one picture: how much of each size above, where the index comes from below.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn compare_picture(scrubs: &[Scrub], assessments: &[Assessment], judge: &Judge) -> Result<Picture, PlotError> {
    let ranges = scrubs.iter().zip(assessments).map(|(s, a)| size_range(s, a, judge));
    let (lo, hi) = ranges.fold((f64::INFINITY, 0.0_f64), |(lo, hi), r| (lo.min(r.0), hi.max(r.1)));
    let sizes = size_grid((lo, hi));
    let (mut frequency, mut index) = (Vec::new(), Vec::new());
    for (i, (scrub, assessment)) in scrubs.iter().zip(assessments).enumerate() {
        // The scrub that the others are held against is drawn like the blend of a single picture.
        let pen = if i == 0 { MAIN } else { POWDERS[i - 1] };
        let curve = |points| Curve::new(shortened(&scrub.name), pen, points).shaded(i == 0);
        frequency.push(curve(sample(&sizes, |x| scrub.blend.density_ln(Basis::Volume, x.ln()))));
        index.push(curve(index_by_size(assessment, judge, &sizes)));
    }
    let upper = chart(&sizes, "How much of each size, by volume".into(), PER_LN, frequency);
    let lower = chart(&sizes, "Where the index comes from (model)".into(), "index × share per unit of ln size", index);
    let said = scrubs.iter().zip(assessments);
    let said: Vec<String> = said.map(|(s, a)| format!("{}: index {}", s.name, three(a.rubbed.index))).collect();
    let description = format!(
        "Volume frequency and index by grain size of {} scrubs on a logarithmic size axis. {}.",
        scrubs.len(),
        said.join("; ")
    );
    stacked("compare", [&upper, &lower], "Scrubs compared", &description)
}

/// The index spread over grain sizes: shares of it per unit of ln size, times the index.
pub(super) fn index_by_size(assessment: &Assessment, judge: &Judge, sizes: &[f64]) -> Vec<(f64, f64)> {
    match Work::new(judge.model(), &assessment.rubbed) {
        Some(work) => sample(sizes, |x| assessment.rubbed.index * work.densities_ln(x.ln()).0),
        None => sample(sizes, |_| 0.0),
    }
}

fn frequency_plate(scrub: &Scrub, sizes: &[f64]) -> Plate {
    let (powders, blend) = scrub.blend.density_curves(Basis::Volume, sizes);
    let mut curves = vec![curve(blend_name(&scrub.blend, ""), MAIN, sizes, blend).shaded(true)];
    for (i, (j, c)) in leading(&scrub.blend).into_iter().enumerate() {
        let weighted = powders.column(j).iter().map(|v| v * c.volume).collect::<Vec<_>>();
        let name = format!("{} ({} %)", shortened(&c.powder.name), two(100.0 * c.volume));
        curves.push(curve(name, POWDERS[i], sizes, weighted));
    }
    let title = format!("{}: how much of each size, by volume", shortened(&scrub.name));
    let shown = chart(sizes, title, PER_LN, curves);
    let description = format!(
        "Volume frequency per unit of ln size on a logarithmic size axis: the blend, and each powder by its share of the \
         volume. {}",
        spoken(|p| scrub.blend.quantile(Basis::Volume, p))
    );
    Plate { name: "frequency", chart: shown, title: format!("Size frequency of {}", scrub.name), description }
}

fn undersize_plate(scrub: &Scrub, sizes: &[f64]) -> Plate {
    let (powders, by_volume) = scrub.blend.undersize_curves(Basis::Volume, sizes);
    let (_, by_mass) = scrub.blend.undersize_curves(Basis::Mass, sizes);
    let apart = by_volume.iter().zip(&by_mass).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let mut curves = vec![curve(blend_name(&scrub.blend, " by volume (laser)"), MAIN, sizes, by_volume)];
    if apart > 0.02 {
        curves.push(curve("blend by mass (sieves)", BY_MASS, sizes, by_mass));
    }
    if scrub.blend.components().len() > 1 {
        for (i, (j, c)) in leading(&scrub.blend).into_iter().enumerate() {
            curves.push(curve(shortened(&c.powder.name), POWDERS[i], sizes, powders.column(j).to_vec()));
        }
    }
    let title = format!("{}: finer than", shortened(&scrub.name));
    let mut shown = chart(sizes, title, "finer than", curves);
    shown.marks = percentile_marks(|p| scrub.blend.quantile(Basis::Volume, p), sizes);
    as_percent(&mut shown);
    let description = format!(
        "Cumulative undersize on a logarithmic size axis, of the blend and of each powder. {}",
        spoken(|p| scrub.blend.quantile(Basis::Volume, p))
    );
    Plate { name: "undersize", chart: shown, title: format!("Cumulative undersize of {}", scrub.name), description }
}

fn work_plate(scrub: &Scrub, assessment: &Assessment, judge: &Judge, sizes: &[f64]) -> Plate {
    let volume = sample(sizes, |x| scrub.blend.density_ln(Basis::Volume, x.ln()));
    let mut curves = vec![Curve::new("volume of the blend", VOLUME, volume).shaded(true)];
    let gap = assessment.rubbed.reference().gap_um;
    let description = match Work::new(judge.model(), &assessment.rubbed) {
        Some(work) => {
            let part = |pick: fn((f64, f64)) -> f64| sample(sizes, |x| pick(work.densities_ln(x.ln())));
            curves.push(Curve::new("load they carry", LOAD, part(|d| d.1)));
            curves.push(Curve::new("abrasiveness index", INDEX, part(|d| d.0)));
            let [low, high] = [0.1, 0.9].map(|p| three(work.index_quantile_um(p)));
            format!(
                "Share of the load and of the abrasiveness index by grain size at the reference rub. Grains of {low} to {high} µm \
                 give the middle 80 % of the index; grains finer than the gap of {} µm do not touch.",
                three(gap)
            )
        }
        None => format!("No grain is wider than the gap of {} µm: nothing rubs.", three(gap)),
    };
    let title = format!("{}: which grains do the work (model)", shortened(&scrub.name));
    let mut shown = chart(sizes, title, PER_LN, curves);
    if inside(sizes, gap) {
        shown.line_at = Some((gap, format!("gap {} µm: finer grains do not touch", three(gap))));
    }
    Plate { name: "work", chart: shown, title: format!("Which grains do the work in {}", scrub.name), description }
}

pub(super) fn finished(
    name: &'static str,
    chart: &Chart,
    title: &str,
    description: &str,
) -> Result<Picture, PlotError> {
    let sheet = Canvas::new(WIDTH, HEIGHT);
    chart.draw(&sheet, &sheet.clone().into_drawing_area())?;
    Ok(Picture { name, svg: sheet.document(title, description) })
}

/// Two charts in one picture, one above the other.
pub(super) fn stacked(
    name: &'static str,
    [upper, lower]: [&Chart; 2],
    title: &str,
    description: &str,
) -> Result<Picture, PlotError> {
    let sheet = Canvas::new(WIDTH, 2 * HEIGHT - 80);
    let (top, bottom) = sheet.clone().into_drawing_area().split_vertically((HEIGHT - 40) * FINE);
    upper.draw(&sheet, &top)?;
    lower.draw(&sheet, &bottom)?;
    Ok(Picture { name, svg: sheet.document(title, description) })
}

pub(super) fn chart(sizes: &[f64], title: String, y_label: &str, curves: Vec<Curve>) -> Chart {
    Chart::new(title, [SIZE_AXIS, y_label], (sizes[0], sizes[sizes.len() - 1]), 1.12, curves)
}

/// A cumulative curve ends at 100 %, with a little room above.
pub(super) fn as_percent(chart: &mut Chart) {
    chart.y_top = 1.02;
    chart.y_percent = true;
}

fn curve(name: impl Into<String>, pen: Pen, sizes: &[f64], values: impl IntoIterator<Item = f64>) -> Curve {
    Curve::new(name, pen, sizes.iter().copied().zip(values).collect())
}

/// The powders that get a curve of their own: those with most of the volume, in the blend's order.
pub(super) fn leading(blend: &Blend) -> Vec<(usize, &crate::blend::Component)> {
    let mut ranked: Vec<_> = blend.components().iter().enumerate().collect();
    ranked.sort_by(|a, b| b.1.volume.total_cmp(&a.1.volume));
    ranked.truncate(POWDERS.len());
    ranked.sort_by_key(|(i, _)| *i);
    ranked
}

/// The blend's name in a legend, which tells when not every powder has a curve.
fn blend_name(blend: &Blend, basis: &str) -> String {
    let (all, shown) = (blend.components().len(), POWDERS.len());
    if all > shown { format!("blend{basis}; {shown} of its {all} powders shown") } else { format!("blend{basis}") }
}

fn percentile_marks(quantile: impl Fn(f64) -> f64, sizes: &[f64]) -> Vec<Mark> {
    [(0.1, "D10"), (0.5, "D50"), (0.9, "D90")]
        .into_iter()
        .map(|(p, name)| Mark { size_um: quantile(p), value: p, label: format!("{name} {} µm", three(quantile(p))) })
        .filter(|m| inside(sizes, m.size_um))
        .collect()
}

fn spoken(quantile: impl Fn(f64) -> f64) -> String {
    let [d10, d50, d90] = [0.1, 0.5, 0.9].map(|p| three(quantile(p)));
    format!("D10 {d10} µm, D50 {d50} µm, D90 {d90} µm by volume.")
}

pub(super) fn inside(sizes: &[f64], size: f64) -> bool {
    sizes.first().is_some_and(|lo| size > *lo) && sizes.last().is_some_and(|hi| size < *hi)
}

/// Sizes that hold nearly all of every powder, the gap, and nearly all of the index.
pub(super) fn size_range(scrub: &Scrub, assessment: &Assessment, judge: &Judge) -> (f64, f64) {
    let ends = scrub.blend.components().iter().map(|c| {
        let d = &c.powder.size.distribution;
        (d.quantile(0.002), d.quantile(0.998))
    });
    let (lo, hi) = ends.fold((f64::INFINITY, 0.0_f64), |(lo, hi), e| (lo.min(e.0), hi.max(e.1)));
    let gap = assessment.rubbed.reference().gap_um;
    let work = Work::new(judge.model(), &assessment.rubbed).map_or(0.0, |w| w.index_quantile_um(0.998));
    let d10 = scrub.blend.quantile(Basis::Volume, 0.1);
    padded(lo.min(gap * 0.9), hi.max(gap * 1.1).max(work), d10)
}

/// A little room at both ends. A long fine tail is cut, lest it squeeze everything else into a corner, but never D10.
pub(super) fn padded(lo: f64, hi: f64, d10: f64) -> (f64, f64) {
    let lo = lo.max(hi / 3000.0).min(d10 / 1.5).max(1e-3);
    (lo / 1.08, hi * 1.08)
}

/// Sizes from one to another, rising by equal factors.
pub(super) fn size_grid((lo, hi): (f64, f64)) -> Vec<f64> {
    let (lo, hi) = (lo.ln(), hi.ln());
    (0..POINTS).map(|i| (lo + (hi - lo) * i as f64 / (POINTS - 1) as f64).exp()).collect()
}

pub(super) fn sample(sizes: &[f64], value: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    sizes.iter().map(|&x| (x, value(x))).collect()
}

/// Longest name in a title or a legend, in characters.
const LONGEST_NAME: usize = 34;

/// A name short enough for a title or a legend.
pub(super) fn shortened(name: &str) -> String {
    shortened_to(LONGEST_NAME, name)
}

/// Names short enough for a legend, cut in their middle where their beginnings would be the same.
pub(super) fn shortened_apart(names: &[&str]) -> Vec<String> {
    let short: Vec<String> = names.iter().map(|n| shortened(n)).collect();
    let one = |(name, cut): (&&str, &String)| {
        let alike = short.iter().filter(|s| *s == cut).count() > 1 && cut.ends_with('…');
        if !alike {
            return cut.clone();
        }
        let letters: Vec<char> = name.chars().collect();
        let half = LONGEST_NAME / 2;
        let [start, end] =
            [&letters[..half - 1], &letters[letters.len() - half..]].map(|c| c.iter().collect::<String>());
        format!("{}…{}", start.trim_end(), end.trim_start())
    };
    names.iter().zip(&short).map(one).collect()
}

/// A name of at most so many characters.
pub(super) fn shortened_to(longest: usize, name: &str) -> String {
    if name.chars().count() <= longest {
        return name.to_owned();
    }
    let start: String = name.chars().take(longest - 1).collect();
    format!("{}…", start.trim_end())
}
