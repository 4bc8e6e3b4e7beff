//! Grains on pictures, or counted by eye.

use super::{TaskError, asked};
use crate::design::place_of;
use crate::files::edit::{Edit, edited};
use crate::files::read_weighed;
use crate::numerics::written::{significant, three, trimmed};
use crate::plot::{DrawnGrain, Picture, Under, grains_picture};
use crate::powder::sample::{LEAST_FOR_INTERVAL, tallied};
use crate::report::grains::{GrainPart, PhotoPart, SamplePart};
use crate::report::{GrainsReport, SizeReport};
use crate::size::{SizeRecord, table};
use crate::source::{Fault, Source, sha256_hex};
use crate::tables::Tables;
use gritwise_grains::ground::PictureGround;
use gritwise_grains::{FoundGrains, Grain, Wish, find, least_pixels, photo};
use serde_json::{Map, Value, json};

/// A picture's file.
pub struct Photo {
    /// Its name.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// How large a pixel is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// As the caller says, µm.
    UmPerPixel(f64),
    /// A bar of so many pixels has a length.
    Bar {
        /// Its pixels.
        pixels: f64,
        /// Its length, µm.
        um: f64,
    },
    /// A filled square of this side, µm, lies in each picture.
    Square(f64),
}

/// Whether a number, with what is written onto it, has one digit or more, a mark, and three digits: thousands, or thousandths.
fn may_be_thousands(text: &str) -> bool {
    let number = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    number.split_once([',', '.']).is_some_and(|(whole, part)| {
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        digits(whole) && digits(part) && part.len() == 3 && whole != "0"
    })
}

/// Scales that a picture of grains can have, µm per pixel.
const SCALES: std::ops::RangeInclusive<f64> = 0.001..=1000.0;

impl Scale {
    /// A scale bar in words, such as `500 px = 1 mm`.
    ///
    /// # Errors
    /// What would be right.
    pub fn bar(text: &str) -> Result<Self, Fault> {
        let wrong = || Fault::new(format!("\"{text}\" is no scale bar"), "write it like \"500 px = 1 mm\"");
        let (pixels, length) = text.split_once('=').ok_or_else(wrong)?;
        let number =
            |text: &str| text.trim().replace(',', ".").parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0);
        // Nobody has a bar of thousands of millimetres.
        let in_um = !["mm", "cm"].iter().any(|unit| text.trim_end().ends_with(unit));
        if let Some(piece) = text.split(['=', ' ']).find(|piece| in_um && may_be_thousands(piece)) {
            let bare: String = piece.chars().filter(char::is_ascii_digit).collect();
            let what = format!("{piece} may be {bare} or {}", piece.replace(',', "."));
            return Err(Fault::new(what, "write it without a mark, or with other than three digits behind it"));
        }
        let pixels = pixels.trim();
        let pixels =
            pixels.strip_suffix("px").or_else(|| pixels.strip_suffix("pixels")).and_then(number).ok_or_else(wrong)?;
        let length = length.trim();
        let units = [("mm", 1000.0), ("µm", 1.0), ("μm", 1.0), ("um", 1.0), ("cm", 10_000.0)];
        let um =
            units.iter().find_map(|(unit, um)| Some(number(length.strip_suffix(unit)?)? * um)).ok_or_else(wrong)?;
        Ok(Self::Bar { pixels, um })
    }

    /// µm per pixel, where the picture need not be looked at for it.
    fn fixed(self) -> Option<f64> {
        match self {
            Self::UmPerPixel(um) => Some(um),
            Self::Bar { pixels, um } => Some(um / pixels),
            Self::Square(_) => None,
        }
    }

    fn of(self, found: &FoundGrains) -> Result<(f64, String), TaskError> {
        let square = found.square.unwrap_or(f64::NAN);
        let from = match self {
            Self::UmPerPixel(_) => "as said".to_owned(),
            Self::Bar { pixels, um } => format!("{} pixels = {} µm", trimmed(pixels, 5), trimmed(um, 5)),
            Self::Square(side) => format!("a square of {} µm, {square:.1} pixels", trimmed(side, 5)),
        };
        let um = match self {
            Self::Square(side) => side / square,
            other => other.fixed().unwrap_or(f64::NAN),
        };
        let (low, high) = (SCALES.start(), SCALES.end());
        let wrong = || {
            TaskError::Wrong(format!(
                "a scale of {um} µm per pixel is none of a picture of grains; {low} to {high} can be"
            ))
        };
        if SCALES.contains(&um) { Ok((um, from)) } else { Err(wrong()) }
    }
}

