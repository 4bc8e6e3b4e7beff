//! The calls of the API. What one of them works out runs beside the server's own threads; a call that fails in a way nobody
//! foresaw is an answer too.

use super::aim::{AimAnswer, AimRequest, find};
use super::answer::{Answer, Body, Refusal};
use super::downloads::{ALL, Download, DownloadRequest, download};
use super::draft::{AssessAnswer, AssessRequest, Draft, assess};
use super::listing::{Listing, listing};
use super::pickers::Pickers;
use super::server::Page;
use super::workshop::check_name;
use crate::blend::Scrub;
use crate::evidence::{self, DEFAULT_DRAWS, Sampling};
use crate::report::{BlendReport, CompareReport, ConfidenceReport, SizeReport};
use crate::size::table;
use crate::source::{Files, ReadError, text_of};
use axum::extract::rejection::QueryRejection;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};
use std::path::Path as FilePath;
use std::sync::Arc;

/// Largest body of a call, bytes: a draft with its tables and some kept ones.
const MOST_BYTES: usize = 4 << 20;

type Here = State<Arc<Page>>;

pub(super) fn routes() -> Router<Arc<Page>> {
    Router::new()
        .route("/folder", get(folder))
        .route("/tables", get(tables))
        .route("/scrub", get(scrub))
        .route("/start", get(async || Json(Draft::start())))
        .route("/assess", post(assess_draft))
        .route("/compare", post(compare))
        .route("/table", post(check_table))
        .route("/aim", post(aim))
        .route("/confidence", post(confidence))
        .route("/save", post(save))
        .route("/downloads", get(downloads))
        .route("/download/{key}", post(download_draft))
        .fallback(async || Refusal::new(StatusCode::BAD_REQUEST, "there is no such call"))
        .method_not_allowed_fallback(async || Refusal::new(StatusCode::BAD_REQUEST, "this call is made another way"))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
}

/// Runs work that takes its time.
async fn run<T: Send + 'static>(
    page: Arc<Page>,
    work: impl FnOnce(&Page) -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(move || work(&page)).await;
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
        check_name(&file, &["toml"], "river-polish.toml")?;
        let text = page.workshop.read(FilePath::new(&file))?;
        Ok(Draft { file, text, tables: Vec::new() })
    })
    .await
    .map(Json)
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
        let drafts = &request.drafts;
        if !(2..=6).contains(&drafts.len()) {
            return Err(Refusal::wrong(format!("two to six scrubs are compared, not {}", drafts.len())));
        }
        let mut scrubs: Vec<Scrub> = Vec::new();
        for draft in drafts {
            let mut scrub = draft.scrub(page)?;
            if scrubs.iter().any(|s| s.name == scrub.name) {
                scrub.name = format!("{} ({})", scrub.name, scrubs.len() + 1);
            }
            scrubs.push(scrub);
        }
        let report = |s| BlendReport::new(s, &page.judge.assess(s), &page.judge, &page.tables);
        let reports = scrubs.iter().map(report).collect();
        Ok(CompareReport::new(&page.judge, &scrubs, reports))
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct TableRequest {
    name: String,
    /// Absent for a table of the folder.
    text: Option<String>,
}

#[derive(Debug, Serialize)]
struct TableAnswer {
    /// The name to save it by.
    name: String,
    /// `sieve`, `laser` or `counts`.
    kind: &'static str,
    report: SizeReport,
}

async fn check_table(State(page): Here, Body(request): Body<TableRequest>) -> Answer<TableAnswer> {
    run(page, move |page| {
        let TableRequest { name, text } = request;
        check_name(&name, &["csv", "tsv", "txt"], "lot-7.csv")?;
        let text = match text {
            Some(text) => text_of(text.as_bytes(), name.clone())?,
            None => page.workshop.read(FilePath::new(&name))?,
        };
        let kind = table::kind(&text, &name)?.key();
        let record = table::read(&text, &name, None, &page.tables.standards)?;
        let report = SizeReport::new(&name, &record, None, &[]);
        Ok(TableAnswer { name: free_name(page, &name, &text)?, kind, report })
    })
    .await
    .map(Json)
}

/// The name itself, or with a number where another table has it.
fn free_name(page: &Page, name: &str, text: &str) -> Result<String, Refusal> {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
    let numbered = (2..100).map(|i| format!("{stem}-{i}.{ending}"));
    for name in std::iter::once(name.to_owned()).chain(numbered) {
        match page.workshop.read(FilePath::new(&name)) {
            Err(ReadError::Missing { .. }) => return Ok(name),
            Ok(there) if there == text => return Ok(name),
            _ => (),
        }
    }
    Err(Refusal::wrong(format!("{name}: the folder is full of tables of this name; give it another")))
}

async fn aim(State(page): Here, Body(request): Body<AimRequest>) -> Answer<AimAnswer> {
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
        let scrub = request.draft.scrub(page)?;
        let confidence = evidence::confidence(&scrub, &page.judge, &page.tables, sampling, |_| ());
        Ok(ConfidenceReport::new(&scrub, &page.judge, &confidence))
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
        draft.tables.retain(|t| draft.text.contains(&t.name));
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
