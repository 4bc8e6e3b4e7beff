//! Files that can be had of a draft without saving it. A further one is a row of [`ALL`].

use super::answer::Refusal;
use super::draft::{Draft, InHand};
use super::server::Page;
use crate::evidence::{self, Sampling};
use crate::formula::batch::{Batch, Order};
use crate::formula::{self, Formula};
use crate::plot::{Picture, blend_pictures, confidence_picture};
use crate::report::dossier::{Call, DEFAULT_DRAWS, DossierPicture, Fingerprint, Subject};
use crate::report::{BatchReport, BlendReport, Dossier};
use crate::scrubfile::{parse_formula_beside, size_tables};
use crate::source::{Beside, Files};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
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
    make: fn(&Page, &DownloadRequest) -> Result<Vec<u8>, Refusal>,
}

/// What a file is made of.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DownloadRequest {
    draft: Draft,
    #[serde(default = "usual_batch")]
    batch_g: f64,
}

fn usual_batch() -> f64 {
    1000.0
}

const TEXT: &str = "text/plain; charset=utf-8";
const HTML: &str = "text/html; charset=utf-8";
const CSV: &str = "text/csv; charset=utf-8";
const JSON: &str = "application/json";
const SVG: &str = "image/svg+xml";

#[rustfmt::skip]
pub(super) const ALL: [Download; 8] = [
    Download { key: "batch", label: "Batch sheet", file: "-batch.html", of_batch: true, media: HTML, make: batch_sheet },
    Download { key: "batch-csv", label: "Batch sheet, CSV", file: "-batch.csv", of_batch: true, media: CSV, make: batch_csv },
    Download { key: "dossier", label: "Dossier", file: "-dossier.html", of_batch: false, media: HTML, make: dossier },
    Download { key: "report", label: "Report, text", file: ".txt", of_batch: false, media: TEXT, make: report_text },
    Download { key: "report-json", label: "Report, JSON", file: ".json", of_batch: false, media: JSON, make: report_json },
    Download { key: "frequency", label: "Picture: sizes", file: "-frequency.svg", of_batch: false, media: SVG, make: |p, r| picture(p, r, 0) },
    Download { key: "undersize", label: "Picture: finer than", file: "-undersize.svg", of_batch: false, media: SVG, make: |p, r| picture(p, r, 1) },
    Download { key: "work", label: "Picture: work", file: "-work.svg", of_batch: false, media: SVG, make: |p, r| picture(p, r, 2) },
];

/// Step of the balance, g, and what stays in the vessel, %: as `gritwise batch` takes them when nothing is said.
const STEP_G: f64 = 0.1;
const LOSS_PCT: f64 = 3.0;

pub(super) fn download(page: &Page, key: &str, request: &DownloadRequest) -> Result<Response, Refusal> {
    let known = || ALL.iter().map(|d| d.key).collect::<Vec<_>>().join(", ");
    let wanted = ALL.iter().find(|d| d.key == key);
    let wanted = wanted.ok_or_else(|| Refusal::wrong(format!("there is no download \"{key}\"; known: {}", known())))?;
    let bytes = (wanted.make)(page, request)?;
    Ok(([(CONTENT_TYPE, wanted.media), (CONTENT_DISPOSITION, "attachment")], bytes).into_response())
}

fn failed(e: impl std::fmt::Display) -> Refusal {
    Refusal::failed(e.to_string())
}

fn report(page: &Page, request: &DownloadRequest) -> Result<BlendReport, Refusal> {
    let scrub = request.draft.scrub(page)?;
    Ok(BlendReport::new(&scrub, &page.judge.assess(&scrub), &page.judge, &page.tables))
}

fn report_text(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    Ok(report(page, request)?.to_text().into_bytes())
}

fn report_json(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    serde_json::to_vec_pretty(&report(page, request)?).map_err(failed)
}

fn picture(page: &Page, request: &DownloadRequest, which: usize) -> Result<Vec<u8>, Refusal> {
    let scrub = request.draft.scrub(page)?;
    let pictures = blend_pictures(&scrub, &page.judge.assess(&scrub), &page.judge).map_err(failed)?;
    let wanted: Option<Picture> = pictures.into_iter().nth(which);
    wanted.map(|p| p.svg.into_bytes()).ok_or_else(|| Refusal::failed("there is no such picture"))
}

/// The whole scrub of a draft, with its phases where it has them.
fn whole(page: &Page, draft: &Draft) -> Result<Formula, Refusal> {
    draft.scrub(page)?;
    let beside = Beside { folder: Path::new(""), files: &InHand { draft, page } };
    Ok(parse_formula_beside(&draft.text, &draft.file, beside, &page.tables)?)
}

fn batch(page: &Page, request: &DownloadRequest) -> Result<BatchReport, Refusal> {
    let DownloadRequest { draft, batch_g } = request;
    if !(1.0..=1e7).contains(batch_g) {
        return Err(Refusal::wrong(format!("a batch weighs 1 g to 10 000 kg, not {batch_g} g")));
    }
    let formula = whole(page, draft)?;
    let order = Order { mass_g: Some(*batch_g), units: None, loss_pct: LOSS_PCT, resolution_g: STEP_G };
    let made = Batch::new(&formula, &order, &page.judge, &page.tables);
    let made = made.map_err(|e| Refusal::wrong(format!("{}: {e}", draft.file)))?;
    let checked = formula::checks(&formula, &page.tables, &page.judge);
    Ok(BatchReport::new(&formula, &checked, &made, None, &page.tables))
}

fn batch_sheet(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    Ok(batch(page, request)?.to_document().to_html().into_bytes())
}

fn batch_csv(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    batch(page, request)?.to_sheet().to_csv().map_err(failed)
}

/// The dossier's one file that holds everything, pictures too.
fn dossier(page: &Page, request: &DownloadRequest) -> Result<Vec<u8>, Refusal> {
    let (formula, tables, judge) = (whole(page, &request.draft)?, &page.tables, &page.judge);
    let checked = formula::checks(&formula, tables, judge);
    let scrub = formula.scrub();
    let assessment = judge.assess(scrub);
    let sampling = Sampling::new(DEFAULT_DRAWS, 1).map_err(failed)?;
    let confidence = evidence::confidence(scrub, judge, tables, sampling, |_| {});
    let mut pictures = blend_pictures(scrub, &assessment, judge).map_err(failed)?;
    pictures.push(confidence_picture(scrub, judge, &confidence).map_err(failed)?);
    let pictures = pictures.into_iter().map(|p| DossierPicture::new(p.name, p.svg)).collect();
    let call = Call { date: None, require: None, draws: DEFAULT_DRAWS, seed: 1 };
    let fingerprint = Fingerprint::new(call, &rests_on(page, &request.draft)?, tables);
    let (checked, assessment, confidence) = (&checked, &assessment, &confidence);
    let subject = Subject { formula: &formula, checked, assessment, judge, tables, confidence, required: None };
    let made = Dossier::new(&subject, pictures, fingerprint).map_err(failed)?;
    Ok(made.document.to_html().into_bytes())
}

/// The draft and the measured tables that it names, for their fingerprints.
fn rests_on(page: &Page, draft: &Draft) -> Result<Vec<(String, Vec<u8>)>, Refusal> {
    let files = InHand { draft, page };
    let mut all = vec![(draft.file.clone(), draft.text.clone().into_bytes())];
    for table in size_tables(&draft.text, &draft.file)? {
        let text = files.read(Path::new(&table))?;
        all.push((table, text.into_bytes()));
    }
    Ok(all)
}