/// What is asked.
pub struct GrainsRequest<'a> {
    /// The pictures.
    pub photos: &'a [Photo],
    /// Their scale.
    pub scale: Option<Scale>,
    /// Grains counted by eye instead.
    pub tally: Option<&'a str>,
    /// What is smaller is dust, µm; else what is smaller than eight pixels.
    pub dust_um: Option<f64>,
    /// The ground is dark; or light; else the picture says.
    pub dark_ground: Option<bool>,
    /// A sieve or other table of the same powder, to hold the sizes against.
    pub sieved: Option<&'a SizeRecord>,
    /// The scrub file, and the powder of it, that the roundness is written into.
    pub into: Option<(Source<'a>, &'a str)>,
    /// Draw what was found.
    pub pictures: bool,
    /// Called before each picture with its place.
    pub watch: &'a dyn Fn(usize),
}

/// What is told.
#[derive(Debug)]
pub struct GrainsTold {
    /// The report.
    pub report: GrainsReport,
    /// A table of counts, as `size` reads it; none of grains counted by eye.
    pub counts: Option<String>,
    /// The scrub file with the roundness in it.
    pub scrub: Option<String>,
    /// What was found on each picture.
    pub pictures: Vec<Picture>,
}

/// Dust where nobody says what is, pixels.
const DUST_PIXELS: f64 = 8.0;
/// Median sizes by volume that differ by more than this factor do not agree (convention).
const DISAGREES: f64 = 1.25;

/// Finds and measures grains.
///
/// # Errors
/// [`TaskError`].
pub fn grains(request: &GrainsRequest, tables: &Tables) -> Result<GrainsTold, TaskError> {
    let mut told = match request.tally {
        Some(text) => {
            let roundness = tallied(text, &tables.roundness).map_err(|e| asked("tally", e))?;
            let sample = SamplePart::new(&[], &roundness, None, &tables.roundness);
            let cautions = vec!["Classes by eye: two people differ by a class now and then; count twice.".to_owned()];
            let report = GrainsReport { photos: Vec::new(), grains: Vec::new(), sample, cautions };
            GrainsTold { report, counts: None, scrub: None, pictures: Vec::new() }
        }
        None => measured(request, tables)?,
    };
    if let Some((scrub, powder)) = request.into {
        told.scrub = Some(written_into(scrub, powder, &told.report, tables)?);
    }
    Ok(told)
}

fn measured(request: &GrainsRequest, tables: &Tables) -> Result<GrainsTold, TaskError> {
    let scale = request.scale.ok_or_else(|| {
        let problem = "the pictures have no scale; give --um-per-pixel 2.5, --scale-bar \"500 px = 1 mm\", or --square-um 1000 for a \
                       filled square in the picture";
        TaskError::Wrong(problem.to_owned())
    })?;
    let (mut photos, mut grains, mut pictures) = (Vec::new(), Vec::new(), Vec::new());
    for (place, photo) in request.photos.iter().enumerate() {
        (request.watch)(place);
        let Seen { part, grains: found, small } = look(photo, scale, request).map_err(|e| match e {
            TaskError::Wrong(cause) => TaskError::Of { file: photo.name.clone(), cause: cause.into() },
            other => other,
        })?;
        if let Some(same) = photos.iter().find(|seen: &&PhotoPart| seen.sha256 == part.sha256) {
            let cause =
                format!("the same bytes as {}; each grain counts once, so give every photograph once", same.file);
            return Err(TaskError::Of { file: photo.name.clone(), cause: cause.into() });
        }
        let first = grains.len();
        grains.extend(found.iter().enumerate().map(|(i, g)| grain(g, first + i + 1, place + 1, part.um_per_pixel)));
        pictures.extend(small.map(|small| picture(&part, &small, &found, first)));
        photos.push(part);
    }
    let counts = counts(&grains, &photos);
    let size = table::read(&counts, "counts", None, &tables.standards).map_err(|e| TaskError::Wrong(e.to_string()))?;
    let name = photos.iter().map(|p| p.file.as_str()).collect::<Vec<_>>().join(", ");
    let size = SizeReport::new(&name, &size, None, &[], tables);
    let roundness: Vec<f64> = grains.iter().filter_map(|g| g.roundness).collect();
    let sample = SamplePart::new(&grains, &roundness, Some(size), &tables.roundness);
    let cautions = cautions(&grains, &photos, &sample, request.sieved);
    let report = GrainsReport { photos, grains, sample, cautions };
    Ok(GrainsTold { report, counts: Some(counts), scrub: None, pictures })
}

