//! Papers of a draft in place, as text, before they are taken away.

use super::answer::Refusal;
use super::assess::InHand;
use super::downloads::{DownloadRequest, batch};
use super::draft::Draft;
use super::folder::{READ_ENDINGS, SCRUB_ENDINGS, check_here};
use super::held::Page;
use super::measured::measured;
use crate::source::{Files, Source, Tabular};
use crate::tasks::{self, LabelRequest, LadderRequest, LotRequest, StandInRequest, USUAL_POINTS, USUAL_TOP};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// What is looked at.
#[derive(Debug, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum PreviewRequest {
    /// The batch sheet, of what a download takes.
    Batch { of: DownloadRequest },
    /// The copy of the label.
    Label { draft: Draft },
    /// A quantity walked, such as `olive.parts=0..6`.
    Ladder { draft: Draft, vary: String },
    /// What could stand in for a powder, from a shelf of the folder or the materials table.
    StandIn { draft: Draft, powder: String, shelf: Option<String> },
    /// A measured table held against the grade of a powder: with the sieves of a shelf, and what was put onto those of the test.
    Lot { draft: Draft, powder: String, table: String, shelf: Option<String>, charge_g: Option<f64> },
}

#[derive(Debug, Serialize)]
pub(super) struct Preview {
    text: String,
}

pub(super) fn preview(page: &Page, request: &PreviewRequest) -> Result<Preview, Refusal> {
    let means = page.means();
    let text = match request {
        PreviewRequest::Batch { of } => batch(page, of)?.to_text(),
        PreviewRequest::Label { draft } => {
            let files = InHand::new(draft, page);
            let request = LabelRequest { scrub: draft.source(&files)?, date: None, batch: None };
            tasks::label(&request, means)?.to_document().to_text()
        }
        PreviewRequest::Ladder { draft, vary } => {
            let files = InHand::new(draft, page);
            let vary = [vary.clone()];
            let request =
                LadderRequest { scrub: draft.source(&files)?, vary: &vary, points: USUAL_POINTS, picture: false };
            tasks::ladder(&request, means)?.report.to_text()
        }
        PreviewRequest::StandIn { draft, powder, shelf } => {
            let files = InHand::new(draft, page);
            let shelf = shelf_of(page, shelf.as_deref())?;
            let request = StandInRequest {
                scrub: draft.source(&files)?,
                powder,
                shelf,
                without: &[],
                top: usize::from(USUAL_TOP),
            };
            tasks::stand_in(&request, means)?.to_text()
        }
        PreviewRequest::Lot { draft, powder, table, shelf, charge_g } => {
            let files = InHand::new(draft, page);
            check_here(table, &READ_ENDINGS)?;
            let bytes = files.bytes(Path::new(table))?;
            let lot = measured(page, table, &Tabular::of(&bytes, table, None)?, *charge_g)?;
            let request = LotRequest {
                scrub: draft.source(&files)?,
                powder,
                lot: vec![lot],
                max: None,
                sample_g: None,
                sieve_mm: None,
                shelf: shelf_of(page, shelf.as_deref())?,
                picture: false,
            };
            let report = tasks::lot(request, means)?.report.for_a_page();
            // One table after the other is looked at here: each report says of which it is.
            format!("Table {table}\n\n{}", report.to_text())
        }
    };
    Ok(Preview { text })
}

/// A shelf file of the folder.
fn shelf_of<'a>(page: &'a Page, file: Option<&'a str>) -> Result<Option<Source<'a>>, Refusal> {
    file.map(|file| check_here(file, &SCRUB_ENDINGS)).transpose()?;
    Ok(file.map(|file| Source::of(Path::new(file), &*page.folder)))
}
