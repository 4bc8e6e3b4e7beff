//! The copy of a label.

use super::{Means, TaskError};
use crate::files::read_formula;
use crate::formula;
use crate::report::LabelReport;
use crate::source::{CalendarDate, Source};

/// What is asked.
pub struct LabelRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// The day on which the product is made; new on the market too, unless the file says when it is.
    pub date: Option<CalendarDate>,
    /// The batch, if it is made already.
    pub batch: Option<&'a str>,
}

/// Makes a draft of a label.
///
/// # Errors
/// [`TaskError`].
pub fn label(request: &LabelRequest, means: Means) -> Result<LabelReport, TaskError> {
    let Means { tables, judge } = means;
    let mut formula = read_formula(request.scrub, tables)?;
    formula.usage.on_market = formula.usage.on_market.or(request.date);
    let checked = formula::checks(&formula, tables, judge);
    Ok(LabelReport::new(&formula, &checked, request.date, request.batch, judge, tables))
}
