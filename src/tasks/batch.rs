//! What to weigh.

use super::{Means, TaskError};
use crate::files::{read_formula, read_shelf};
use crate::formula;
use crate::formula::batch::{Batch, Order};
use crate::lots::register::LotCode;
use crate::records::stock;
use crate::report::BatchReport;
use crate::source::Source;

/// What is asked.
pub struct BatchRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// How much of it, and on which balance.
    pub order: Order,
    /// The shelf that it is drawn from.
    pub shelf: Option<Source<'a>>,
    /// What batches have drawn from it.
    pub drawn: &'a stock::Withdrawn,
    /// The batch that this is, whose own draw does not count.
    pub batch: Option<&'a LotCode>,
}

/// Makes a weigh sheet.
///
/// # Errors
/// [`TaskError`].
pub fn batch(request: &BatchRequest, means: Means) -> Result<BatchReport, TaskError> {
    let Means { tables, judge } = means;
    let file = request.scrub.name();
    let formula = read_formula(request.scrub, tables)?;
    let mut shelf = request.shelf.map(|shelf| read_shelf(shelf, tables)).transpose()?;
    if let Some(shelf) = &mut shelf {
        stock::take(shelf, request.drawn, request.batch);
    }
    let checked = formula::checks(&formula, tables, judge);
    let made = Batch::new(&formula, &checked, &request.order, judge, tables);
    let made = made.map_err(|e| TaskError::Of { file, cause: e.into() })?;
    Ok(BatchReport::new(&formula, &checked, &made, shelf.as_deref(), tables))
}
