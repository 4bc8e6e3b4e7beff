//! Scores of a panel held against the index.

use super::{Means, TaskError, asked};
use crate::blend::Scrub;
use crate::files::write_calibration;
use crate::formula::OnSkin;
use crate::panel::{
    LEAST_INDEX, Panel, Score, ScoreRow, ScoreScale, Standing, Tested, Wanted, analyse, days_of, estimate_wanted,
    read_scores,
};
use crate::plot::{Picture, panel_picture};
use crate::report::PanelReport;
use crate::source::{Beside, Source};
use std::path::PathBuf;

/// What is asked.
pub struct PanelRequest<'a> {
    /// The table of scores. The scrub files that it names are looked up beside it.
    pub scores: Source<'a>,
    /// What the table is called in a calibration.
    pub name: &'a str,
    /// The scale.
    pub scale: ScoreScale,
    /// Quantities to estimate.
    pub estimate: &'a [String],
    /// Draw scores against index.
    pub picture: bool,
}

/// What comes of it.
#[derive(Debug)]
pub struct Scored {
    /// The report.
    pub report: PanelReport,
    /// The calibration as a file, where one follows.
    pub calibration: Option<String>,
    /// Whether quantities were asked for that the scores cannot give.
    pub nothing_estimated: bool,
    /// The picture, if asked for.
    pub picture: Option<Picture>,
}

/// Holds scores against the index.
///
/// # Errors
/// [`TaskError`].
pub fn panel(request: &PanelRequest, means: Means) -> Result<Scored, TaskError> {
    let opened = request.scores.open()?;
    let rows = read_scores(&opened.text, &opened.name, request.scale).map_err(|e| TaskError::Wrong(e.to_string()))?;
    let (panel, on_skins) = assembled(&rows, request.scale, opened.beside, means)?;
    let scrubs: Vec<Scrub> = on_skins.iter().map(|s| s.scrub_or_weighed().clone()).collect();
    let over_the_rub: Vec<_> = on_skins.iter().map(|s| s.over_the_rub).collect();
    let wanted = Wanted::read(request.estimate, &scrubs).map_err(|e| asked("estimate", e))?;
    let found = analyse(&panel, request.name);
    let tables = means.tables;
    let estimates = if wanted.is_empty() { None } else { estimate_wanted(&panel, &scrubs, &wanted, tables) };
    let nothing_estimated = estimates.is_none() && !wanted.is_empty() && !matches!(found.standing, Standing::TooFew(_));
    let estimates: Vec<_> =
        wanted.iter().zip(estimates.unwrap_or_default()).map(|(w, (prior, e))| (w, prior, e)).collect();
    Ok(Scored {
        report: PanelReport::new(&panel, &scrubs, &over_the_rub, &found, &estimates, tables),
        calibration: found.calibration.as_ref().map(|c| write_calibration(c, tables)),
        nothing_estimated,
        picture: request.picture.then(|| panel_picture(&panel, &found)).transpose()?,
    })
}

/// The panel with its scrubs, each read once.
fn assembled(
    rows: &[ScoreRow],
    scale: ScoreScale,
    beside: Beside,
    means: Means,
) -> Result<(Panel, Vec<OnSkin>), TaskError> {
    let mut known: Vec<(&ScoreRow, PathBuf)> = Vec::new();
    let (days, day_of) = days_of(rows);
    let mut panel = Panel { scale, scrubs: Vec::new(), panellists: Vec::new(), days, scores: Vec::new() };
    let mut scrubs: Vec<OnSkin> = Vec::new();
    for (row, day) in rows.iter().zip(day_of) {
        let scrub = match known.iter().position(|(first, _)| first.scrub == row.scrub) {
            Some(place) => place,
            None => {
                let (scrub, path) = read_scrub(row, beside, means)?;
                refuse_twice(row, &scrub, &path, &known, &scrubs)?;
                let index = means.judge.assess(scrub.scrub_or_weighed()).figures.index;
                if index < LEAST_INDEX {
                    return Err(TaskError::Wrong(format!(
                        "{}: {}: next to no grain of this scrub touches (index below {LEAST_INDEX}), so that it has no place \
                         on the fit; take its lines out",
                        row.place, row.scrub
                    )));
                }
                panel.scrubs.push(Tested { name: scrub.name().to_owned(), index });
                known.push((row, path));
                scrubs.push(scrub);
                known.len() - 1
            }
        };
        let panellist = panel.panellists.iter().position(|t| *t == row.panellist).unwrap_or_else(|| {
            panel.panellists.push(row.panellist.clone());
            panel.panellists.len() - 1
        });
        panel.scores.push(Score { scrub, panellist, day, score: row.score });
    }
    Ok((panel, scrubs))
}

/// A scrub, its grains as they reach the skin, and where its file really lies.
fn read_scrub(row: &ScoreRow, beside: Beside, means: Means) -> Result<(OnSkin, PathBuf), TaskError> {
    let of_row = |e: String| TaskError::Of { file: row.place.to_string(), cause: e.into() };
    let path = beside.path(&row.scrub);
    let on_skin = means.on_skin(Source::of(&path, beside.files)).map_err(|e| of_row(e.to_string()))?;
    let real = beside.files.real(&path).map_err(|e| of_row(e.to_string()))?;
    Ok((on_skin, real))
}

/// Refuses a scrub that goes by two names, and two that go by one.
fn refuse_twice(
    row: &ScoreRow,
    scrub: &OnSkin,
    path: &PathBuf,
    known: &[(&ScoreRow, PathBuf)],
    read: &[OnSkin],
) -> Result<(), TaskError> {
    let line = |r: &ScoreRow| r.place.line.unwrap_or(1);
    let problem = if let Some((first, _)) = known.iter().find(|(_, p)| p == path) {
        format!("{}: {} is the file {} of line {}; name it one way", row.place, row.scrub, first.scrub, line(first))
    } else if let Some(i) = read.iter().position(|s| s.name() == scrub.name()) {
        let (first, name) = (known[i].0, scrub.name());
        format!(
            "{}: {} and {} (line {}) are both named \"{name}\"; give each scrub its own name",
            row.place,
            row.scrub,
            first.scrub,
            line(first)
        )
    } else {
        return Ok(());
    };
    Err(TaskError::Wrong(problem))
}
