//! A shelf file: powders as in a scrub file, without parts, with price, stock, bounds and tags.

use super::ScrubFileError;
use super::faults::Faults;
use super::powder::{POWDER_KEYS, read_powder, size_table};
use super::ranges::RANGE_KEYS;
use super::reader::unit;
use super::reader::{TomlDocument, TomlSection};
use super::slips::MEANT_KEYS;
use crate::powder::ShelfPowder;
use crate::size::SieveSet;
use crate::size::standards::FINEST_SIEVE_UM;
use crate::source::{Beside, Source};
use crate::tables::Tables;
use crate::units::{Grams, Micrometres, PercentOfScrub, plain};

/// Powders on a shelf: a supplier's whole catalogue.
const MOST_ON_SHELF: usize = 500;

/// What stands at the root of a shelf.
const SHELF_ROOT: [&str; 2] = ["powder", "sieves"];

const SHELF_KEYS: [&str; 4] = ["stock_g", "min_pct", "max_pct", "tags"];

/// Reads a shelf file. Size tables are looked up beside it.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_shelf<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Vec<ShelfPowder>, ScrubFileError> {
    let opened = source.into().open()?;
    let beside = opened.beside;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the shelf file", 0, root.get_ref());
    root.only(&SHELF_ROOT, |_| false)?;
    sieve_set(&root)?;
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

/// Reads the sieves that a shelf file says its maker owns, if it does.
///
/// # Errors
/// As [`read_shelf`], of its root and its `[sieves]`.
pub fn read_sieves<'a>(source: impl Into<Source<'a>>) -> Result<Option<SieveSet>, ScrubFileError> {
    let opened = source.into().open()?;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the shelf file", 0, root.get_ref());
    root.only(&SHELF_ROOT, |_| false)?;
    sieve_set(&root)
}

/// Whether a file is a shelf: powders, and no scrub that they are in.
///
/// # Errors
/// When it cannot be read, or is not TOML.
pub fn is_shelf<'a>(source: impl Into<Source<'a>>) -> Result<bool, ScrubFileError> {
    let opened = source.into().open()?;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the file", 0, root.get_ref());
    Ok(!root.has("scrub") && root.only(&SHELF_ROOT, |_| false).is_ok())
}

/// `[sieves]`: the openings that the maker owns.
fn sieve_set(root: &TomlSection) -> Result<Option<SieveSet>, ScrubFileError> {
    let Some(section) = root.section("sieves")? else { return Ok(None) };
    section.only(&["owned_um"], |_| false)?;
    let owned = section.need(TomlSection::numbers, "owned_um", "owned_um = [250, 180, 90]")?;
    let wrong = |problem: String| section.error_at(owned.offset, format!("owned_um: {problem}"));
    let mut openings_um = owned.value;
    for um in &openings_um {
        Micrometres::new(*um).map_err(|e| wrong(e.to_string()))?;
        if *um < FINEST_SIEVE_UM {
            let micrometres = plain(1000.0 * um);
            return Err(wrong(format!("no sieve has openings of {um} µm; if mm are meant, write {micrometres}")));
        }
    }
    openings_um.sort_by(|a, b| b.total_cmp(a));
    if let Some(twice) = openings_um.windows(2).find(|w| w[0] == w[1]) {
        return Err(wrong(format!("{} µm stands twice; name each sieve once", twice[0])));
    }
    if openings_um.is_empty() {
        return Err(wrong("no sieve is named; write their openings in µm, or leave [sieves] out".to_owned()));
    }
    Ok(Some(SieveSet { openings_um, owned: true }))
}

fn shelf_powder(section: &TomlSection, beside: Beside, tables: &Tables) -> Result<ShelfPowder, ScrubFileError> {
    let known: Vec<&str> = POWDER_KEYS.into_iter().chain(SHELF_KEYS).chain(RANGE_KEYS).chain(MEANT_KEYS).collect();
    section.only(&known, |_| false)?;
    let min_pct = unit(section, "min_pct", PercentOfScrub::new)?.map_or(0.0, PercentOfScrub::get);
    let max_pct = unit(section, "max_pct", PercentOfScrub::new)?.map_or(100.0, PercentOfScrub::get);
    if min_pct > max_pct {
        return Err(section.error(format!("min_pct = {min_pct} is above max_pct = {max_pct}")));
    }
    let powder = read_powder(section, beside, tables)?;
    Ok(ShelfPowder {
        stock_g: unit(section, "stock_g", Grams::new)?.map(|stock| stock.get() * powder.size.kept()),
        powder,
        min_pct,
        max_pct,
        tags: section.texts("tags")?,
        definition: section.written(&[&POWDER_KEYS[..], &RANGE_KEYS, &MEANT_KEYS].concat()),
        size_table: size_table(section)?.map(|file| beside.path(&file)),
    })
}
