//! `gritwise aim`

use super::waiting::Waiting;
use super::{YesNo, output};
use crate::aim::Progress;
use crate::formula::quantity;
use crate::source::{Source, read_bytes};
use crate::tasks::{AimRequest, Aimed, Means, aim};
use anyhow::Result;
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
                        pictures\nExit status: 0 found, 1 no blend meets the targets (with\n--resolution, as weighed), 2 the input or the call is wrong."
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

    /// Stop after so many seconds (600 if no number is given) with the best so far, and say what a better blend could gain at most
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=86_400))]
    seconds: Option<u32>,

    /// Draw passing limits with the found curves, and cost against index, as SVG into this folder
    #[arg(long, value_name = "DIR", value_parser = output::picture_folder())]
    plot: Option<PathBuf>,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl AimCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let waiting = Waiting::new(self.seconds);
        let watch = |progress: &Progress| waiting.goes_on(progress);
        let request = AimRequest {
            aim: Source::from(&self.file),
            top: usize::from(self.top),
            resolution_g: self.resolution,
            watch: Some(&watch),
            pictures: self.plot.is_some(),
        };
        let aimed = aim(&request, means).map_err(super::of_task)?;
        waiting.end();
        let mut files = Vec::new();
        if let Some(folder) = &self.write {
            files.extend(self.scrub_files(folder, &aimed)?);
        }
        if let Some(folder) = &self.plot {
            let path = |name: &str| folder.join(format!("{}-{name}.svg", self.stem()));
            files.extend(aimed.pictures.iter().map(|p| (path(p.name), p.svg.clone().into_bytes())));
        }
        output::write_results(&files, [&self.file], self.force)?;
        let report = &aimed.report;
        output::show(report, || report.to_text(), self.json)?;
        // One that the balance cannot weigh as asked is no answer.
        let answered = report.blends.iter().any(|blend| self.resolution.is_none() || blend.resolution_g.is_some());
        Ok(if answered { YesNo::Yes } else { YesNo::No })
    }

    fn stem(&self) -> String {
        self.file.file_stem().map_or("aim".into(), |s| s.to_string_lossy().into_owned())
    }

    fn scrub_files(&self, folder: &Path, aimed: &Aimed) -> Result<Vec<(PathBuf, Vec<u8>)>> {
        let stem = |rank: usize| format!("{}-{rank}", self.stem());
        let mut files: Vec<(PathBuf, Vec<u8>)> = Vec::new();
        for (i, written) in aimed.scrub_files(|rank| format!("{}-", stem(rank)))?.into_iter().enumerate() {
            for (table, name) in &written.tables {
                files.push((folder.join(name), read_bytes(table)?));
            }
            files.push((folder.join(format!("{}.toml", stem(i + 1))), written.text.into_bytes()));
        }
        Ok(files)
    }
}
