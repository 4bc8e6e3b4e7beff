//! The calls of the API. What one of them works out runs beside the server's own threads; a call that fails in a way nobody
//! foresaw is an answer too.

use super::aim::{AimAnswer, AimAsked, find};
use super::answer::{Answer, Body, MOST_BYTES, Refusal};
use super::assess::{AssessAnswer, AssessRequest, InHand, assess};
use super::differences::{DraftDifference, differences};
use super::downloads::{ALL, Download, DownloadRequest, download};
use super::draft::{Draft, TableText};
#[cfg(feature = "photos")]
use super::grains::{GrainsAnswer, MOST_PHOTO_BYTES, grains};
use super::held::Page;
use super::listing::{Listing, listing};
use super::pickers::Pickers;
use super::previews::{Preview, PreviewRequest, preview};
use super::shelf::{OnShelf, shelf};
use super::workshop::{READ_ENDINGS, SCRUB_ENDINGS, check_here, check_name};
use crate::confidence::{DEFAULT_DRAWS, Sampling};
use crate::files::size_tables;
use crate::lots::lot::LotTable;
use crate::report::{CompareReport, ConfidenceReport, SizeReport};

use crate::size::table;
use crate::source::{Files, Tabular, read_bounded};
use crate::tasks;
#[cfg(feature = "photos")]
use axum::body::Bytes;
#[cfg(feature = "photos")]
use axum::extract::rejection::BytesRejection;
use axum::extract::rejection::QueryRejection;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};
use std::path::Path as FilePath;
use std::sync::Arc;
use tokio::task::JoinHandle;

type Here = State<Arc<Page>>;

pub(super) fn routes() -> Router<Arc<Page>> {
    let routes = Router::new();
    #[cfg(feature = "photos")]
    let routes = routes.route("/grains", post(look_at_grains).layer(DefaultBodyLimit::max(MOST_PHOTO_BYTES)));
    routes
        .route("/folder", get(folder))
        .route("/tables", get(tables))
        .route("/scrub", get(scrub))
        .route("/start", get(start))
        .route("/example", get(example))
        .route("/shelf", get(on_shelf))
        .route("/assess", post(assess_draft))
        .route("/compare", post(compare))
        .route("/differences", post(differ))
        .route("/table", post(check_table))
        .route("/aim", post(aim))
        .route("/confidence", post(confidence))
        .route("/preview", post(look))
        .route("/save", post(save))
        .route("/downloads", get(downloads))
        .route("/download/{key}", post(download_draft))
        .fallback(async || Refusal::new(StatusCode::BAD_REQUEST, "there is no such call"))
        .method_not_allowed_fallback(async || Refusal::new(StatusCode::BAD_REQUEST, "this call is made another way"))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
}

/// Work that waits for its turn; whoever asked for it and has gone does not need it any more. Once begun it runs to its end:
/// the library has no place at which it could be stopped.
struct Waiting<T>(JoinHandle<T>);

impl<T> Drop for Waiting<T> {
    fn drop(&mut self) {
        self.0.abort();
    }
}

/// Runs work that takes its time.
async fn run<T: Send + 'static>(
    page: Arc<Page>,
    work: impl FnOnce(&Page) -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let mut waiting = Waiting(tokio::task::spawn_blocking(move || work(&page)));
    let done = (&mut waiting.0).await;
    done.unwrap_or_else(|_| Err(Refusal::failed("this could not be worked out; please report what was asked")))
}

async fn folder(State(page): Here) -> Answer<Listing> {
    run(page, listing).await.map(Json)
}

async fn tables(State(page): Here) -> Json<Pickers> {
    Json(Pickers::new(&page.tables))
}

#[derive(Debug, Deserialize)]
struct FileQuery {
    file: String,
}

