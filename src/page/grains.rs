//! Grains on photographs, for the roundness of a powder of the scrub in hand. The pictures are looked at and let go; nothing is written.

use super::answer::Refusal;
use super::draft::Draft;
use super::held::Page;
use crate::report::GrainsReport;
use crate::size::SizeRecord;
use crate::tasks::{self, GrainsRequest, Photo, Scale, roundness_values};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::sync::{Mutex, PoisonError};

/// A picture of 60 megapixels takes a gigabyte while it is looked at: one call after the other.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// What stands before the pictures: a line of JSON.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Ask {
    photos: Vec<PhotoHead>,
    scale: ScaleAsk,
    /// `light` or `dark`; else the picture says.
    ground: Option<GroundAsk>,
    /// What is smaller is dust, µm.
    dust_um: Option<f64>,
    /// The scrub that the powder is of, to hold sizes against its table.
    draft: Option<Draft>,
    /// Its position, from 0.
    powder: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct PhotoHead {
    name: String,
    bytes: usize,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum ScaleAsk {
    UmPerPixel(f64),
    /// Such as "500 px = 1 mm".
    Bar(String),
    SquareUm(f64),
}

#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum GroundAsk {
    Light,
    Dark,
}

#[derive(Debug, Serialize)]
pub(super) struct GrainsAnswer {
    /// As `grains --json`.
    report: GrainsReport,
    /// Of each picture an SVG document with its outlines.
    pictures: Vec<String>,
    /// What an edit of the powder takes; absent where no grain's roundness is told.
    values: Option<Map<String, Json>>,
}

/// Looks at the pictures of a body: a line of JSON, then the bytes of each, one after the other.
pub(super) fn grains(page: &Page, body: &[u8]) -> Result<GrainsAnswer, Refusal> {
    let (ask, photos) = parted(body)?;
    let size = ask.draft.as_ref().zip(ask.powder).map(|(draft, powder)| size_of(page, draft, powder)).transpose()?;
    let positive = |what: &str, value: f64| match value.is_finite() && value > 0.0 {
        true => Ok(value),
        false => Err(Refusal::wrong(format!("{what}: {value} is no size; it must be above 0"))),
    };
    let scale = match &ask.scale {
        ScaleAsk::UmPerPixel(um) => Scale::UmPerPixel(positive("scale", *um)?),
        ScaleAsk::Bar(text) => Scale::bar(text).map_err(|e| Refusal::wrong(format!("scale: {e}")))?,
        ScaleAsk::SquareUm(um) => Scale::Square(positive("scale", *um)?),
    };
    let request = GrainsRequest {
        photos: &photos,
        scale: Some(scale),
        tally: None,
        dust_um: ask.dust_um.map(|um| positive("dust_um", um)).transpose()?,
        dark_ground: ask.ground.map(|ground| ground == GroundAsk::Dark),
        // Sizes that nobody measured are nothing to hold others against.
        sieved: size.as_ref().filter(|size| size.measured.is_some()),
        into: None,
        pictures: true,
        watch: &|_| (),
    };
    let _one = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    let told = tasks::grains(&request, &page.tables)?;
    let values = roundness_values(&told.report);
    Ok(GrainsAnswer { report: told.report, pictures: told.pictures.into_iter().map(|p| p.svg).collect(), values })
}

fn size_of(page: &Page, draft: &Draft, powder: usize) -> Result<SizeRecord, Refusal> {
    let scrub = draft.scrub(page)?;
    let component = scrub.blend.components().get(powder);
    let component =
        component.ok_or_else(|| Refusal::wrong(format!("there is no powder at position {powder} (from 0)")))?;
    Ok(component.powder.size.clone())
}

fn parted(body: &[u8]) -> Result<(Ask, Vec<Photo>), Refusal> {
    let malformed = |why: String| Refusal::malformed(why);
    let end = body.iter().position(|b| *b == b'\n');
    let end = end.ok_or_else(|| malformed("a line of JSON is wanted, then the bytes of the pictures".to_owned()))?;
    let ask: Ask = serde_json::from_slice(&body[..end]).map_err(|e| malformed(e.to_string()))?;
    let mut rest = &body[end + 1..];
    let mut photos = Vec::new();
    for head in &ask.photos {
        let (bytes, after) = rest.split_at_checked(head.bytes).ok_or_else(|| {
            malformed(format!("{}: {} bytes are promised and {} are left", head.name, head.bytes, rest.len()))
        })?;
        photos.push(Photo { name: head.name.clone(), bytes: bytes.to_vec() });
        rest = after;
    }
    match (photos.is_empty(), rest) {
        (true, _) => Err(malformed("no picture is named".to_owned())),
        (false, []) => Ok((ask, photos)),
        (false, _) => Err(malformed(format!("{} bytes are left after the last picture", rest.len()))),
    }
}
