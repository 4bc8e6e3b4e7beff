//! What is tried: a reader each, with what has to hold of what it reads.

use gritwise::band::Judge;
use gritwise::files::edit::{Edit, definition, edited};
use gritwise::files::{read_aim, read_calibration, read_scrub, read_shelf, read_sieves};
use gritwise::lots::register::{self, LotCode};
use gritwise::panel::{ScoreScale, read_scores};
use gritwise::records::{batches, stock};
use gritwise::report::dossier::Fingerprint;
use gritwise::size::SizeError;
use gritwise::size::table::read_tabular;
use gritwise::source::{Source, Tabular};
use gritwise::tables::Tables;
use gritwise::tasks::{BlendRequest, Means, blend};
use gritwise_grains::{Wish, find, photo};
use std::fmt::Display;
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// Tries an input; an error is a promise that was not kept.
pub type Test = Box<dyn FnMut(&[u8]) -> Result<(), String>>;

/// A reader that inputs are given to.
pub struct Target {
    pub name: &'static str,
    /// Folders with inputs, and how those end.
    pub seeds: &'static [(&'static str, &'static str)],
    pub test: fn() -> Test,
}

const EXAMPLES: &str = "../examples";

pub const TARGETS: [Target; 12] = [
    Target { name: "scrub", seeds: &[(EXAMPLES, ".toml")], test: || of_text(scrub) },
    Target { name: "shelf", seeds: &[(EXAMPLES, "shelf.toml")], test: || of_text(shelf) },
    Target { name: "aim", seeds: &[(EXAMPLES, ".toml")], test: || of_text(aim) },
    Target { name: "calibration", seeds: &[(EXAMPLES, ".toml")], test: || of_text(calibration) },
    Target { name: "sizes", seeds: &[(EXAMPLES, ".csv")], test: || Box::new(sizes) },
    Target { name: "workbook", seeds: &[], test: workbook },
    Target { name: "scores", seeds: &[(EXAMPLES, "scores.csv")], test: || of_text(scores) },
    Target { name: "registers", seeds: &[(EXAMPLES, ".csv")], test: registers },
    Target { name: "edits", seeds: &[(EXAMPLES, ".toml")], test: || of_text(edits) },
    Target { name: "fingerprint", seeds: &[], test: || of_text(fingerprint) },
    Target { name: "pictures", seeds: &[(EXAMPLES, ".jpg")], test: || Box::new(pictures) },
    Target { name: "grains", seeds: &[(EXAMPLES, ".csv")], test: || Box::new(grains) },
];

static TABLES: LazyLock<Option<Tables>> = LazyLock::new(|| Tables::built_in().ok());
static JUDGE: LazyLock<Option<Judge>> = LazyLock::new(|| TABLES.as_ref().and_then(|tables| Judge::new(tables).ok()));

fn tables() -> Result<&'static Tables, String> {
    TABLES.as_ref().ok_or("the built-in tables are damaged".into())
}

fn means() -> Result<Means<'static>, String> {
    Ok(Means { tables: tables()?, judge: JUDGE.as_ref().ok_or("there is no judge")? })
}

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(EXAMPLES)
}

/// Readers of text get what of the bytes is text.
fn of_text(test: fn(&str) -> Result<(), String>) -> Test {
    Box::new(move |input| test(&String::from_utf8_lossy(input)))
}

/// An error is told in some words, of which none is lost on the way.
fn told(error: &impl Display) -> Result<(), String> {
    if error.to_string().trim().is_empty() { Err("an error without words".into()) } else { Ok(()) }
}

fn holds(what: &str, is_so: bool) -> Result<(), String> {
    if is_so { Ok(()) } else { Err(what.to_owned()) }
}

