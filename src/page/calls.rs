//! The calls of the page: a path and JSON in, JSON or a file out. Who brings them, over HTTP or from a script, and where the folder
//! is, they do not know.

use super::aim::find;
use super::answer::{Refusal, Reply, body};
use super::archive::archive;
use super::assess::{InHand, assess};
use super::differences::differences;
use super::downloads::{ALL, download};
use super::draft::{Draft, TableText};
use super::folder::{READ_ENDINGS, SCRUB_ENDINGS, check_here, check_name, free_name, save};
#[cfg(feature = "photos")]
use super::grains::grains;
use super::held::Page;
use super::listing::listing;
use super::pickers::Pickers;
use super::previews::preview;
use super::shelf::shelf;
use crate::confidence::{DEFAULT_DRAWS, Sampling};
use crate::files::{EXAMPLES, size_tables};
use crate::lots::lot::LotTable;
use crate::report::{CompareReport, ConfidenceReport, SizeReport};
use crate::size::table;
use crate::source::{Tabular, read_bounded};
use crate::tasks;
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::sync::PoisonError;

impl Page {
    /// Answers a call: its path below `/api/1/`, with the query, and its body where it has one.
    pub fn answer(&self, path: &str, body: Option<&[u8]>) -> Reply {
        let (name, query) = path.split_once('?').unwrap_or((path, ""));
        let replied = match body {
            None => self.told(name, query),
            Some(body) => self.worked_out(name, body),
        };
        replied.unwrap_or_else(Reply::from)
    }

    /// Waits until nothing is being written.
    #[cfg(feature = "page")]
    pub(super) fn settle(&self) {
        drop(self.saving.lock());
    }

    /// Calls without a body.
    fn told(&self, name: &str, query: &str) -> Result<Reply, Refusal> {
        match name {
            "folder" => Reply::json(&listing(self)?),
            "tables" => Reply::json(&Pickers::new(&self.tables)),
            "scrub" => Reply::json(&scrub(self, file_of(query)?)?),
            "start" => Reply::json(&Draft::start(self)?),
            "example" => Reply::json(&Draft::example(self)?),
            "shelf" => Reply::json(&shelf(self, &file_of(query)?)?),
            "downloads" => Reply::json(&ALL),
            "examples" => Reply::json(&EXAMPLES),
            "download/all" => archive(self),
            _ => Err(Refusal::malformed("there is no such call without a body")),
        }
    }

    /// Calls with a body.
    fn worked_out(&self, name: &str, sent: &[u8]) -> Result<Reply, Refusal> {
        match name {
            "assess" => Reply::json(&assess(self, body(sent)?)?),
            "compare" => Reply::json(&compare(self, &body(sent)?)?),
            "differences" => {
                let DifferRequest { file, here, there } = body(sent)?;
                Reply::json(&differences(&here, &there, &file)?)
            }
            "table" => Reply::json(&check_table(self, body(sent)?)?),
            "aim" => Reply::json(&find(self, &body(sent)?)?),
            "confidence" => Reply::json(&confidence(self, &body(sent)?)?),
            "preview" => Reply::json(&preview(self, &body(sent)?)?),
            #[cfg(feature = "photos")]
            "grains" => Reply::json(&grains(self, sent)?),
            "save" => Reply::json(&written(self, body(sent)?)?),
            _ => match name.strip_prefix("download/") {
                Some(key) => download(self, key, &body(sent)?),
                None => Err(Refusal::malformed("there is no such call with a body")),
            },
        }
    }
}

/// The file that a query names.
fn file_of(query: &str) -> Result<String, Refusal> {
    let file = form_urlencoded::parse(query.as_bytes()).find(|(key, _)| key == "file");
    file.map(|(_, file)| file.into_owned()).ok_or_else(|| Refusal::malformed("this call names a file: ?file=NAME"))
}

