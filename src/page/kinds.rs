//! What a file of the folder is, and files that are no scrub, shelves and aims, changed value by value as scrubs are.

use super::answer::Refusal;
use super::assess::InHand;
use super::differences::{DraftDifference, differences};
use super::draft::Draft;
use super::folder::held;
use super::held::Page;
use super::shelf::{OnShelf, on_shelf};
use crate::files::edit::{Edit, definition, edited};
use crate::files::{read_aim_file, read_scrub, read_shelf};
use crate::source::text_of;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FileKind {
    Scrub,
    Aim,
    Shelf,
}

impl FileKind {
    /// By the tables of a file; `None` for one that is none of ours.
    pub fn of(root: &Json) -> Option<Self> {
        let kinds = [("scrub", Self::Scrub), ("aim", Self::Aim), ("powder", Self::Shelf)];
        kinds.into_iter().find(|(key, _)| root.get(key).is_some()).map(|(_, kind)| kind)
    }

    fn name(self) -> &'static str {
        match self {
            Self::Scrub => "a scrub",
            Self::Aim => "an aim",
            Self::Shelf => "a shelf",
        }
    }
}

impl Draft {
    /// Reads it as what it is; one that is nothing yet as a scrub, in whose words it is then refused.
    ///
    /// # Errors
    /// [`Refusal`] of a file that cannot be read.
    pub fn check(&self, page: &Page) -> Result<(), Refusal> {
        let files = InHand::new(self, page);
        let source = self.source(&files)?;
        match FileKind::of(&definition(&self.text, &self.file)?) {
            Some(FileKind::Aim) => drop(read_aim_file(source, &page.tables, &page.judge)?),
            Some(FileKind::Shelf) => drop(read_shelf(source, &page.tables)?),
            Some(FileKind::Scrub) | None => drop(read_scrub(source, &page.tables)?),
        }
        Ok(())
    }

    /// What it is, where it can be read as that.
    fn kind(&self, page: &Page) -> Option<FileKind> {
        self.check(page).ok()?;
        FileKind::of(&definition(&self.text, &self.file).ok()?)
    }

    /// Nothing is written over a file of another kind, and no new file over what cannot be read as one of its own: a maker who types the
    /// name of the shelf did not mean to lose it. What is opened from disk and mended may be anything that is of no other kind.
    ///
    /// # Errors
    /// [`Refusal`] that says what stands there.
    pub fn check_replaces(&self, page: &Page, base: Option<&str>) -> Result<(), Refusal> {
        let Some(text) = held(&*page.folder, &self.file)? else { return Ok(()) };
        let there = Self { file: self.file.clone(), text, tables: Vec::new() }.kind(page);
        let own = self.kind(page);
        let what = match there {
            _ if there == own => return Ok(()),
            Some(kind) => format!("it is {}", kind.name()),
            None if base.is_some() => return Ok(()),
            None => format!("it cannot be read as {}", own.unwrap_or(FileKind::Scrub).name()),
        };
        let file = &self.file;
        let told =
            format!("{file}: a file of that name is there already, and {what}; nothing was written: give another name");
        Err(Refusal::wrong(told).about(file))
    }
}

/// What is asked about a shelf or an aim.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FileRequest {
    draft: Draft,
    #[serde(default)]
    edits: Vec<Edit>,
    /// What the file holds on disk, to be told what is not saved.
    base: Option<String>,
}

/// A shelf or an aim after the edits.
#[derive(Debug, Serialize)]
pub(super) struct FileAnswer {
    draft: Draft,
    definition: Json,
    /// The powders, of a shelf.
    #[serde(skip_serializing_if = "Option::is_none")]
    powders: Option<Vec<OnShelf>>,
    /// What differs from `base`.
    unsaved: Vec<DraftDifference>,
}

/// Makes the edits and reads what comes of them. A text without anything in it is a new file, which the edits begin.
pub(super) fn changed(page: &Page, request: FileRequest) -> Result<FileAnswer, Refusal> {
    let FileRequest { mut draft, edits, base } = request;
    // One that no file may be is refused before it is edited.
    if !draft.text.is_empty() {
        text_of(draft.text.as_bytes(), draft.file.clone())?;
    }
    if !edits.is_empty() {
        draft.text = edited(&draft.text, &draft.file, &edits)?;
    }
    let definition = definition(&draft.text, &draft.file)?;
    let powders = match FileKind::of(&definition) {
        Some(FileKind::Shelf) => Some(on_shelf(draft.source(&InHand::new(&draft, page))?, page)?),
        _ => {
            draft.check(page)?;
            None
        }
    };
    let unsaved = base
        .map(|base| differences(&base, &draft.text, &draft.file, &page.tables.materials))
        .transpose()?
        .unwrap_or_default();
    Ok(FileAnswer { definition, powders, unsaved, draft })
}
