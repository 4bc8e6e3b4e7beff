//! The result of `gritwise grains`.

use super::SizeReport;
use super::layout::{Grid, bullets, part, row};
use crate::numerics::written::{four, three};
use crate::powder::sample::{MedianRoundness, by_class, grains_for_size, median, median_roundness};
use crate::tables::RoundnessRow;
use serde::Serialize;

/// Grains measured on pictures, or counted by eye. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrainsReport {
    /// The pictures, in order; none where grains were counted by eye.
    pub photos: Vec<PhotoPart>,
    /// The grains, picture by picture, from the top down.
    pub grains: Vec<GrainPart>,
    /// What they say together.
    pub sample: SamplePart,
    /// What to be careful with.
    pub cautions: Vec<String>,
}

/// A picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhotoPart {
    /// File name.
    pub file: String,
    /// Of its bytes, in hexadecimal.
    pub sha256: String,
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// Scale, µm per pixel.
    pub um_per_pixel: f64,
    /// Where the scale comes from.
    pub scale_from: String,
    /// `light` or `dark`.
    pub ground: &'static str,
    /// Grains measured.
    pub grains: usize,
    /// Left out: cut by the edge of the picture.
    pub cut: usize,
    /// Left out: smaller than dust.
    pub dust: usize,
    /// Left out: too faint for an outline.
    pub faint: usize,
    /// Touched others and were split: size only.
    pub split: usize,
    /// No grey lies between ground and grains, as in a mask: outlines are known to whole pixels only.
    pub mask: bool,
}

/// A grain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrainPart {
    /// Its number, from 1, as in the picture of outlines.
    pub number: usize,
    /// Which picture, from 1.
    pub photo: usize,
    /// Place of its middle in the picture, pixels.
    pub x_pixels: f64,
    /// See above.
    pub y_pixels: f64,
    /// Area, µm².
    pub area_um2: f64,
    /// Diameter of the circle of equal area, µm.
    pub equivalent_um: f64,
    /// Largest Feret diameter, µm.
    pub feret_max_um: f64,
    /// Smallest Feret diameter, µm.
    pub feret_min_um: f64,
    /// Length around, µm.
    pub perimeter_um: f64,
    /// Smallest over largest Feret diameter.
    pub aspect: f64,
    /// √(4π area) / perimeter.
    pub circularity: f64,
    /// Area over that of the convex hull.
    pub solidity: f64,
    /// Equivalent diameter over that of the smallest circle around.
    pub sphericity: f64,
    /// Wadell's roundness, where it can be told.
    pub roundness: Option<f64>,
    /// Corners that give it.
    pub corners: usize,
    /// Equivalent diameter, pixels.
    pub pixels: f64,
    /// It touched another: size only.
    pub split: bool,
    /// How many grains it stands for (Miles and Lantuéjoul).
    pub weight: f64,
}

/// What the grains say together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SamplePart {
    /// Grains measured or counted.
    pub grains: usize,
    /// Median roundness.
    pub roundness: Option<f64>,
    /// 5 % point of its bootstrap.
    pub roundness_low: Option<f64>,
    /// 95 % point.
    pub roundness_high: Option<f64>,
    /// Grains that give it.
    pub grains_used: usize,
    /// Grains that would give median roundness and, of pictures, the median size by volume to within 10 %.
    pub grains_wanted: Option<usize>,
    /// The part of it that roundness asks for.
    pub grains_wanted_roundness: Option<usize>,
    /// The part of it that size asks for.
    pub grains_wanted_size: Option<usize>,
    /// Median aspect ratio.
    pub aspect: Option<f64>,
    /// Grains by Powers class.
    pub classes: Vec<ClassPart>,
    /// Sizes, as `size --json`.
    pub size: Option<SizeReport>,
}

/// A Powers class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassPart {
    /// Its name.
    pub class: String,
    /// Least roundness.
    pub low: f64,
    /// Largest roundness.
    pub high: f64,
    /// Grains in it.
    pub grains: usize,
}

impl SamplePart {
    /// From what is known of the grains.
    pub fn new(grains: &[GrainPart], roundness: &[f64], size: Option<SizeReport>, classes: &[RoundnessRow]) -> Self {
        let told = median_roundness(roundness, classes);
        let of_size = size.as_ref().and_then(|s| grains_for_size(s.geometric_sd));
        let of_roundness = told.map(|t| t.wanted);
        let class = |(row, grains): (&RoundnessRow, usize)| ClassPart {
            class: row.class.clone(),
            low: row.low,
            high: row.high,
            grains,
        };
        let of = |f: fn(MedianRoundness) -> f64| told.map(f);
        Self {
            grains: grains.len().max(roundness.len()),
            roundness: of(|t| t.median),
            roundness_low: of(|t| t.low),
            roundness_high: of(|t| t.high),
            grains_used: roundness.len(),
            grains_wanted: of_roundness.max(of_size),
            grains_wanted_roundness: of_roundness,
            grains_wanted_size: of_size,
            aspect: median(grains.iter().map(|g| g.aspect).collect()),
            classes: by_class(roundness, classes).into_iter().map(class).collect(),
            size,
        }
    }
}