fn scrub(page: &Page, file: String) -> Result<Draft, Refusal> {
    check_here(&file, &SCRUB_ENDINGS)?;
    let text = page.folder.read(Path::new(&file))?;
    Ok(Draft { file, text, tables: Vec::new() })
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CompareRequest {
    drafts: Vec<Draft>,
}

fn compare(page: &Page, request: &CompareRequest) -> Result<CompareReport, Refusal> {
    let in_hand: Vec<InHand> = request.drafts.iter().map(|draft| InHand::new(draft, page)).collect();
    let numbered = request.drafts.iter().zip(&in_hand).enumerate();
    let scrubs = numbered.map(|(i, (draft, files))| Ok((draft.source(files)?, (i + 1).to_string())));
    let scrubs = scrubs.collect::<Result<Vec<_>, Refusal>>()?;
    Ok(tasks::compare(&scrubs, false, page.means())?.report)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct DifferRequest {
    file: String,
    here: String,
    there: String,
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

fn check_table(page: &Page, request: TableRequest) -> Result<TableAnswer, Refusal> {
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
        None => page.folder.bytes(Path::new(&name))?,
    };
    let table = Tabular::of(&bytes, &name, None)?;
    let standards = &page.tables.standards;
    let record = table::read_tabular(&table, None, standards)?;
    let kind = record.measured.as_ref().map_or("", |m| m.kind.key());
    let measured =
        LotTable { file: name.clone(), record, sha256: table.sha256.clone(), charged_g: charge_g.filter(|g| *g > 0.0) };
    let (record, measurement) =
        tasks::measured(&[measured], None, &page.tables).map_err(|e| Refusal::wrong(e.to_string()))?;
    let loss_pct = measurement.losses.first().map(|loss| loss.loss_pct);
    let described = SizeReport::new(&name, &record, None, &[], &page.tables);
    let report = SizeReport { measurement: Some(measurement), ..described };
    // What is not on disk is kept as text, a workbook as that of its table.
    let text = held.map(|_| table::to_text(&table, standards)).transpose()?;
    let name = match new {
        Some(_) => free_name(&*page.folder, &as_text(name), text.as_deref(), &tables)?,
        None => name,
    };
    Ok(TableAnswer { name, kind, report, text, loss_pct })
}

/// The name under which the table of a file is kept as text.
fn as_text(name: String) -> String {
    match name.rsplit_once('.') {
        Some((stem, ending)) if ending.eq_ignore_ascii_case("xlsx") => format!("{stem}.csv"),
        _ => name,
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ConfidenceRequest {
    draft: Draft,
    draws: Option<u64>,
    seed: Option<u64>,
}

fn confidence(page: &Page, request: &ConfidenceRequest) -> Result<ConfidenceReport, Refusal> {
    // Who wants more draws than a page can wait for has the command line.
    let draws = request.draws.unwrap_or(DEFAULT_DRAWS).min(DEFAULT_DRAWS);
    let sampling = Sampling::new(draws, request.seed.unwrap_or(1)).map_err(|e| Refusal::wrong(e.to_string()))?;
    let files = InHand::new(&request.draft, page);
    let drawn = tasks::confidence(request.draft.source(&files)?, sampling, |_| |_| (), page.means())?;
    Ok(drawn.report)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SaveRequest {
    draft: Draft,
    base: Option<String>,
}

/// The draft as it stands in the folder now.
fn written(page: &Page, SaveRequest { mut draft, base }: SaveRequest) -> Result<Draft, Refusal> {
    // Only what can be read again is written, with the tables that it uses and no others.
    draft.scrub(page)?;
    let used = size_tables(&draft.text, &draft.file)?;
    draft.tables.retain(|t| used.contains(&t.name));
    let _one = page.saving.lock().unwrap_or_else(PoisonError::into_inner);
    save(&*page.folder, &draft, base.as_deref())?;
    draft.tables.clear();
    Ok(draft)
}
