//! Blends for a target, from a shelf of the folder.

use super::answer::{IsWanted, Refusal};
use super::assess::InHand;
use super::draft::{Draft, TableText};
use super::held::Page;
use crate::aim::{MOST_PARTS, Progress};
use crate::files::edit::as_toml;
use crate::report::AimReport;
use crate::source::{Beside, Files, Source};
use crate::tasks;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::path::Path;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AimAsked {
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

pub(super) fn find(page: &Page, request: &AimAsked, is_wanted: IsWanted) -> Result<AimAnswer, Refusal> {
    let files = InHand::new(&request.draft, page);
    let text = as_toml("aim", &request.aim, NAME)?;
    let beside = Beside { folder: Path::new(""), files: &files };
    let source = Source::Text { text: &text, name: NAME, beside };
    // A search that takes more parts than one that nobody watches is stopped where that is.
    let watch = |progress: &Progress| is_wanted() && progress.done < MOST_PARTS;
    let request = tasks::AimRequest { aim: source, top: TOP, resolution_g: None, watch: Some(&watch), pictures: false };
    let aimed = tasks::aim(&request, page.means())?;
    let mut drafts = Vec::new();
    for (i, written) in aimed.scrub_files(|_| String::new())?.into_iter().enumerate() {
        let tables = written.tables.into_iter().map(|(path, name)| Ok(TableText { text: files.read(&path)?, name }));
        let tables = tables.collect::<Result<Vec<_>, Refusal>>()?;
        drafts.push(Draft { file: format!("found-{}.toml", i + 1), text: written.text, tables });
    }
    let report = aimed.report;
    Ok(AimAnswer { report, drafts })
}
