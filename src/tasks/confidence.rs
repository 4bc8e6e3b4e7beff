//! How sure a verdict is.

use super::{Means, TaskError};
use crate::confidence::{self, Sampling};
use crate::plot::{Picture, confidence_picture};
use crate::report::ConfidenceReport;
use crate::source::Source;

/// What comes of the draws.
#[derive(Debug)]
pub struct Drawn {
    /// The report.
    pub report: ConfidenceReport,
    /// The distribution of the index; `None` where next to no draw rubs.
    pub picture: Option<Picture>,
}

/// Draws a scrub, skin and model. `begins` hears how many evaluations there will be at most and gives what hears of those done.
///
/// # Errors
/// [`TaskError`].
pub fn confidence<D: Fn(u64) + Sync + Send>(
    scrub: Source,
    sampling: Sampling,
    begins: impl FnOnce(u64) -> D,
    means: Means,
) -> Result<Drawn, TaskError> {
    let Means { tables, judge } = means;
    let on_skin = means.on_skin(scrub)?;
    let scrub = on_skin.scrub_or_weighed();
    let done = begins(confidence::evaluations(scrub, judge, tables, sampling));
    let confidence = confidence::confidence(scrub, judge, tables, sampling, done);
    let drawn = (!confidence.hardly_rubs()).then(|| confidence_picture(scrub, judge, &confidence)).transpose()?;
    Ok(Drawn { report: ConfidenceReport::new(&on_skin, judge, &confidence, tables), picture: drawn })
}