/// What is seen on a picture.
struct Seen {
    part: PhotoPart,
    grains: Vec<Grain>,
    /// It, to lie under the outlines, where they are asked for.
    small: Option<photo::Small>,
}

/// The longer side of the picture that lies under outlines, pixels.
const SMALL_SIDE: u32 = 1600;

fn look(file: &Photo, scale: Scale, request: &GrainsRequest) -> Result<Seen, TaskError> {
    let wrong = |e: photo::PhotoError| TaskError::Wrong(e.to_string());
    let grey = photo::read(&file.bytes).map_err(wrong)?;
    let fixed = scale.fixed();
    let dust = request.dust_um.zip(fixed).map_or(DUST_PIXELS, |(dust, um)| dust / um);
    let ground = request.dark_ground.map(|dark| if dark { PictureGround::Dark } else { PictureGround::Light });
    let wish = Wish { dust: dust.max(3.0), ground, square: matches!(scale, Scale::Square(_)) };
    let mut found = find(&grey, &wish).map_err(wrong)?;
    let (um_per_pixel, scale_from) = scale.of(&found)?;
    if let (None, Some(dust_um)) = (fixed, request.dust_um) {
        let before = found.grains.len();
        found.grains.retain(|g| g.equivalent() * um_per_pixel >= dust_um);
        found.dust += before - found.grains.len();
    }
    if found.grains.is_empty() {
        return Err(TaskError::Wrong("no grain is larger than dust; give a smaller --dust-um".to_owned()));
    }
    let part = PhotoPart {
        file: file.name.clone(),
        sha256: sha256_hex(&file.bytes),
        width: grey.width(),
        height: grey.height(),
        um_per_pixel,
        scale_from,
        ground: if found.ground == PictureGround::Light { "light" } else { "dark" },
        grains: found.grains.len(),
        cut: found.cut,
        dust: found.dust,
        faint: found.faint,
        split: found.split,
        mask: found.is_mask,
    };
    let small = request.pictures.then(|| photo::small(&grey, SMALL_SIDE)).transpose().map_err(wrong)?;
    Ok(Seen { part, grains: found.grains, small })
}

fn grain(grain: &Grain, number: usize, photo: usize, um: f64) -> GrainPart {
    let [x_pixels, y_pixels] = grain.middle();
    GrainPart {
        number,
        photo,
        x_pixels,
        y_pixels,
        area_um2: grain.area * um * um,
        equivalent_um: grain.equivalent() * um,
        feret_max_um: grain.feret_max * um,
        feret_min_um: grain.feret_min * um,
        perimeter_um: grain.perimeter * um,
        aspect: grain.aspect(),
        circularity: grain.circularity(),
        solidity: grain.solidity(),
        sphericity: grain.sphericity(),
        roundness: grain.roundness,
        corners: grain.corners.len(),
        pixels: grain.equivalent(),
        split: grain.split,
        weight: grain.weight,
    }
}

fn picture(part: &PhotoPart, small: &photo::Small, found: &[Grain], first: usize) -> Picture {
    let drawn: Vec<DrawnGrain> = found
        .iter()
        .enumerate()
        .map(|(i, g)| {
            let told = g.roundness.is_some();
            let circles = g.corners.iter().chain(told.then_some(&g.inscribed)).map(|c| (c.centre, c.radius)).collect();
            DrawnGrain { number: first + i + 1, middle: g.middle(), outline: &g.outline, circles, rounded: told }
        })
        .collect();
    let size = [part.width, part.height];
    grains_picture(&Under { file: &part.file, size, jpeg: &small.jpeg, covers: small.covers }, &drawn)
}

/// Classes to a doubling of the size: so narrow, 2 %, that a percentile of them is one of the grains.
const CLASSES: f64 = 32.0;

/// A table of counts in classes that narrow, of circles of equal area, each grain with its weight.
fn counts(grains: &[GrainPart], photos: &[PhotoPart]) -> String {
    let class = |um: f64| (CLASSES * um.log2()).floor() as i64;
    let places: Vec<i64> = grains.iter().map(|g| class(g.equivalent_um)).collect();
    let (first, last) = (places.iter().min().copied().unwrap_or(0), places.iter().max().copied().unwrap_or(0));
    let edge = |place: i64| significant((place as f64 / CLASSES).exp2(), 5);
    let mut text = format!(
        "# {} grains on {} picture(s), by the diameter of the circle of equal area; corrected for those across the edge (Miles and Lantuejoul)\n",
        grains.len(),
        photos.len()
    );
    for photo in photos {
        let name: String = photo.file.chars().filter(|c| !c.is_control()).collect();
        text += &format!("# {name}, SHA-256 {}\n", photo.sha256);
    }
    text += "lower_um,upper_um,count\n";
    for place in first..=last {
        let weight: f64 = grains.iter().zip(&places).filter(|(_, p)| **p == place).map(|(g, _)| g.weight).sum();
        text += &format!("{},{},{}\n", edge(place), edge(place + 1), significant(weight, 4));
    }
    text
}