impl GrainsReport {
    /// For a terminal.
    pub fn to_text(&self) -> String {
        let shown = self.grains.len().min(SHOWN);
        let more = self.grains.len() - shown;
        let rest = if more > 0 {
            format!("  and {more} more: --json has them all, --plot draws them\n")
        } else {
            String::new()
        };
        let table = if self.grains.is_empty() { String::new() } else { self.grain_grid(shown).render() + &rest };
        [
            self.photos.iter().map(PhotoPart::lines).collect::<String>(),
            part("Roundness", self.roundness_lines()),
            part("Size", indented(&self.size_facts())),
            part("Grains", table),
            part("Take care", bullets(&self.cautions)),
        ]
        .concat()
    }

    fn roundness_lines(&self) -> String {
        let facts = indented(&self.roundness_facts());
        if self.sample.roundness.is_some() { facts + &self.class_grid().render() } else { facts }
    }

    /// What is known of the roundness, a sentence each.
    pub(super) fn roundness_facts(&self) -> Vec<String> {
        let s = &self.sample;
        let (Some(median), Some(low), Some(high)) = (s.roundness, s.roundness_low, s.roundness_high) else {
            return vec![format!("not told: none of {} grains has enough pixels and lies alone", s.grains)];
        };
        let [median, low, high] = [median, low, high].map(three);
        let head =
            format!("median {median} (90 % between {low} and {high}), of {} of {} grains", s.grains_used, s.grains);
        let aspect = s.aspect.map(|a| format!("median aspect ratio {}", three(a)));
        let wanted = match s.grains_wanted_roundness.map(|w| w.saturating_sub(s.grains_used)) {
            Some(more) if more > 0 => format!("{more} grains more would give it to within 10 %"),
            _ => "grains enough for ±10 %".to_owned(),
        };
        [Some(head), aspect, Some(wanted)].into_iter().flatten().collect()
    }

    /// Grains by Powers class.
    pub(super) fn class_grid(&self) -> Grid {
        let line = |c: &ClassPart| {
            row(c.class.clone()).and(format!("{:.2} to {:.2}", c.low, c.high)).and(c.grains.to_string())
        };
        Grid::new("lrr", &["Powers class", "roundness", "grains"]).rows(self.sample.classes.iter().map(line))
    }

    /// What is known of the sizes, a sentence each.
    pub(super) fn size_facts(&self) -> Vec<String> {
        let Some(size) = &self.sample.size else { return Vec::new() };
        let listed: Vec<String> = size
            .percentiles
            .listed()
            .filter(|(name, _)| ["D10", "D50", "D90"].contains(name))
            .map(|(name, um)| format!("{name} {} µm", four(um)))
            .collect();
        let number = size.number_median_um.map_or_else(String::new, |m| format!("; median by number {} µm", four(m)));
        let head = format!("by volume, of circles of equal area: {}{number}", listed.join(", "));
        let wanted = match self.sample.grains_wanted_size.map(|w| w.saturating_sub(self.sample.grains)) {
            Some(more) if more > 0 => {
                Some(format!("{more} grains more would give the median by volume to within 10 % (ISO 13322-1)"))
            }
            Some(_) => Some("grains enough for ±10 % (ISO 13322-1)".to_owned()),
            None => None,
        };
        [Some(head), wanted].into_iter().flatten().collect()
    }

    /// The first so many grains.
    pub(super) fn grain_grid(&self, shown: usize) -> Grid {
        let line = |g: &GrainPart| {
            let roundness = g.roundness.map_or_else(|| "-".to_owned(), |r| format!("{r:.2}"));
            let note = if g.split { "touched: size only" } else { "" };
            row(g.number.to_string())
                .four([g.equivalent_um, g.feret_max_um, g.feret_min_um])
                .all([g.aspect, g.circularity, g.solidity].map(|v| format!("{v:.3}")))
                .and(roundness)
                .and(format!("{:.0}", g.pixels))
                .and(note)
        };
        let heads = [
            "",
            "equal area µm",
            "Feret µm",
            "least µm",
            "aspect",
            "circularity",
            "solidity",
            "roundness",
            "pixels",
            "",
        ];
        Grid::new("rrrrrrrrrl", &heads).rows(self.grains[..shown].iter().map(line))
    }
}

/// Facts under the name of a part.
fn indented(facts: &[String]) -> String {
    facts.iter().map(|fact| format!("  {fact}\n")).collect()
}

/// Grains that the text lists.
const SHOWN: usize = 20;

impl PhotoPart {
    fn lines(&self) -> String {
        let left = [(self.cut, "cut by the edge"), (self.dust, "dust"), (self.faint, "too faint")];
        let left: Vec<String> = left.iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}")).collect();
        let left = if left.is_empty() { String::new() } else { format!("; left out: {}", left.join(", ")) };
        let split =
            if self.split > 0 { format!(", {} of which touched and were split", self.split) } else { String::new() };
        format!(
            "{}: {} x {} pixels of {} µm ({}), {} ground\n  {} grains{split}{left}\n",
            self.file,
            self.width,
            self.height,
            four(self.um_per_pixel),
            self.scale_from,
            self.ground,
            self.grains
        )
    }
}
