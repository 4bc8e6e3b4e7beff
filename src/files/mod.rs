//! Every TOML format of ours to the domain and back, with file, line and column in errors. Each reader takes a [`Source`]: a file, or a
//! text in hand.

mod accept;
mod aim;
mod calibration;
#[cfg(any(feature = "page", feature = "photos"))]
pub mod edit;
mod formula;
mod inputs;
mod powder;
mod ranges;
mod reader;
mod shelf;
mod slips;
mod starter;
mod written;

pub use aim::read_aim;
pub use calibration::{read_calibration, write_calibration};
pub use formula::{read_formula, read_weighed};
pub use inputs::Inputs;
pub use shelf::read_shelf;
pub use starter::{NEW_SCRUB, STARTER_SCRUB, STARTER_SIEVE, STARTER_SIEVE_NAME};
pub use written::{WrittenScrub, write_scrub};

use crate::blend::{Blend, Scrub};
use crate::source::{Beside, Located, Place, ReadError, Source};
use crate::tables::Tables;
use crate::units::LoadPercent;
use reader::{Document, Section};

/// What can be wrong with a scrub file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ScrubFileError {
    /// The file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A value that is wrong, missing or unknown, and where.
    #[error(transparent)]
    Value(#[from] Located),
    /// A size table that the scrub file names cannot be read.
    #[error("{place}: {cause}")]
    SizeTable {
        /// Where the scrub file names it.
        place: Place,
        /// What is wrong with it.
        cause: Box<dyn std::error::Error + Send + Sync>,
    },
}

/// More powders than this in one scrub is a mistake.
const MOST_POWDERS: usize = 50;

/// Reads a scrub file: its powders and their load. Size tables are looked up beside it.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_scrub<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Scrub, ScrubFileError> {
    let opened = source.into().open()?;
    let document = Document::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = Section::new(document, "the scrub file", 0, root.get_ref());
    scrub(&root, opened.beside, tables)
}

/// The measured tables that a scrub file names, as they are written there.
///
/// # Errors
/// As [`read_scrub`], as far as this needs to look.
pub fn size_tables(text: &str, file: &str) -> Result<Vec<String>, ScrubFileError> {
    let document = Document::new(file, text);
    let root = document.parse()?;
    let sections = Section::new(document, "the scrub file", 0, root.get_ref()).sections("powder")?;
    let mut named = Vec::new();
    for section in &sections {
        named.extend(powder::size_table(section)?);
    }
    named.sort();
    named.dedup();
    Ok(named)
}

/// The powders of a scrub file. Of the tables of its formula only the keys are looked at.
fn scrub(root: &Section, beside: Beside, tables: &Tables) -> Result<Scrub, ScrubFileError> {
    let known: Vec<&str> = ["scrub", "powder"].into_iter().chain(formula::FORMULA_TABLES).collect();
    root.only(&known, |_| false)?;
    formula::only_known_keys(root)?;
    let head = root.section("scrub")?;
    let head = root.require("[scrub]", head, "[scrub] with name and powder_load_pct")?;
    let keys = ["name", "powder_load_pct", "powder_load_pct_low", "powder_load_pct_high", slips::LOAD_IS_MEANT];
    head.only(&keys, |_| false)?;
    let name = head.need(Section::text, "name", "name = \"River polish\"")?.value;
    let load = head.need(Section::number, "powder_load_pct", "powder_load_pct = 5.0")?;
    let load = LoadPercent::new(load.value).map_err(|e| head.error_at(load.offset, e.to_string()))?;
    slips::load(&head, load)?;
    let load_range = ranges::range(&head, "powder_load_pct", Some(load.get()), LoadPercent::new)?;
    let sections = root.sections("powder")?;
    if sections.len() > MOST_POWDERS {
        return Err(root.error(format!("{} powders; a scrub has {MOST_POWDERS} at most", sections.len())));
    }
    let mut powders = Vec::new();
    for section in &sections {
        let (powder, parts) = powder::read(section, beside, tables)?;
        if powders.iter().any(|(p, _): &(crate::powder::Powder, _)| p.name == powder.name) {
            let problem = format!("two powders are named \"{}\"; give each its own name", powder.name);
            return Err(section.error(problem));
        }
        powders.push((powder, parts));
    }
    let blend = Blend::new(powders).map_err(|e| root.error(e.to_string()))?;
    Ok(Scrub { name, load, load_range, blend })
}
