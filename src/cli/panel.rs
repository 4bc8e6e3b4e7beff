//! `gritwise panel`

use super::{Answer, output};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::files;
use crate::panel::{
    LEAST_INDEX, Panel as Scores, Scale, Score, ScoreRow, Standing, Tested, Wanted, analyse, days_of, estimate_wanted,
    read_scores,
};
use crate::plot::panel_picture;
use crate::report::PanelReport;
use crate::source::read_text;
use crate::tables::Tables;
use anyhow::{Context, Result, anyhow, bail};
use clap::Args;
use std::path::{Path, PathBuf};

/// Hold the scores of a panel against the index, and calibrate the index with them
///
/// The table of scores is CSV: scrub,taster,score and, if you like, day (any name of a session) and date. A scrub is named by its
/// scrub file, looked up beside the table. Where days are noted, by either column, each taster's level on each day is taken out, or
/// taster and day side by side where too few scrubs came back on the same day. Fits the power law of perception, each taster at a level of their own, or ordered categories where scores of 0 or
/// a scale cut off forbid it; says how sure that is, and whether panel and index rank the scrubs alike. With --write the fit
/// becomes a calibration file for gritwise blend --calibration and for aim files (score = 3). A score is a feel, not harm.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise panel panel-scores.csv --write panel.toml\n  gritwise panel scores.csv --scale 1..7 \
                        --plot panel.svg\n  gritwise panel scores.csv --estimate edge-ratio --estimate roundness:olive\nExit \
                        status: 0 calibrated, 1 nothing can be concluded or the scores do not follow the index, 2 the input or \
                        the call is wrong."
)]
pub(super) struct Panel {
    /// The table of scores
    #[arg(value_name = "SCORES.csv")]
    file: PathBuf,

    /// The ends of the scale
    #[arg(long, value_name = "LOW..HIGH", default_value = "0..10", value_parser = scale)]
    scale: Scale,

    /// Write the calibration into this file
    #[arg(long, value_name = "FILE.toml")]
    write: Option<PathBuf>,

    /// Estimate a quantity of the model from the panel, starting from its range: edge-ratio (how much harder than skin a grain keeps half
    /// its edge) or roundness:POWDER; two of them at most
    #[arg(long, value_name = "QUANTITY")]
    estimate: Vec<String>,

    /// Draw score against index into this SVG file
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Panel {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        if self.write.is_some() && self.write == self.plot {
            bail!("--write and --plot name the same file; give each its own");
        }
        let file = self.file.display().to_string();
        let rows = read_scores(&read_text(&self.file)?, &file, self.scale)?;
        let (scores, scrubs) = self.panel(&rows, tables)?;
        let wanted = Wanted::read(&self.estimate, &scrubs).context("--estimate")?;
        let found = analyse(&scores, &self.name());
        let estimates = if wanted.is_empty() { None } else { estimate_wanted(&scores, &scrubs, &wanted, tables) };
        if estimates.is_none() && !wanted.is_empty() && !matches!(found.standing, Standing::TooFew(_)) {
            output::remark(
                "gritwise: --estimate needs scores that go by a power law, and a range with some width; left out",
            );
        }
        let estimates: Vec<_> =
            wanted.iter().zip(estimates.unwrap_or_default()).map(|(w, (prior, e))| (w, prior, e)).collect();
        let report = PanelReport::new(&scores, &scrubs, &found, &estimates, tables);
        let mut files: Vec<(PathBuf, String)> = Vec::new();
        match (&self.write, &found.calibration) {
            (Some(path), Some(c)) => files.push((path.clone(), files::write_calibration(c, tables))),
            (Some(path), None) => {
                output::remark(&format!("gritwise: no calibration follows; {} was not written", path.display()));
            }
            (None, _) => {}
        }
        if let Some(path) = &self.plot {
            files.push((path.clone(), panel_picture(&scores, &found)?.svg));
        }
        output::write_results(&files, [&self.file], self.force)?;
        output::show(&report, || report.to_text(), self.json)?;
        Ok(if found.calibration.is_some() { Answer::Yes } else { Answer::No })
    }

