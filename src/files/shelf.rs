//! A shelf file: powders as in a scrub file, without parts, with price, stock, bounds and tags.

use super::ScrubFileError;
use super::faults::Faults;
use super::powder::{POWDER_KEYS, read_powder, size_table};
use super::ranges::RANGE_KEYS;
use super::reader::unit;
use super::reader::{Document, Section};
use super::slips::MEANT_KEYS;
use crate::powder::ShelfPowder;
use crate::source::{Beside, Source};
use crate::tables::Tables;
use crate::units::{Grams, PercentOfScrub};

/// Powders on a shelf: a supplier's whole catalogue.
const MOST_ON_SHELF: usize = 500;

const SHELF_KEYS: [&str; 4] = ["stock_g", "min_pct", "max_pct", "tags"];

/// Reads a shelf file. Size tables are looked up beside it.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_shelf<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Vec<ShelfPowder>, ScrubFileError> {
    let opened = source.into().open()?;
    let beside = opened.beside;
    let document = Document::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = Section::new(document, "the shelf file", 0, root.get_ref());
    root.only(&["powder"], |_| false)?;
    let sections = root.sections("powder")?;
    if sections.is_empty() {
        return Err(root.error("the shelf is empty; add a [[powder]] with name, material, size and price_per_kg"));
    }
    if sections.len() > MOST_ON_SHELF {
        return Err(root.error(format!("{} powders; a shelf has {MOST_ON_SHELF} at most", sections.len())));
    }
    let (mut faults, mut shelf) = (Faults::default(), Vec::<ShelfPowder>::new());
    for section in &sections {
        let Some(entry) = faults.keep(shelf_powder(section, beside, tables)) else { continue };
        if shelf.iter().any(|s| s.powder.name == entry.powder.name) {
            let problem = format!("two powders are named \"{}\"; give each its own name", entry.powder.name);
            faults.keep::<()>(Err(section.error(problem)));
        }
        shelf.push(entry);
    }
    faults.end().map(|()| shelf)
}

fn shelf_powder(section: &Section, beside: Beside, tables: &Tables) -> Result<ShelfPowder, ScrubFileError> {
    let known: Vec<&str> = POWDER_KEYS.into_iter().chain(SHELF_KEYS).chain(RANGE_KEYS).chain(MEANT_KEYS).collect();
    section.only(&known, |_| false)?;
    let min_pct = unit(section, "min_pct", PercentOfScrub::new)?.map_or(0.0, PercentOfScrub::get);
    let max_pct = unit(section, "max_pct", PercentOfScrub::new)?.map_or(100.0, PercentOfScrub::get);
    if min_pct > max_pct {
        return Err(section.error(format!("min_pct = {min_pct} is above max_pct = {max_pct}")));
    }
    Ok(ShelfPowder {
        powder: read_powder(section, beside, tables)?,
        stock_g: unit(section, "stock_g", Grams::new)?.map(Grams::get),
        min_pct,
        max_pct,
        tags: section.texts("tags")?,
        definition: section.written(&[&POWDER_KEYS[..], &RANGE_KEYS, &MEANT_KEYS].concat()),
        size_table: size_table(section)?.map(|file| beside.path(&file)),
    })
}
