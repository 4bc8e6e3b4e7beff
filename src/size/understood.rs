//! Size tables as people keep them in a spreadsheet, brought into the form that [`super::table`] reads: which column is what by the words
//! above it, units, decimal marks, the pan, rows of totals, the order of the rows. What was taken for what is said; what may be two
//! things is asked.

mod columns;
mod rows;

use super::standards::Standards;
use crate::source::{Located, Sheet};
use columns::Layout;

/// A table in the form of [`super::table`].
#[derive(Debug, Clone)]
pub(super) struct Understood {
    /// It.
    pub sheet: Sheet,
    /// Its columns as they are named in the file.
    pub names: Vec<String>,
    /// What was taken for what, on one line.
    pub said: String,
    /// What was lost of masses, g, where a row says so.
    pub lost_g: Option<f64>,
}

/// Whether somewhere in a sheet a row stands that can be the head of a size table.
pub(super) fn has_head(sheet: &Sheet, standards: &Standards) -> bool {
    Layout::find(sheet, standards).is_some()
}

/// Understands a table; `None` where no row can be its head.
///
/// # Errors
/// [`Located`] with all cells that are wrong, or with what may be two things.
pub(super) fn understood(sheet: &Sheet, standards: &Standards) -> Option<Result<Understood, Located>> {
    let layout = Layout::find(sheet, standards)?;
    Some(layout.chosen().and_then(|chosen| rows::Reading::new(&layout, chosen, standards).understood()))
}