    fn name(&self) -> String {
        self.file.file_name().map_or("scores".into(), |n| n.to_string_lossy().into_owned())
    }

    /// Reads every scrub that is named, once, and puts the panel together.
    fn panel(&self, rows: &[ScoreRow], tables: &Tables) -> Result<(Scores, Vec<Scrub>)> {
        let judge = super::judge(tables)?;
        let folder = self.file.parent().unwrap_or(Path::new(""));
        let mut known: Vec<(&ScoreRow, PathBuf)> = Vec::new();
        let (days, day_of) = days_of(rows);
        let mut panel = Scores { scale: self.scale, scrubs: Vec::new(), tasters: Vec::new(), days, scores: Vec::new() };
        let mut scrubs: Vec<Scrub> = Vec::new();
        for (row, day) in rows.iter().zip(day_of) {
            let scrub = match known.iter().position(|(first, _)| first.scrub == row.scrub) {
                Some(place) => place,
                None => {
                    let (scrub, path) = read_scrub(row, folder, tables, &judge)?;
                    refuse_twice(row, &scrub, &path, &known, &scrubs)?;
                    let index = judge.assess(&scrub).figures.index;
                    if index < LEAST_INDEX {
                        bail!(
                            "{}: {}: next to no grain of this scrub touches (index below {LEAST_INDEX}), so that it has no place \
                             on the fit; take its lines out",
                            row.place,
                            row.scrub
                        );
                    }
                    panel.scrubs.push(Tested { name: scrub.name.clone(), index });
                    known.push((row, path));
                    scrubs.push(scrub);
                    known.len() - 1
                }
            };
            let taster = panel.tasters.iter().position(|t| *t == row.taster).unwrap_or_else(|| {
                panel.tasters.push(row.taster.clone());
                panel.tasters.len() - 1
            });
            panel.scores.push(Score { scrub, taster, day, score: row.score });
        }
        Ok((panel, scrubs))
    }
}

/// A scrub, its grains as they reach the skin, and where its file really lies.
fn read_scrub(row: &ScoreRow, folder: &Path, tables: &Tables, judge: &Judge) -> Result<(Scrub, PathBuf)> {
    let path = folder.join(&row.scrub);
    let on_skin = super::on_skin(&path, tables, judge).with_context(|| row.place.to_string())?;
    let scrub = on_skin.scrub()?.clone();
    let real = path.canonicalize().with_context(|| row.place.to_string())?;
    Ok((scrub, real))
}

/// Refuses a scrub that goes by two names, and two that go by one.
fn refuse_twice(
    row: &ScoreRow,
    scrub: &Scrub,
    path: &Path,
    known: &[(&ScoreRow, PathBuf)],
    read: &[Scrub],
) -> Result<()> {
    let line = |r: &ScoreRow| r.place.line.unwrap_or(1);
    if let Some((first, _)) = known.iter().find(|(_, p)| p == path) {
        bail!("{}: {} is the file {} of line {}; name it one way", row.place, row.scrub, first.scrub, line(first));
    }
    if let Some(i) = read.iter().position(|s| s.name == scrub.name) {
        let (first, name) = (known[i].0, &scrub.name);
        bail!(
            "{}: {} and {} (line {}) are both named \"{name}\"; give each scrub its own name",
            row.place,
            row.scrub,
            first.scrub,
            line(first)
        );
    }
    Ok(())
}

/// Two numbers, written `0..10`.
fn scale(text: &str) -> Result<Scale> {
    let number = |t: &str| t.trim().parse::<f64>().ok();
    let ends = text.split_once("..").and_then(|(low, top)| Some((number(low)?, number(top)?)));
    ends.and_then(|(low, top)| Scale::new(low, top)).ok_or_else(|| anyhow!("write it like 0..10, the lower end first"))
}
