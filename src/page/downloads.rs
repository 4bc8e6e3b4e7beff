//! Files that can be had of a draft without saving it. A further one is a row of [`ALL`].

use super::answer::{IsWanted, JSON, Refusal, Reply};
use super::assess::InHand;
use super::draft::Draft;
use super::folder::{SCRUB_ENDINGS, check_here};
use super::held::Page;
use crate::files::size_tables;
use crate::formula::batch::Order;
use crate::formula::quantity;
use crate::plot::Picture;
use crate::records::stock;
use crate::report::BatchReport;
use crate::report::dossier::{Call, DEFAULT_DRAWS, NINE_IN_TEN};
use crate::source::{Fault, Files, Source};
use crate::tasks::{self, BatchRequest, BlendRequest, Blended};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// One kind of file.
#[derive(Debug, Serialize)]
pub(super) struct Download {
    key: &'static str,
    label: &'static str,
    /// What is put after the name of the scrub file.
    file: &'static str,
    /// It is weighed for a batch, `batch_g`.
    of_batch: bool,
    #[serde(skip)]
    media: &'static str,
    #[serde(skip)]
    make: fn(&Page, &DownloadRequest, IsWanted) -> Result<Vec<u8>, Refusal>,
}

/// What a file is made of.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DownloadRequest {
    draft: Draft,
    /// A number of grams, in place of `mass`.
    batch_g: Option<f64>,
    /// These as `gritwise batch` takes them: 2.5kg, 12x200mL, 3%, 0.1g.
    mass: Option<String>,
    units: Option<String>,
    loss: Option<String>,
    resolution: Option<String>,
    /// A shelf file of the folder.
    shelf: Option<String>,
}

const TEXT: &str = "text/plain; charset=utf-8";
const HTML: &str = "text/html; charset=utf-8";
const CSV: &str = "text/csv; charset=utf-8";
const SVG: &str = "image/svg+xml";

#[rustfmt::skip]
pub(super) const ALL: [Download; 9] = [
    Download { key: "batch", label: "Batch sheet", file: "-batch.html", of_batch: true, media: HTML, make: |p, r, _| batch_sheet(p, r) },
    Download { key: "batch-csv", label: "Batch sheet, CSV", file: "-batch.csv", of_batch: true, media: CSV, make: |p, r, _| batch_csv(p, r) },
    Download { key: "dossier", label: "Dossier", file: "-dossier.html", of_batch: false, media: HTML, make: dossier_html },
    Download { key: "report", label: "Report, text", file: ".txt", of_batch: false, media: TEXT, make: |p, r, _| report_text(p, r) },
    Download { key: "report-json", label: "Report, JSON", file: ".json", of_batch: false, media: JSON, make: |p, r, _| report_json(p, r) },
    Download { key: "scrub", label: "Scrub file", file: ".toml", of_batch: false, media: TEXT, make: |_, r, _| scrub_file(r) },
    Download { key: "frequency", label: "Picture: sizes", file: "-frequency.svg", of_batch: false, media: SVG, make: |p, r, _| picture(p, r, 0) },
    Download { key: "undersize", label: "Picture: finer than", file: "-undersize.svg", of_batch: false, media: SVG, make: |p, r, _| picture(p, r, 1) },
    Download { key: "work", label: "Picture: work", file: "-work.svg", of_batch: false, media: SVG, make: |p, r, _| picture(p, r, 2) },
];

/// A batch of which nothing is said, g.
const USUAL_BATCH_G: f64 = 1000.0;

pub(super) fn download(
    page: &Page,
    key: &str,
    request: &DownloadRequest,
    is_wanted: IsWanted,
) -> Result<Reply, Refusal> {
    let known = || ALL.iter().map(|d| d.key).collect::<Vec<_>>().join(", ");
    let wanted = ALL.iter().find(|d| d.key == key);
    let wanted = wanted.ok_or_else(|| Refusal::wrong(format!("there is no download \"{key}\"; known: {}", known())))?;
    Ok(Reply::of(wanted.media, (wanted.make)(page, request, is_wanted)?))
}

fn failed(e: impl std::fmt::Display) -> Refusal {
    Refusal::failed(e.to_string())
}

