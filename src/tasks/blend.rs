//! A scrub blended, rubbed and judged.

use super::{Means, TaskError};
use crate::confidence::{SURE, Sampling, Sure, sure};
use crate::files::read_calibration;
use crate::plot::{Picture, blend_pictures};
use crate::report::{BlendReport, ExpectedScore};
use crate::source::Source;

/// What is asked of a scrub.
pub struct BlendRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// The shelf file whose `[sieves]` are at hand; else those of the standard series are.
    pub shelf: Option<Source<'a>>,
    /// Draw how sure the band is, too.
    pub draws: bool,
    /// A panel's calibration, for the score to expect.
    pub calibration: Option<Source<'a>>,
    /// Draw the curves.
    pub pictures: bool,
    /// The harshest band that will do, by rank, and of 100 draws how many shall meet it.
    pub require: Option<(usize, Option<f64>)>,
}

/// What comes of it.
#[derive(Debug)]
pub struct Blended {
    /// The report.
    pub report: BlendReport,
    /// The curves, if asked for.
    pub pictures: Vec<Picture>,
    /// Why the scrub is not what was required, if it is not.
    pub short: Option<String>,
}

/// Blends a scrub.
///
/// # Errors
/// [`TaskError`].
pub fn blend(request: &BlendRequest, means: Means) -> Result<Blended, TaskError> {
    let Means { tables, judge } = means;
    let on_skin = means.on_skin(request.scrub)?;
    let scrub = on_skin.scrub_or_weighed();
    let assessment = judge.assess(scrub);
    let sieves = means.sieves(request.shelf)?;
    let mut report = BlendReport::with_sieves(&on_skin, &assessment, judge, tables, &sieves);
    let drawn = request.draws.then(|| sure(scrub, judge, tables, Sampling::VERDICT));
    if let Some(drawn) = &drawn {
        report = report.with_sure(drawn, judge);
    }
    if let Some(calibration) = request.calibration {
        let calibration = read_calibration(calibration, tables)?;
        report.expected_score = Some(ExpectedScore::new(&calibration, report.index.value));
    }
    let pictures = if request.pictures { blend_pictures(scrub, &assessment, judge)? } else { Vec::new() };
    let short = request.require.and_then(|(rank, wanted)| {
        let asked = judge.band_name(rank);
        if assessment.verdict.rank > rank {
            return Some(format!("required is {asked}, but the scrub is {}", report.band.name));
        }
        let met = drawn.as_ref().map_or(100.0, |drawn| Sure::pct(drawn.share(rank)));
        if report.band.at_least && (drawn.is_none() || met < wanted.unwrap_or(100.0 * SURE)) {
            return Some(format!(
                "required is {asked}, but the scrub is at least {}: the top of a powder's sizes is open (max_um closes it, or an upper bound of the size){}",
                report.band.name,
                drawn.as_ref().map_or(String::new(), |_| format!(", and only {met:.0} of 100 draws are {asked} or milder"))
            ));
        }
        wanted.filter(|wanted| met < *wanted).map(|wanted| {
            format!("required is {asked} in {wanted} of 100 draws, but only {met:.0} fall into it or a milder one")
        })
    });
    Ok(Blended { report, pictures, short })
}
