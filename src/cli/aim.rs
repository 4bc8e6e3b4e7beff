//! `gritwise aim`

use super::waiting::Waiting;
use super::{Answer, output};
use crate::aim::likely_blends;
use crate::aim::{self, Found, Request, frontier};
use crate::band::Judge;
use crate::files;
use crate::formula::quantity;
use crate::plot::aim_pictures;
use crate::report::AimReport;
use crate::source::read_text;
use crate::tables::Tables;
use anyhow::{Context, Result};
use clap::Args;
use std::path::{Path, PathBuf};

/// Find the blend for a target: from a shelf of powders to what to weigh
///
/// An aim file names a shelf file, the targets (index, band, load, D99, what passes a sieve, how many powders, what must not
/// be in it) and a goal: the cheapest, the fewest powders, the closest curve, or the least change. Every blend is checked
/// with the full model. The index and the bands are a model, not a clinical measure.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise aim aim.toml --write found --resolution 0.1g\n  gritwise aim aim.toml --plot \
                        pictures\nExit status: 0 found, 1 no blend meets the targets, 2 the input or the call is wrong."
)]
pub(super) struct AimCommand {
    /// The aim file
    #[arg(value_name = "AIM.toml")]
    file: PathBuf,

    /// How many blends to show, each of other powders
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u16).range(1..=20))]
    top: u16,

    /// Write each blend as a scrub file into this folder, with the size tables it needs
    #[arg(long, value_name = "DIR")]
    write: Option<PathBuf>,

    /// Round the batch to what a balance can weigh, with all targets still met: 0.1g, 5 g, 10mg
    #[arg(long, value_name = "GRAMS", value_parser = quantity::step)]
    resolution: Option<f64>,

    /// Stop after so many seconds with the best so far, and say what a better blend could gain at most
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=86_400))]
    seconds: Option<u32>,

    /// Draw passing limits with the found curves, and cost against index, as SVG into this folder
    #[arg(long, value_name = "DIR")]
    plot: Option<PathBuf>,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl AimCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let judge = super::judge(tables)?;
        let aim = files::read_aim(&self.file, tables, &judge)?;
        let place = || self.file.display().to_string();
        let waiting = Waiting::new(self.seconds);
        let watch = |progress: &aim::Progress| waiting.goes_on(progress);
        let request =
            Request { top: usize::from(self.top), resolution_g: self.resolution, explain: true, watch: Some(&watch) };
        let likely = likely_blends(&aim, &judge, tables, &request).with_context(place)?;
        let answer = &likely.answer;
        let best = answer.blends.first().filter(|_| answer.stopped_at.is_none());
        let prices = best.map_or_else(Vec::new, |best| aim::prices(&aim, &likely.judge, best, Some(&watch)));
        waiting.end();
        let report = AimReport::new(&aim, &likely, &judge, tables).with_prices(&aim, &prices, &judge);
        let mut files = Vec::new();
        if let Some(folder) = &self.write {
            files.extend(self.scrub_files(folder, &aim, &answer.blends, &report)?);
        }
        if let Some(folder) = &self.plot {
            files.extend(self.pictures(folder, &aim, &answer.blends, &likely.judge)?);
        }
        output::write_results(&files, [&self.file], self.force)?;
        output::show(&report, || report.to_text(), self.json)?;
        Ok(if answer.blends.is_empty() { Answer::No } else { Answer::Yes })
    }

    fn stem(&self) -> String {
        self.file.file_stem().map_or("aim".into(), |s| s.to_string_lossy().into_owned())
    }

    fn scrub_files(
        &self,
        folder: &Path,
        aim: &aim::Aim,
        blends: &[Found],
        report: &AimReport,
    ) -> Result<Vec<(PathBuf, String)>> {
        let mut files: Vec<(PathBuf, String)> = Vec::new();
        for (found, part) in blends.iter().zip(&report.blends) {
            let shares: Vec<_> = found.shares.iter().map(|&(i, pct)| (&aim.shelf[i], pct)).collect();
            let stem = format!("{}-{}", self.stem(), part.rank);
            let note = report.note(part, &aim.goal);
            let written = files::write_scrub(&found.scrub.name, &note, &shares, &format!("{stem}-"))?;
            for (table, name) in &written.tables {
                files.push((folder.join(name), read_text(table)?));
            }
            files.push((folder.join(format!("{stem}.toml")), written.text));
        }
        Ok(files)
    }

    fn pictures(
        &self,
        folder: &Path,
        aim: &aim::Aim,
        blends: &[Found],
        judge: &Judge,
    ) -> Result<Vec<(PathBuf, String)>> {
        let pictures = aim_pictures(aim, blends, &frontier(aim, judge, blends))?;
        let path = |name: &str| folder.join(format!("{}-{name}.svg", self.stem()));
        Ok(pictures.into_iter().map(|p| (path(p.name), p.svg)).collect())
    }
}
