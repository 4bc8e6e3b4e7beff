//! What batches have drawn from the shelf: a file of its own that only ever grows. The shelf's `stock_g` is all that was ever bought
//! since this file was begun; what is left is that less what stands here.

use super::batches::{BatchRecord, Batches, Used, used_of};
use super::sealed::{is_cut_short, sealed, unsealed};
use crate::lots::register::LotCode;
use crate::numerics::written::trimmed;
use crate::powder::ShelfPowder;
use crate::source::{Added, CalendarDate, Fault, Ledger, LedgerError, Lines, ReadError, same_word};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::path::Path;

const LEDGER: Ledger =
    Ledger { what: "record of stock", columns: &["batch", "date", "lines", "check"], earlier: &[], is_cut_short };

/// What can be wrong with it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StockError {
    /// It cannot be read or written, or a line was damaged.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The batch has drawn something else already.
    #[error(
        "{file}: batch {batch} has drawn other amounts already ({drawn}); nothing was added: give the new one a code of its own, in \
         another register too"
    )]
    Other {
        /// The file.
        file: String,
        /// The batch.
        batch: String,
        /// What it has drawn.
        drawn: String,
    },
}

/// What each batch has drawn, as far as the file tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Withdrawn {
    /// By batch.
    pub batches: Vec<(String, Vec<Used>)>,
    /// Lines that were cut short: what they drew is not known.
    pub torn: Vec<usize>,
}

/// Reads what was drawn; nothing, where the file is not there yet.
///
/// # Errors
/// [`StockError`].
pub fn read(path: &Path) -> Result<Withdrawn, StockError> {
    match LEDGER.read(path) {
        Err(LedgerError::Read(ReadError::Missing { .. })) => Ok(Withdrawn::default()),
        lines => drawn_of(&lines?, &path.display().to_string()),
    }
}

impl Withdrawn {
    /// Whether a batch has drawn these amounts already.
    ///
    /// # Errors
    /// [`StockError::Other`] where it has drawn others; `file` is the name of the record.
    pub fn holds(&self, file: &str, batch: &LotCode, used: &[Used]) -> Result<bool, StockError> {
        match self.batches.iter().find(|(code, _)| same_word(code, batch.as_str())) {
            None => Ok(false),
            Some((_, earlier)) if are_same(earlier, used) => Ok(true),
            Some((code, earlier)) => {
                let one = |u: &Used| format!("{} {} g", u.name, trimmed(u.grams, 7));
                let drawn = earlier.iter().map(one).collect::<Vec<_>>().join(", ");
                Err(StockError::Other { file: file.to_owned(), batch: code.clone(), drawn })
            }
        }
    }

    /// Sets right what batches drew of which the register says that other grams were weighed in than by the sheet.
    pub fn set_right(&mut self, batches: &Batches) {
        for (code, drawn) in &mut self.batches {
            let Some(record) = batches.find(code) else { continue };
            drawn.iter_mut().for_each(|u| u.grams *= in_place_of_the_sheet(record, &u.name));
        }
    }

    /// Batches that have drawn and are not in the register: what wrote the two was cut off between them, or they are of another register.
    pub fn orphans(&self, batches: &Batches) -> Vec<&str> {
        let codes = self.batches.iter().map(|(code, _)| code.as_str());
        codes.filter(|code| batches.find(code).is_none()).collect()
    }
}

/// What was weighed in of a powder over what the sheet said.
fn in_place_of_the_sheet(record: &BatchRecord, name: &str) -> f64 {
    let grams = |used: &[Used]| used.iter().filter(|u| u.name == name).map(|u| u.grams).sum::<f64>();
    let planned = grams(&record.weighed.used);
    if planned > 0.0 { grams(&record.used()) / planned } else { 1.0 }
}

/// Adds what a batch draws, and says whether it did: the same once more adds nothing, as whoever was cut off between this file and the
/// register begins again.
///
/// # Errors
/// [`StockError`]; the file is then as it was.
pub fn append(path: &Path, batch: &LotCode, date: CalendarDate, used: &[Used]) -> Result<(Added, bool), StockError> {
    let file = path.display().to_string();
    let mut is_new = true;
    let added = LEDGER.append(path, |lines| {
        if drawn_of(lines, &file)?.holds(&file, batch, used)? {
            is_new = false;
            return Ok::<_, StockError>(None);
        }
        let lines = serde_json::to_string(used).unwrap_or_default();
        Ok(Some(sealed(vec![batch.as_str().to_owned(), date.to_string(), lines])))
    })?;
    Ok((added, is_new))
}

/// Whether the same amounts of the same powders were drawn; a number may lose its last digit on the way to a file and back.
fn are_same(a: &[Used], b: &[Used]) -> bool {
    let same = |(a, b): (&Used, &Used)| a.name == b.name && (a.grams - b.grams).abs() <= 1e-9 * a.grams;
    a.len() == b.len() && a.iter().zip(b).all(same)
}

/// A line that stands twice, as where two copies were joined, has drawn once.
fn drawn_of(lines: &Lines, file: &str) -> Result<Withdrawn, StockError> {
    let mut drawn: HashMap<String, (usize, String, Vec<Used>)> = HashMap::new();
    for (line, row) in &lines.rows {
        let wrong = |fault: Fault| LedgerError::line(file, *line, fault);
        unsealed(&LEDGER, row).map_err(wrong)?;
        let used = used_of(LEDGER.cell(row, "lines")).map_err(wrong)?;
        let batch = LEDGER.cell(row, "batch");
        match drawn.entry(batch.to_ascii_lowercase()) {
            Entry::Vacant(place) => {
                place.insert((*line, batch.to_owned(), used));
            }
            Entry::Occupied(earlier) if are_same(&earlier.get().2, &used) => {}
            Entry::Occupied(earlier) => {
                let what = format!("batch {batch} has drawn other amounts in line {} already", earlier.get().0);
                return Err(wrong(Fault::new(what, "only one of the two can be right")).into());
            }
        }
    }
    let mut drawn: Vec<_> = drawn.into_values().collect();
    drawn.sort_by_key(|(line, ..)| *line);
    let batches = drawn.into_iter().map(|(_, batch, used)| (batch, used)).collect();
    Ok(Withdrawn { batches, torn: lines.torn.clone() })
}

/// Takes from a shelf what was drawn, but by the batch that is being made; never below nothing.
pub fn take(shelf: &mut [ShelfPowder], drawn: &Withdrawn, but: Option<&LotCode>) {
    let others = drawn.batches.iter().filter(|(batch, _)| but.is_none_or(|b| !same_word(b.as_str(), batch)));
    for used in others.flat_map(|(_, used)| used) {
        let own = shelf.iter_mut().find(|s| s.powder.name == used.name);
        if let Some(stock) = own.and_then(|s| s.stock_g.as_mut()) {
            *stock = (*stock - used.grams).max(0.0);
        }
    }
}