async fn scrub(State(page): Here, query: Result<Query<FileQuery>, QueryRejection>) -> Answer<Draft> {
    let Query(FileQuery { file }) = query.map_err(|e| Refusal::new(StatusCode::BAD_REQUEST, e.body_text()))?;
    run(page, |page| {
        check_here(&file, &SCRUB_ENDINGS)?;
        let text = page.workshop.read(FilePath::new(&file))?;
        Ok(Draft { file, text, tables: Vec::new() })
    })
    .await
    .map(Json)
}

async fn start(State(page): Here) -> Answer<Draft> {
    run(page, Draft::start).await.map(Json)
}

async fn example(State(page): Here) -> Answer<Draft> {
    run(page, Draft::example).await.map(Json)
}

async fn on_shelf(State(page): Here, query: Result<Query<FileQuery>, QueryRejection>) -> Answer<Vec<OnShelf>> {
    let Query(FileQuery { file }) = query.map_err(|e| Refusal::new(StatusCode::BAD_REQUEST, e.body_text()))?;
    run(page, move |page| shelf(page, &file)).await.map(Json)
}

async fn look(State(page): Here, Body(request): Body<PreviewRequest>) -> Answer<Preview> {
    run(page, move |page| preview(page, &request)).await.map(Json)
}

#[cfg(feature = "photos")]
async fn look_at_grains(State(page): Here, body: Result<Bytes, BytesRejection>) -> Answer<GrainsAnswer> {
    let body = body.map_err(|e| match e.status() {
        StatusCode::PAYLOAD_TOO_LARGE => {
            let most = MOST_PHOTO_BYTES >> 20;
            Refusal::new(e.status(), format!("the photographs come to more than {most} MiB, the most that is taken at once: save them as JPEG, or take fewer"))
        }
        status => Refusal::new(status, e.body_text()),
    })?;
    run(page, move |page| grains(page, &body)).await.map(Json)
}

