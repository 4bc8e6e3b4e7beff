//! Every TOML format of ours to the domain and back, with file, line and column in errors. Each reader takes a [`Source`]: a file, or a
//! text in hand.

mod accept;
mod aim;
mod calibration;
#[cfg(any(feature = "page-calls", feature = "photos"))]
pub mod edit;
mod examples;
mod faults;
mod formula;
mod inci;
mod inputs;
mod powder;
mod ranges;
mod reader;
mod shelf;
mod slips;
mod starter;
mod typed;
mod written;

pub use aim::{AimFile, read_aim, read_aim_file};
pub use calibration::{read_calibration, write_calibration};
pub use examples::{EXAMPLE_PHOTOGRAPH, EXAMPLES, Example};
pub use formula::{read_formula, read_weighed};
pub use inputs::ReadInputs;
pub use shelf::{is_shelf, read_shelf, read_sieves};
pub use starter::{NEW_SCRUB, STARTER_SCRUB, STARTER_SIEVE, STARTER_SIEVE_NAME};
pub use written::{WrittenScrub, write_scrub};

use crate::blend::{Blend, Scrub};
use crate::powder::{Powder, Range};
use crate::source::{Beside, Located, Place, ReadError, Source, sheet_of};
use crate::tables::Tables;
use crate::units::{LoadPercent, Parts};
use faults::Faults;
use reader::{TomlDocument, TomlSection};
use std::path::Path;

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

impl ScrubFileError {
    /// Whether the file names a material that may be in no scrub.
    pub fn forbids(&self) -> bool {
        matches!(self, Self::Value(located) if located.forbids())
    }
}

/// More powders than this in one scrub is a mistake.
const MOST_POWDERS: usize = 50;

/// Reads a scrub file: its powders and their load. Size tables are looked up beside it.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_scrub<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Scrub, ScrubFileError> {
    let opened = source.into().open()?;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the scrub file", 0, root.get_ref());
    scrub(&root, opened.beside, tables)
}

/// The files of the measured tables that a scrub file names, as they are written there, without the sheet of a workbook.
///
/// # Errors
/// As [`read_scrub`], as far as this needs to look.
pub fn size_tables(text: &str, file: &str) -> Result<Vec<String>, ScrubFileError> {
    let document = TomlDocument::new(file, text);
    let root = document.parse()?;
    let sections = TomlSection::new(document, "the scrub file", 0, root.get_ref()).sections("powder")?;
    let mut named = Vec::new();
    for section in &sections {
        let table = powder::size_table(section)?;
        named.extend(table.map(|table| sheet_of(Path::new(&table)).0.to_string_lossy().into_owned()));
    }
    named.sort();
    named.dedup();
    Ok(named)
}

/// The powders of a scrub file. Of the tables of its formula only the keys are looked at.
fn scrub(root: &TomlSection, beside: Beside, tables: &Tables) -> Result<Scrub, ScrubFileError> {
    if root.has("sieves") {
        let problem = "[sieves] stands in a shelf file, which blend and lot take as --shelf; a scrub file has [scrub] and no sieves";
        return Err(root.error_of("sieves", problem));
    }
    let known: Vec<&str> = ["scrub", "powder"].into_iter().chain(formula::FORMULA_TABLES).collect();
    let mut faults = Faults::default();
    let head = faults.keep(head(root));
    let powders = faults.keep(powders(root, beside, tables));
    faults.mistyped(root.only(&known, |_| false), root);
    faults.keep(formula::only_known_keys(root));
    let ((name, load, load_range), powders) = faults.end_with(head.zip(powders))?;
    let blend = Blend::new(powders).map_err(|e| root.error(e.to_string()))?;
    Ok(Scrub { name, load, load_range, blend })
}

/// Name and load.
fn head(root: &TomlSection) -> Result<(String, LoadPercent, Option<Range>), ScrubFileError> {
    let head = root.require("[scrub]", root.section("scrub")?, "[scrub] with name and powder_load_pct")?;
    let keys = ["name", "powder_load_pct", "powder_load_pct_low", "powder_load_pct_high", slips::LOAD_IS_MEANT];
    let mut faults = Faults::default();
    let name = faults.keep(head.need(TomlSection::text, "name", "name = \"River polish\""));
    let load = faults.keep(load(&head));
    faults.mistyped(head.only(&keys, |_| false), &head);
    let (name, (load, load_range)) = faults.end_with(name.zip(load))?;
    Ok((name.value, load, load_range))
}

fn load(head: &TomlSection) -> Result<(LoadPercent, Option<Range>), ScrubFileError> {
    let load = head.need(TomlSection::number, "powder_load_pct", "powder_load_pct = 5.0")?;
    let load = LoadPercent::new(load.value).map_err(|e| head.error_at(load.offset, e.to_string()))?;
    slips::load(head, load)?;
    Ok((load, ranges::range(head, "powder_load_pct", Some(load.get()), LoadPercent::new)?))
}

fn powders(root: &TomlSection, beside: Beside, tables: &Tables) -> Result<Vec<(Powder, Parts)>, ScrubFileError> {
    let sections = root.sections("powder")?;
    if sections.len() > MOST_POWDERS {
        return Err(root.error(format!("{} powders; a scrub has {MOST_POWDERS} at most", sections.len())));
    }
    let (mut faults, mut powders) = (Faults::default(), Vec::<(Powder, Parts)>::new());
    for section in &sections {
        let Some((powder, parts)) = faults.keep(powder::read(section, beside, tables)) else { continue };
        if powders.iter().any(|(p, _)| p.name == powder.name) {
            let problem = format!("two powders are named \"{}\"; give each its own name", powder.name);
            faults.keep::<()>(Err(section.error(problem)));
        }
        powders.push((powder, parts));
    }
    faults.end().map(|()| powders)
}
