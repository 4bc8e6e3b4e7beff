//! What to weigh.

use super::{Means, TaskError};
use crate::files::{read_formula, read_shelf};
use crate::formula;
use crate::formula::batch::{Batch, Order};
use crate::lots::register::LotCode;
use crate::records::stock;
use crate::report::BatchReport;
use crate::source::{Source, did_you_mean};

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
    /// Lots that are in hand, by the name of what they are of; they go before those of the file.
    pub in_hand: &'a [(String, LotCode)],
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
    let mut report = BatchReport::new(&formula, &checked, &made, shelf.as_deref(), tables);
    take_in_hand(&mut report, request.in_hand)?;
    Ok(report)
}

/// Puts the lots that are in hand on a sheet.
fn take_in_hand(sheet: &mut BatchReport, in_hand: &[(String, LotCode)]) -> Result<(), TaskError> {
    for (i, (name, lot)) in in_hand.iter().enumerate() {
        if in_hand[..i].iter().any(|(earlier, _)| earlier == name) {
            return Err(super::asked("lot-of", format!("two lots of \"{name}\": give one for each name")));
        }
        let mut lines = sheet.lines.iter_mut().filter(|l| l.weighing.name == *name).peekable();
        if lines.peek().is_none() {
            let hint = did_you_mean(name, sheet.lines.iter().map(|l| l.weighing.name.as_str()));
            return Err(super::asked("lot-of", format!("nothing in the batch is named \"{name}\"; {hint}")));
        }
        lines.for_each(|line| line.weighing.lot = Some(lot.as_str().to_owned()));
    }
    Ok(())
}