async fn assess_draft(State(page): Here, Body(request): Body<AssessRequest>) -> Answer<AssessAnswer> {
    run(page, |page| assess(page, request)).await.map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CompareRequest {
    drafts: Vec<Draft>,
}

async fn compare(State(page): Here, Body(request): Body<CompareRequest>) -> Answer<CompareReport> {
    run(page, move |page| {
        let in_hand: Vec<InHand> = request.drafts.iter().map(|draft| InHand::new(draft, page)).collect();
        let numbered = request.drafts.iter().zip(&in_hand).enumerate();
        let scrubs = numbered.map(|(i, (draft, files))| Ok((draft.source(files)?, (i + 1).to_string())));
        let scrubs = scrubs.collect::<Result<Vec<_>, Refusal>>()?;
        Ok(tasks::compare(&scrubs, false, page.means())?.report)
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct DifferRequest {
    file: String,
    here: String,
    there: String,
}

async fn differ(Body(DifferRequest { file, here, there }): Body<DifferRequest>) -> Answer<Vec<DraftDifference>> {
    differences(&here, &there, &file).map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct TableRequest {
    name: String,
    /// A new table; absent for one of the folder or of `tables`.
    text: Option<String>,
    /// A new table as the bytes of its file, in place of `text`.
    bytes: Option<Vec<u8>>,
    /// Those that are in hand.
    #[serde(default)]
    tables: Vec<TableText>,
    /// What was put onto the sieves, g, to be told what was lost.
    charge_g: Option<f64>,
}

#[derive(Debug, Serialize)]
struct TableAnswer {
    /// The name to save it by.
    name: String,
    /// `sieve`, `laser` or `counts`.
    kind: &'static str,
    report: SizeReport,
    /// What it holds, for one that is not on disk.
    text: Option<String>,
    /// How much less was weighed on the sieves than was put onto them, %; absent without a charge.
    loss_pct: Option<f64>,
}

async fn check_table(State(page): Here, Body(request): Body<TableRequest>) -> Answer<TableAnswer> {
    run(page, move |page| {
        let TableRequest { name, text, bytes, tables, charge_g } = request;
        let new = bytes.or(text.map(String::into_bytes));
        match new {
            Some(_) => check_name(&name, &READ_ENDINGS, "lot-7.csv")?,
            None => check_here(&name, &READ_ENDINGS)?,
        }
        let in_hand = tables.iter().find(|t| t.name == name).map(|t| t.text.as_bytes());
        let held = new.as_deref().or(in_hand);
        let bytes = match held {
            Some(bytes) => read_bounded(bytes, &name)?,
            None => page.workshop.bytes(FilePath::new(&name))?,
        };
        let table = Tabular::of(&bytes, &name, None)?;
        let standards = &page.tables.standards;
        let record = table::read_tabular(&table, None, standards)?;
        let kind = record.measured.as_ref().map_or("", |m| m.kind.key());
        let measured = LotTable {
            file: name.clone(),
            record,
            sha256: table.sha256.clone(),
            charged_g: charge_g.filter(|g| *g > 0.0),
        };
        let (record, measurement) =
            tasks::measured(&[measured], None, &page.tables).map_err(|e| Refusal::wrong(e.to_string()))?;
        let loss_pct = measurement.losses.first().map(|loss| loss.loss_pct);
        let described = SizeReport::new(&name, &record, None, &[], &page.tables);
        let report = SizeReport { measurement: Some(measurement), ..described };
        // What is not on disk is kept as text, a workbook as that of its table.
        let text = held.map(|_| table::to_text(&table, standards)).transpose()?;
        let name = match new {
            Some(_) => page.workshop.free_name(&as_text(name), text.as_deref(), &tables)?,
            None => name,
        };
        Ok(TableAnswer { name, kind, report, text, loss_pct })
    })
    .await
    .map(Json)
}

/// The name under which the table of a file is kept as text.
fn as_text(name: String) -> String {
    match name.rsplit_once('.') {
        Some((stem, ending)) if ending.eq_ignore_ascii_case("xlsx") => format!("{stem}.csv"),
        _ => name,
    }
}

async fn aim(State(page): Here, Body(request): Body<AimAsked>) -> Answer<AimAnswer> {
    run(page, move |page| find(page, &request)).await.map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ConfidenceRequest {
    draft: Draft,
    draws: Option<u64>,
    seed: Option<u64>,
}

async fn confidence(State(page): Here, Body(request): Body<ConfidenceRequest>) -> Answer<ConfidenceReport> {
    run(page, move |page| {
        // Who wants more draws than a page can wait for has the command line.
        let draws = request.draws.unwrap_or(DEFAULT_DRAWS).min(DEFAULT_DRAWS);
        let sampling = Sampling::new(draws, request.seed.unwrap_or(1)).map_err(|e| Refusal::wrong(e.to_string()))?;
        let files = InHand::new(&request.draft, page);
        let drawn = tasks::confidence(request.draft.source(&files)?, sampling, |_| |_| (), page.means())?;
        Ok(drawn.report)
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SaveRequest {
    draft: Draft,
    base: Option<String>,
}

async fn save(State(page): Here, Body(SaveRequest { mut draft, base }): Body<SaveRequest>) -> Answer<Draft> {
    run(page, move |page| {
        // Only what can be read again is written, with the tables that it uses and no others.
        draft.scrub(page)?;
        let used = size_tables(&draft.text, &draft.file)?;
        draft.tables.retain(|t| used.contains(&t.name));
        page.workshop.save(&draft, base.as_deref())?;
        draft.tables.clear();
        Ok(draft)
    })
    .await
    .map(Json)
}

async fn downloads() -> Json<&'static [Download]> {
    Json(&ALL)
}

async fn download_draft(
    State(page): Here,
    Path(key): Path<String>,
    Body(request): Body<DownloadRequest>,
) -> Result<Response, Refusal> {
    run(page, move |page| download(page, &key, &request)).await
}
