//! What lies in the folder.

use super::answer::Refusal;
use super::folder::{READ_ENDINGS, SCRUB_ENDINGS, ends};
use super::held::Page;
use super::kinds::FileKind;
use crate::files::edit::{definition, has_formula};
use crate::files::{ScrubFileError, read_formula, read_scrub, read_shelf, read_weighed};
use crate::formula::{Check, CheckVerdict, checks};
use crate::size::table::has_sizes;
use crate::source::{Source, Tabular};
use serde::Serialize;
use serde_json::Value as Json;
use std::path::Path;

/// More files than this are no workshop folder.
const MOST_FILES: usize = 500;

#[derive(Debug, Default, Serialize)]
pub(super) struct Listing {
    /// Name of the folder.
    folder: String,
    /// What tells it from every other folder of this machine, for what a browser remembers of it.
    folder_id: String,
    scrubs: Vec<ScrubEntry>,
    shelves: Vec<ShelfEntry>,
    aims: Vec<String>,
    /// All files that end as tables do.
    tables: Vec<String>,
    /// Those of them that a powder can be measured by.
    size_tables: Vec<String>,
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
    /// It is harsher than every band.
    beyond: bool,
    /// Names of the checks of its formula that say stop.
    stops: Vec<&'static str>,
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
    /// It holds a material that is not allowed.
    refused: bool,
}

pub(super) fn listing(page: &Page) -> Result<Listing, Refusal> {
    let names = page.folder.names();
    let names = names.map_err(|e| Refusal::failed(format!("{}: cannot be listed: {e}", page.known_as.name)))?;
    let mut listing =
        Listing { folder: page.known_as.name.clone(), folder_id: page.known_as.id.clone(), ..Listing::default() };
    let ours = |name: &Result<String, String>| {
        let (Ok(name) | Err(name)) = name;
        ends(name, &SCRUB_ENDINGS) || ends(name, &READ_ENDINGS)
    };
    let names: Vec<_> = names.into_iter().filter(ours).collect();
    let beyond = names.len().saturating_sub(MOST_FILES);
    for name in names.into_iter().take(MOST_FILES) {
        match name {
            Ok(name) => listing.sort(page, name),
            Err(shown) => {
                let error = format!("{shown}: its name is not UTF-8; give it another");
                listing.broken.push(BrokenEntry { file: shown, error, refused: false });
            }
        }
    }
    if beyond > 0 {
        let file = page.known_as.name.clone();
        let error = format!("{file}: {beyond} more files, beyond the first {MOST_FILES}; keep fewer in one folder");
        listing.broken.push(BrokenEntry { file, error, refused: false });
    }
    Ok(listing)
}

impl Listing {
    /// A file goes to its kind by its ending; a folder is passed over, and what cannot be opened said to be so.
    fn sort(&mut self, page: &Page, file: String) {
        match page.folder.is_file(&file) {
            Ok(true) if ends(&file, &READ_ENDINGS) => {
                if may_hold_sizes(page, &file) {
                    self.size_tables.push(file.clone());
                }
                self.tables.push(file);
            }
            Ok(true) => self.place(page, file),
            Ok(false) => (),
            Err(e) => self.broken.push(BrokenEntry { file, error: e.to_string(), refused: false }),
        }
    }

    /// A file goes to its kind by its tables; one that is none of ours is passed over.
    fn place(&mut self, page: &Page, file: String) {
        if let Err(error) = self.read(page, &file) {
            self.broken.push(BrokenEntry { file, refused: error.forbids(), error: error.to_string() });
        }
    }

    fn read(&mut self, page: &Page, file: &str) -> Result<(), ScrubFileError> {
        let path = Path::new(file);
        let source = Source::of(path, &*page.folder);
        let root = definition(&page.folder.read(path)?, file)?;
        match FileKind::of(&root) {
            Some(FileKind::Scrub) => self.scrubs.push(scrub(page, source, file, &root)?),
            Some(FileKind::Aim) => self.aims.push(file.to_owned()),
            Some(FileKind::Shelf) => {
                let shelf = read_shelf(source, &page.tables)?;
                let powders = shelf.into_iter().map(|s| s.powder.name).collect();
                self.shelves.push(ShelfEntry { file: file.to_owned(), powders });
            }
            None => (),
        }
        Ok(())
    }
}

/// Whether a table is offered as one of sizes: a register of lots is not; one that cannot be read is, so that it is said why.
fn may_hold_sizes(page: &Page, file: &str) -> bool {
    let table = Tabular::read(Path::new(file), &*page.folder);
    table.map_or(true, |table| has_sizes(&table, &page.tables.standards))
}

fn scrub(page: &Page, source: Source, file: &str, root: &Json) -> Result<ScrubEntry, ScrubFileError> {
    let scrub = read_scrub(source, &page.tables)?;
    // A formula that cannot be read keeps nobody from seeing the powders.
    let weighed = read_weighed(source, &page.tables);
    let grains = weighed.ok().and_then(|w| w.grains(&page.tables));
    let assessment = page.judge.assess(grains.as_ref().unwrap_or(&scrub));
    Ok(ScrubEntry {
        beyond: assessment.verdict.rank == page.judge.bands().len(),
        stops: if has_formula(root) { stops(page, source) } else { Vec::new() },
        name: scrub.name,
        band: page.judge.band_name(assessment.verdict.rank).to_owned(),
        rank: assessment.verdict.rank,
        index: assessment.figures.index,
        powder_load_pct: scrub.load.get(),
        file: file.to_owned(),
    })
}

/// What forbids a whole scrub, by the names of its checks; one that cannot be read says so when it is opened.
fn stops(page: &Page, source: Source) -> Vec<&'static str> {
    let formula = read_formula(source, &page.tables);
    let checked = formula.map(|formula| checks(&formula, &page.tables, &page.judge).checks).unwrap_or_default();
    checked.iter().filter(|c| c.verdict == CheckVerdict::Stop).map(Check::name).collect()
}
