//! How sure a verdict is.

use super::{Done, Means, TaskError};
use crate::confidence::{self, Sampling};
use crate::formula;
use crate::plot::confidence_picture;
use crate::report::ConfidenceReport;
use crate::source::Source;

/// Draws a scrub, skin and model. The picture is of the distribution of the index; there is none where next to no draw rubs. `begins` hears how many evaluations there will be at most and gives what hears of those done and says whether to go on.
///
/// # Errors
/// [`TaskError`]; [`TaskError::Stopped`] where it was not to go on.
pub fn confidence<D: Fn(u64) -> bool + Sync + Send>(
    scrub: Source,
    sampling: Sampling,
    begins: impl FnOnce(u64) -> D,
    means: Means,
) -> Result<Done<ConfidenceReport>, TaskError> {
    let Means { tables, judge } = means;
    let (formula, on_skin) = means.whole(scrub)?;
    let scrub = on_skin.scrub_or_weighed();
    let done = begins(confidence::evaluations(scrub, judge, tables, sampling));
    let confidence = confidence::confidence(scrub, judge, tables, sampling, done).ok_or(TaskError::Stopped)?;
    let picture = (!confidence.hardly_rubs()).then(|| confidence_picture(scrub, judge, &confidence)).transpose()?;
    let report = ConfidenceReport::new(&on_skin, judge, &confidence, tables);
    let report = match formula.phases() {
        [] => report,
        _ => report.beside(&formula::checks_at(&formula, &on_skin, judge.assess(scrub).verdict, tables, judge)),
    };
    Ok(Done { report, picture })
}
