//! Blends for a target, from a shelf of the folder.

use super::answer::Refusal;
use super::draft::{Draft, InHand, TableText};
use super::server::Page;
use crate::aim::likely_blends;
use crate::aim::{self, Request};
use crate::files::edit::as_toml;
use crate::files::{read_aim, write_scrub};
use crate::report::AimReport;
use crate::source::{Beside, Files, Source};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::path::Path;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AimRequest {
    /// The keys of `[aim]`.
    aim: Map<String, Json>,
    /// The scrub in hand, which `from`, `like` and `curve` may name.
    draft: Draft,
}

#[derive(Debug, Serialize)]
pub(super) struct AimAnswer {
    report: AimReport,
    drafts: Vec<Draft>,
}

/// Blends that are shown.
const TOP: usize = 3;
/// What the aim goes by in errors.
const NAME: &str = "target";

pub(super) fn find(page: &Page, request: &AimRequest) -> Result<AimAnswer, Refusal> {
    let files = InHand::new(&request.draft, page);
    let text = as_toml("aim", &request.aim, NAME)?;
    let beside = Beside { folder: Path::new(""), files: &files };
    let aim = read_aim(Source::Text { text: &text, name: NAME, beside }, &page.tables, &page.judge)?;
    let request = Request { top: TOP, resolution_g: None, explain: true, watch: None };
    let likely =
        likely_blends(&aim, &page.judge, &page.tables, &request).map_err(|e| Refusal::wrong(format!("{NAME}: {e}")))?;
    let answer = &likely.answer;
    let best = answer.blends.first();
    let prices = best.map_or_else(Vec::new, |best| aim::prices(&aim, &likely.judge, best, None));
    let report = AimReport::new(&aim, &likely, &page.judge, &page.tables).with_prices(&aim, &prices, &page.judge);
    let mut drafts = Vec::new();
    for (found, part) in answer.blends.iter().zip(&report.blends) {
        let shares: Vec<_> = found.shares.iter().map(|&(i, pct)| (&aim.shelf[i], pct)).collect();
        let note = report.note(part, &aim.goal);
        let written = write_scrub(&found.scrub.name, &note, &shares, "")?;
        let tables = written.tables.into_iter().map(|(path, name)| Ok(TableText { text: files.read(&path)?, name }));
        let tables = tables.collect::<Result<Vec<_>, Refusal>>()?;
        drafts.push(Draft { file: format!("found-{}.toml", part.rank), text: written.text, tables });
    }
    Ok(AimAnswer { report, drafts })
}