fn blended(page: &Page, request: &DownloadRequest, pictures: bool) -> Result<Blended, Refusal> {
    let files = InHand::new(&request.draft, page);
    let scrub = request.draft.source(&files)?;
    // Pictures need no draws.
    let request = BlendRequest { scrub, shelf: None, draws: !pictures, calibration: None, pictures, require: None };
    Ok(tasks::blend(&request, page.means())?)
}

/// The file itself, as it would be saved.
fn scrub_file(request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    Ok(request.draft.text.clone().into_bytes())
}

fn report_text(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    Ok(blended(page, request, false)?.report.to_text().into_bytes())
}

fn report_json(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    serde_json::to_vec_pretty(&blended(page, request, false)?.report).map_err(failed)
}

fn picture(page: &Page, request: &DownloadRequest, which: usize) -> Result<Vec<u8>, Refusal> {
    let wanted: Option<Picture> = blended(page, request, true)?.pictures.into_iter().nth(which);
    wanted.map(|p| p.svg.into_bytes()).ok_or_else(|| Refusal::failed("there is no such picture"))
}

/// What to make, in the words of `gritwise batch`, and with its defaults.
fn order(request: &DownloadRequest) -> Result<Order, Fault> {
    let said = |key: &str, fault: Fault| Fault::new(format!("{key}: {}", fault.what), fault.hint);
    let mass = request.mass.as_deref().map(quantity::mass).transpose().map_err(|e| said("mass", e))?;
    let units = request.units.as_deref().map(quantity::units).transpose().map_err(|e| said("units", e))?;
    let loss = request.loss.as_deref().unwrap_or(quantity::USUAL_LOSS);
    let step = request.resolution.as_deref().unwrap_or(quantity::USUAL_STEP);
    let mass = mass.or(request.batch_g).or(units.is_none().then_some(USUAL_BATCH_G));
    if let Some(grams) = mass.filter(|g| !(1.0..=1e7).contains(g)) {
        return Err(format!("a batch weighs 1 g to 10 000 kg, not {grams} g").into());
    }
    Ok(Order {
        mass_g: mass,
        units,
        loss_pct: quantity::loss(loss).map_err(|e| said("loss", e))?,
        resolution_g: quantity::step(step).map_err(|e| said("resolution", e))?,
    })
}

pub(super) fn batch(page: &Page, request: &DownloadRequest) -> Result<BatchReport, Refusal> {
    let DownloadRequest { draft, shelf, .. } = request;
    let order = order(request).map_err(|e| Refusal::wrong(e.to_string()))?;
    let files = InHand::new(draft, page);
    let scrub = draft.source(&files)?;
    shelf.as_ref().map(|file| check_here(file, &SCRUB_ENDINGS)).transpose()?;
    let shelf = shelf.as_ref().map(|file| Source::of(Path::new(file), &*page.folder));
    Ok(tasks::batch(
        &BatchRequest { scrub, order, shelf, drawn: &stock::Withdrawn::default(), batch: None, in_hand: &[] },
        page.means(),
    )?)
}

fn batch_sheet(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    Ok(batch(page, request)?.to_document().to_html().into_bytes())
}

fn batch_csv(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    batch(page, request)?.to_sheet().to_csv().map_err(failed)
}

/// The dossier's one file that holds everything, pictures too.
fn dossier_html(page: &Page, request: &DownloadRequest, is_wanted: IsWanted) -> Result<Vec<u8>, Refusal> {
    let formula = request.draft.whole(page)?;
    let call = Call { date: None, require: None, sure: NINE_IN_TEN, draws: DEFAULT_DRAWS, seed: 1 };
    let rests_on = rests_on(page, &request.draft)?;
    let made = tasks::dossier(&formula, call, &rests_on, &page.judge, &page.tables, is_wanted).map_err(failed)?;
    Ok(made.document.to_html().into_bytes())
}

/// The draft and the measured tables that it names, for their fingerprints.
fn rests_on(page: &Page, draft: &Draft) -> Result<Vec<(String, Vec<u8>)>, Refusal> {
    let files = InHand::new(draft, page);
    let mut all = vec![(draft.file.clone(), draft.text.clone().into_bytes())];
    for table in size_tables(&draft.text, &draft.file)? {
        let bytes = files.bytes(Path::new(&table))?;
        all.push((table, bytes));
    }
    Ok(all)
}