fn cautions(
    grains: &[GrainPart],
    photos: &[PhotoPart],
    sample: &SamplePart,
    sieved: Option<&SizeRecord>,
) -> Vec<String> {
    let mut all = Vec::new();
    for mask in [false, true] {
        let least = least_pixels(mask);
        let there: Vec<&GrainPart> = grains.iter().filter(|g| photos[g.photo - 1].mask == mask).collect();
        let small = there.iter().filter(|g| g.pixels < least).count();
        if mask && !there.is_empty() {
            let said = "A picture without grey at the edges of its grains, as a mask: roundness is known less well, within 0.03 for most and 0.12 \
                        for all shapes that were tried; give the photograph as it was taken.";
            all.push(said.to_owned());
        }
        if small > 0 {
            let count = there.len();
            all.push(format!(
                "{small} of {count} grains are less than {least} pixels across: they count for size only."
            ));
        }
    }
    let (cut, whole) = photos.iter().fold((0, 0), |(c, w), p| (c + p.cut, w + p.grains));
    if cut > whole {
        all.push("More grains are cut by the edge than lie whole in the pictures: the correction for it is no more than a guess.".to_owned());
    }
    if (1..LEAST_FOR_INTERVAL).contains(&sample.grains_used) {
        all.push(format!(
            "Grains that give the roundness: {}. So few say nothing of how far their median is off ({LEAST_FOR_INTERVAL} at least do): it may be \
             anything.",
            sample.grains_used
        ));
    } else if sample.grains_used > 0 && sample.grains_used < 30 {
        all.push(format!("{} grains give the roundness; 30 at least are wanted (convention).", sample.grains_used));
    }
    let seen = sample.size.as_ref().and_then(|s| s.percentiles.um_of("D50"));
    if let Some((seen, sieve)) = seen.zip(sieved.map(|s| s.distribution.quantile(0.5))) {
        let factor = seen / sieve;
        if !(1.0 / DISAGREES..=DISAGREES).contains(&factor) {
            let (seen, sieve) = (three(seen), three(sieve));
            all.push(format!(
                "The sizes do not agree: the median by volume is {seen} µm on the pictures and {sieve} µm in the table. Look at the scale, and at \
                 whether the pictures show the same powder."
            ));
        }
    }
    all
}

/// The scrub file with roundness, its interval and where it comes from.
fn written_into(scrub: Source, word: &str, report: &GrainsReport, tables: &Tables) -> Result<String, TaskError> {
    let values = roundness_values(report)
        .ok_or_else(|| asked("into", "no grain's roundness is told, so there is nothing to write"))?;
    let opened = scrub.open()?;
    let weighed = read_weighed(Source::Text { text: &opened.text, name: &opened.name, beside: opened.beside }, tables)?;
    let powder = place_of(&weighed.scrub, word).map_err(|e| asked("powder", e))?;
    Ok(edited(&opened.text, &opened.name, &[Edit::Powder { powder, values }])?)
}

/// What an edit of a powder takes to hold the roundness that was measured; none where no grain tells it.
pub fn roundness_values(report: &GrainsReport) -> Option<Map<String, Value>> {
    let SamplePart { roundness, roundness_low, roundness_high, .. } = report.sample;
    let rounded = |v: f64| json!((v.clamp(0.01, 1.0) * 1000.0).round() / 1000.0);
    let mut values: Map<String, Value> = Map::new();
    // A class would stand against the number.
    values.insert("roundness_class".into(), Value::Null);
    values.insert("roundness".into(), rounded(roundness?));
    values.insert("roundness_low".into(), rounded(roundness_low?));
    values.insert("roundness_high".into(), rounded(roundness_high?));
    values.insert("roundness_source".into(), Value::String(source_words(report)));
    Some(values)
}

fn source_words(report: &GrainsReport) -> String {
    let used = report.sample.grains_used;
    let hashes: Vec<&str> = report.photos.iter().map(|p| p.sha256.as_str()).collect();
    match hashes[..] {
        [] => format!("counted by eye, {used} grains"),
        [one] => format!("photograph, {used} grains, SHA-256 {one}"),
        _ => format!("{} photographs, {used} grains, SHA-256 {}", hashes.len(), hashes.join(" ")),
    }
}