fn scrub(text: &str) -> Result<(), String> {
    let folder = examples();
    let scrub = Source::text(text, "scrub.toml", &folder);
    let asked = BlendRequest { scrub, shelf: None, draws: false, calibration: None, pictures: true, require: None };
    match blend(&asked, means()?) {
        Err(e) => told(&e),
        Ok(told) => {
            let report = told.report.to_text();
            // A name may hold such a word itself.
            let is_none =
                |said: &str| ["NaN", "inf "].iter().any(|none| said.contains(none) && !text.contains(none.trim()));
            holds("a report with a number that is none", !is_none(&report))?;
            holds("a picture with a number that is none", told.pictures.iter().all(|p| !is_none(&p.svg)))
        }
    }
}

fn shelf(text: &str) -> Result<(), String> {
    let folder = examples();
    let source = || Source::text(text, "shelf.toml", &folder);
    read_sieves(source()).map(drop).or_else(|e| told(&e))?;
    read_shelf(source(), tables()?).map(drop).or_else(|e| told(&e))
}

fn aim(text: &str) -> Result<(), String> {
    let (folder, means) = (examples(), means()?);
    read_aim(Source::text(text, "aim.toml", &folder), means.tables, means.judge).map(drop).or_else(|e| told(&e))
}

fn calibration(text: &str) -> Result<(), String> {
    let folder = examples();
    read_calibration(Source::text(text, "panel.toml", &folder), tables()?).map(drop).or_else(|e| told(&e))
}

fn sizes(input: &[u8]) -> Result<(), String> {
    let read = Tabular::of(input, "table.csv", None).map_err(|e| e.to_string());
    curve(read.and_then(|table| read_tabular(&table, None, &tables()?.standards).map_err(|e: SizeError| e.to_string())))
}

/// The curve of a size table that is read stays within 0 and 1, and rises.
fn curve(read: Result<gritwise::size::SizeRecord, String>) -> Result<(), String> {
    let record = match read {
        Err(words) => return holds("an error without words", !words.trim().is_empty()),
        Ok(record) => record,
    };
    let sizes = [0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99].map(|share| record.distribution.quantile(share));
    holds("a percentile that is no size", sizes.iter().all(|um| um.is_finite() && *um > 0.0))?;
    holds("percentiles that fall", sizes.windows(2).all(|w| w[0] <= w[1]))
}

/// A workbook of the tests, whose first sheet is the input.
fn workbook() -> Test {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/reference/sieves.xlsx");
    let parts = std::fs::read(path).map_err(|e| e.to_string()).and_then(|bytes| parts_of(&bytes));
    Box::new(move |input| {
        let parts = parts.as_ref().map_err(Clone::clone)?;
        let bytes = put_together(parts, input)?;
        let read = Tabular::of(&bytes, "table.xlsx", None).map_err(|e| e.to_string());
        curve(read.and_then(|table| read_tabular(&table, None, &tables()?.standards).map_err(|e| e.to_string())))
    })
}

type Part = (String, Vec<u8>);

fn parts_of(bytes: &[u8]) -> Result<Vec<Part>, String> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|e| e.to_string())?;
    let mut parts = Vec::new();
    for i in 0..archive.len() {
        let mut part = archive.by_index(i).map_err(|e| e.to_string())?;
        let mut content = Vec::new();
        part.read_to_end(&mut content).map_err(|e| e.to_string())?;
        parts.push((part.name().map_err(|e| e.to_string())?.to_string(), content));
    }
    Ok(parts)
}

fn put_together(parts: &[Part], sheet: &[u8]) -> Result<Vec<u8>, String> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, content) in parts {
        let content = if name.ends_with("sheet1.xml") { sheet } else { content };
        writer.start_file(name.as_str(), stored).map_err(|e| e.to_string())?;
        writer.write_all(content).map_err(|e| e.to_string())?;
    }
    Ok(writer.finish().map_err(|e| e.to_string())?.into_inner())
}

fn scores(text: &str) -> Result<(), String> {
    let scale = ScoreScale::new(0.0, 10.0).ok_or("no scale")?;
    read_scores(text, "scores.csv", scale).map(drop).or_else(|e| told(&e))
}

