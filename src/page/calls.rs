//! The calls of the page: a path and JSON in, JSON or a file out. Who brings them, over HTTP or from a script, and where the folder
//! is, they do not know.

use super::aim::find;
use super::answer::{IsWanted, Refusal, Reply, body};
use super::archive::archive;
use super::assess::{InHand, assess};
use super::differences::differences;
use super::downloads::{ALL, download};
use super::draft::Draft;
use super::folder::{SCRUB_ENDINGS, check_here, check_target, save};
#[cfg(feature = "photos")]
use super::grains::grains;
use super::held::Page;
use super::kinds::changed;
use super::listing::listing;
use super::measured::check_table;
use super::pickers::Pickers;
use super::previews::preview;
use super::shelf::shelf;
use crate::confidence::{DEFAULT_DRAWS, Sampling};
use crate::files::{EXAMPLES, size_tables};
use crate::report::{CompareReport, ConfidenceReport};
use crate::source::sha256_hex;
use crate::tasks;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::PoisonError;

impl Page {
    /// Answers a call: its path below `/api/1/`, with the query, and its body where it has one.
    pub fn answer(&self, path: &str, body: Option<&[u8]>) -> Reply {
        self.answer_while(path, body, &|| true)
    }

    /// The same while it is wanted: draws and searches ask now and then, and end where it is not any more.
    pub fn answer_while(&self, path: &str, body: Option<&[u8]>, is_wanted: IsWanted) -> Reply {
        let (name, query) = path.split_once('?').unwrap_or((path, ""));
        let replied = match body {
            None => self.told(name, query),
            Some(body) => self.worked_out(name, body, is_wanted),
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
    fn worked_out(&self, name: &str, sent: &[u8], is_wanted: IsWanted) -> Result<Reply, Refusal> {
        match name {
            "assess" => Reply::json(&assess(self, body(sent)?)?),
            "compare" => Reply::json(&compare(self, &body(sent)?)?),
            "differences" => {
                let DifferRequest { file, here, there } = body(sent)?;
                Reply::json(&differences(&here, &there, &file, &self.tables.materials)?)
            }
            "file" => Reply::json(&changed(self, body(sent)?)?),
            "table" => Reply::json(&check_table(self, body(sent)?)?),
            "aim" => Reply::json(&find(self, &body(sent)?, is_wanted)?),
            "confidence" => Reply::json(&confidence(self, &body(sent)?, is_wanted)?),
            "preview" => Reply::json(&preview(self, &body(sent)?)?),
            #[cfg(feature = "photos")]
            "grains" => Reply::json(&grains(self, sent)?),
            "beside" => Reply::json(&beside(self, &body(sent)?)),
            "save" => Reply::json(&written(self, body(sent)?)?),
            _ => match name.strip_prefix("download/") {
                Some(key) => download(self, key, &body(sent)?, is_wanted),
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
struct ConfidenceRequest {
    draft: Draft,
    draws: Option<u64>,
    seed: Option<u64>,
}

fn confidence(page: &Page, request: &ConfidenceRequest, is_wanted: IsWanted) -> Result<ConfidenceReport, Refusal> {
    // Who wants more draws than a page can wait for has the command line.
    let draws = request.draws.unwrap_or(DEFAULT_DRAWS).min(DEFAULT_DRAWS);
    let sampling = Sampling::new(draws, request.seed.unwrap_or(1)).map_err(|e| Refusal::wrong(e.to_string()))?;
    let files = InHand::new(&request.draft, page);
    let drawn = tasks::confidence(request.draft.source(&files)?, sampling, |_| |_| is_wanted(), page.means())?;
    Ok(drawn.report)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct BesideRequest {
    names: Vec<String>,
}

/// What files hold now, by SHA-256; null for one that cannot be read.
fn beside(page: &Page, request: &BesideRequest) -> BTreeMap<String, Option<String>> {
    let now = |name: &String| page.folder.bytes(Path::new(name)).ok().map(|bytes| sha256_hex(&bytes));
    request.names.iter().map(|name| (name.clone(), now(name))).collect()
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
    draft.check(page)?;
    let used = size_tables(&draft.text, &draft.file)?;
    draft.tables.retain(|t| used.contains(&t.name));
    check_target(&draft.file, base.as_deref())?;
    let _one = page.saving.lock().unwrap_or_else(PoisonError::into_inner);
    draft.check_replaces(page, base.as_deref())?;
    save(&*page.folder, &draft, base.as_deref())?;
    draft.tables.clear();
    Ok(draft)
}
