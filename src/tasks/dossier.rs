//! The dossier of a scrub with its pictures.

use crate::band::Judge;
use crate::confidence::{self, ConfidenceError, Sampling};
use crate::formula::{self, Formula};
use crate::plot::{PlotError, blend_pictures, confidence_picture};
use crate::report::Dossier;
use crate::report::dossier::{Call, Fingerprint, Subject};
use crate::tables::{TableError, Tables};

/// Why a dossier cannot be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DossierError {
    /// The band that is asked for is none.
    #[error("there is no band \"{0}\"")]
    Band(String),
    /// The number of draws.
    #[error(transparent)]
    Draws(#[from] ConfidenceError),
    /// A picture.
    #[error(transparent)]
    Picture(#[from] PlotError),
    /// Whoever asked does not want it any more.
    #[error("this was stopped")]
    Stopped,
    /// A table in force.
    #[error(transparent)]
    Table(#[from] TableError),
}

/// Makes the dossier of a scrub as `call` asks for it. `files` are what it was read from, names and bytes, the scrub file first. `goes_on` is
/// asked while it is drawn.
///
/// # Errors
/// [`DossierError`].
pub fn dossier(
    formula: &Formula,
    call: Call,
    files: &[(String, Vec<u8>)],
    judge: &Judge,
    tables: &Tables,
    goes_on: impl Fn() -> bool + Sync + Send,
) -> Result<Dossier, DossierError> {
    let rank = |name: &String| judge.rank_of(name).ok_or_else(|| DossierError::Band(name.clone()));
    let required = call.require.as_ref().map(rank).transpose()?;
    let checked = formula::checks(formula, tables, judge);
    let scrub = checked.on_skin.scrub_or_weighed();
    let assessment = judge.assess(scrub);
    let sampling = Sampling::new(call.draws, call.seed)?;
    let confidence = confidence::confidence(scrub, judge, tables, sampling, |_| goes_on());
    let confidence = confidence.ok_or(DossierError::Stopped)?;
    let mut pictures = blend_pictures(scrub, &assessment, judge)?;
    if !confidence.hardly_rubs() {
        pictures.push(confidence_picture(scrub, judge, &confidence)?);
    }
    let pictures = pictures.into_iter().map(|p| (p.name, p.svg)).collect();
    let (checked, assessment, confidence) = (&checked, &assessment, &confidence);
    let sure = f64::from(call.sure) / 100.0;
    let subject = Subject { formula, checked, assessment, judge, tables, confidence, required, sure };
    Ok(Dossier::new(&subject, pictures, Fingerprint::new(call, files, tables))?)
}
