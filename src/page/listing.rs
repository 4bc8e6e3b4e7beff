//! What lies in the folder.

use super::answer::Refusal;
use super::server::Page;
use crate::scrubfile::edit::definition;
use crate::scrubfile::{read_from, read_shelf_from};
use crate::source::Files;
use serde::Serialize;
use std::path::Path;

/// More files than this are no workshop folder.
const MOST_FILES: usize = 500;

#[derive(Debug, Default, Serialize)]
pub(super) struct Listing {
    /// Name of the folder.
    folder: String,
    scrubs: Vec<ScrubEntry>,
    shelves: Vec<ShelfEntry>,
    aims: Vec<String>,
    tables: Vec<String>,
    broken: Vec<BrokenEntry>,
}

#[derive(Debug, Serialize)]
struct ScrubEntry {
    file: String,
    name: String,
    band: String,
    rank: usize,
    index: f64,
    powder_load_pct: f64,
}

#[derive(Debug, Serialize)]
struct ShelfEntry {
    file: String,
    powders: Vec<String>,
}

#[derive(Debug, Serialize)]
struct BrokenEntry {
    file: String,
    error: String,
}

pub(super) fn listing(page: &Page) -> Result<Listing, Refusal> {
    let names = page.workshop.names(MOST_FILES);
    let names = names.map_err(|e| Refusal::failed(format!("{}: cannot be listed: {e}", page.folder_name)))?;
    let mut listing = Listing { folder: page.folder_name.clone(), ..Listing::default() };
    for name in names {
        match name.rsplit_once('.').map(|(_, ending)| ending.to_lowercase()).as_deref() {
            Some("csv" | "tsv" | "txt") => listing.tables.push(name),
            Some("toml") => listing.place(page, name),
            _ => (),
        }
    }
    Ok(listing)
}

impl Listing {
    /// A file goes to its kind by its tables; one that is none of ours is passed over.
    fn place(&mut self, page: &Page, file: String) {
        let path = Path::new(&file);
        let read = page.workshop.read(path).map_err(|e| e.to_string());
        let placed = read.and_then(|text| definition(&text, &file).map_err(|e| e.to_string())).and_then(|root| {
            let has = |key: &str| root.get(key).is_some();
            if has("scrub") {
                let scrub = read_from(&page.workshop, path, &page.tables).map_err(|e| e.to_string())?;
                let assessment = page.judge.assess(&scrub);
                self.scrubs.push(ScrubEntry {
                    name: scrub.name,
                    band: page.judge.band_name(assessment.verdict.rank).to_owned(),
                    rank: assessment.verdict.rank,
                    index: assessment.figures.index,
                    powder_load_pct: scrub.load.get(),
                    file: file.clone(),
                });
            } else if has("aim") {
                self.aims.push(file.clone());
            } else if has("powder") {
                let shelf = read_shelf_from(&page.workshop, path, &page.tables).map_err(|e| e.to_string())?;
                let powders = shelf.into_iter().map(|s| s.powder.name).collect();
                self.shelves.push(ShelfEntry { file: file.clone(), powders });
            }
            Ok(())
        });
        if let Err(error) = placed {
            self.broken.push(BrokenEntry { file, error });
        }
    }
}
