//! Blends for a target.

use super::{Means, TaskError};
use crate::aim::{self, Aim, Request, Watch, frontier, likely_blends};
use crate::files::{AimFile, WrittenScrub, read_aim_file, write_scrub};
use crate::formula::misfits_of;
use crate::plot::{Picture, aim_pictures};
use crate::report::AimReport;
use crate::source::Source;

/// What is asked.
pub struct AimRequest<'a> {
    /// The aim file.
    pub aim: Source<'a>,
    /// How many blends.
    pub top: usize,
    /// Step of the balance, g.
    pub resolution_g: Option<f64>,
    /// Told how the search stands.
    pub watch: Option<Watch<'a>>,
    /// Draw passing limits with the curves found, and cost against index.
    pub pictures: bool,
}

/// What comes of it.
pub struct Aimed {
    /// The report.
    pub report: AimReport,
    /// The pictures, if asked for.
    pub pictures: Vec<Picture>,
    aim: Aim,
    found: Vec<aim::Found>,
}

/// Finds blends.
///
/// # Errors
/// [`TaskError`].
pub fn aim(request: &AimRequest, means: Means) -> Result<Aimed, TaskError> {
    let Means { tables, judge } = means;
    let file = request.aim.name();
    let AimFile { aim, into } = read_aim_file(request.aim, tables, judge)?;
    let AimRequest { top, resolution_g, watch, .. } = *request;
    let asked = Request { top, resolution_g, explain: true, watch };
    let likely = likely_blends(&aim, judge, tables, &asked).map_err(|e| TaskError::Of { file, cause: e.into() })?;
    let answer = &likely.answer;
    let best = answer.blends.first().filter(|_| answer.stopped_at.is_none());
    // A price is found as the blend was: rounded, and as sure.
    let again = |aim: &Aim| match (aim.sure_pct, resolution_g) {
        (None, None) => aim.worth(judge, watch),
        _ => {
            let again = likely_blends(aim, judge, tables, &Request { top: 1, explain: false, ..asked }).ok()?;
            again.answer.blends.first()?.objective.filter(|_| again.answer.stopped_at.is_none())
        }
    };
    let prices = best.map_or_else(Vec::new, |best| aim::prices(&aim, &likely.judge, best, again));
    let mut report = AimReport::new(&aim, &likely, judge, tables).with_prices(&aim, &prices, judge);
    if let Some(into) = &into {
        report = report.with_wrong_in(&into.scrub().name, &likely, |scrub| misfits_of(into, scrub, tables));
    }
    let draw = || aim_pictures(&aim, &answer.blends, &frontier(&aim, &likely.judge, &answer.blends));
    let pictures = request.pictures.then(draw).transpose()?.unwrap_or_default();
    Ok(Aimed { report, pictures, found: likely.answer.blends, aim })
}

impl Aimed {
    /// Every blend as a scrub file, with the size tables it needs under names that begin with what `lead` makes of its rank.
    ///
    /// # Errors
    /// [`TaskError`] when a blend cannot be written as a file.
    pub fn scrub_files(&self, lead: impl Fn(usize) -> String) -> Result<Vec<WrittenScrub>, TaskError> {
        let written = self.found.iter().zip(&self.report.blends).map(|(found, part)| {
            let shares: Vec<_> = found.shares.iter().map(|&(i, pct)| (&self.aim.shelf[i], pct)).collect();
            Ok(write_scrub(&found.scrub.name, &self.report.note(part, &self.aim.goal), &shares, &lead(part.rank))?)
        });
        written.collect()
    }
}