/// A register that takes a line can be read thereafter, and holds it.
fn registers() -> Test {
    let folder = tempfile::TempDir::new();
    let mut count = 0_u64;
    Box::new(move |input| {
        let folder = folder.as_ref().map_err(ToString::to_string)?;
        let path = folder.path().join("register.csv");
        std::fs::write(&path, input).map_err(|e| e.to_string())?;
        if let Err(e) = register::read(&path) {
            told(&e)?;
        }
        if let Err(e) = batches::read(&path) {
            told(&e)?;
        }
        if let Err(e) = stock::read(&path) {
            told(&e)?;
        }
        // Each is brought to the disk, which takes its time.
        count += 1;
        if count.is_multiple_of(16) { drawn(&path) } else { Ok(()) }
    })
}

fn drawn(path: &Path) -> Result<(), String> {
    let code = LotCode::new("B-fuzz").map_err(|e| e.to_string())?;
    let date = "2026-11-30".parse().map_err(|e: gritwise::source::Fault| e.to_string())?;
    let used = [batches::Used { name: "Rice".into(), lot: None, grams: 1.5 }];
    match stock::append(path, &code, date, &used) {
        Err(e) => told(&e),
        Ok(_) => {
            let read = stock::read(path).map_err(|e| format!("what was added to cannot be read: {e}"))?;
            holds(
                "what was added is not there",
                read.batches.iter().any(|(batch, _)| batch.eq_ignore_ascii_case("B-fuzz")),
            )
        }
    }
}

/// The first line is a list of changes, the rest the file.
fn edits(text: &str) -> Result<(), String> {
    let (first, rest) = text.split_once('\n').unwrap_or((text, ""));
    let edits: Vec<Edit> = serde_json::from_str(first).unwrap_or_default();
    let rest = if edits.is_empty() { text } else { rest };
    if let Err(e) = definition(rest, "scrub.toml") {
        told(&e)?;
    }
    match edited(rest, "scrub.toml", &edits) {
        Err(e) => told(&e),
        Ok(new) => {
            definition(&new, "scrub.toml").map_err(|e| format!("what comes out is no TOML: {e}"))?;
            let folder = examples();
            read_scrub(Source::text(&new, "scrub.toml", &folder), tables()?).map(drop).or_else(|e| told(&e))
        }
    }
}

fn fingerprint(text: &str) -> Result<(), String> {
    match Fingerprint::of_dossier(text) {
        Err(e) => told(&e),
        Ok(read) => {
            let outside = |name: &str| Path::new(name).is_absolute() || name.split('/').any(|part| part == "..");
            let is_foreign = read.files.iter().any(|f| outside(&f.file));
            holds("a name outside the folder passes", !is_foreign || read.foreign_name().is_some())
        }
    }
}

fn pictures(input: &[u8]) -> Result<(), String> {
    photo::read(input).map(drop).or_else(|e| told(&e))
}

/// The first two bytes are the picture's size, the rest its pixels.
fn grains(input: &[u8]) -> Result<(), String> {
    let [wide, high, pixels @ ..] = input else { return Ok(()) };
    let (wide, high) = (u32::from(*wide) + 8, u32::from(*high) + 8);
    let pixel = |i: usize| pixels.get(i % pixels.len().max(1)).map_or(0.0, |p| f32::from(*p) / 255.0);
    let all: Vec<f32> = (0..(wide * high) as usize).map(pixel).collect();
    let Some(grey) = photo::Grey::from_raw(wide, high, all) else { return Ok(()) };
    match find(&grey, &Wish { dust: 3.0, ground: None, square: false }) {
        Err(e) => told(&e),
        Ok(found) => holds("a grain without a size", found.grains.iter().all(|g| g.area.is_finite() && g.area > 0.0)),
    }
}
