//! `gritwise blend`

use super::{YesNo, output};
use crate::source::Source;
use crate::tasks::{BlendRequest, Means, blend};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Blend the powders of a scrub file: sizes, abrasiveness index, band and why
///
/// The scrub file is TOML; `gritwise start DIR` writes one with comments. Sizes may come from a sieve or laser table, a
/// mesh or micron range, a grit, or percentiles from the supplier's sheet.
#[derive(Debug, Args)]
pub(super) struct BlendCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// Draw the curves as SVG into this folder: size frequency, cumulative undersize, which grains do the work
    #[arg(long, value_name = "DIR", value_parser = output::picture_folder())]
    plot: Option<PathBuf>,

    /// A shelf file: levers name the sieves of its [sieves] owned_um = [250, 180]; without it those of the standard series
    #[arg(long, value_name = "SHELF.toml")]
    shelf: Option<PathBuf>,

    /// Also print the score that a panel would give: a calibration file that gritwise panel --write made
    #[arg(long, value_name = "PANEL.toml")]
    calibration: Option<PathBuf>,

    /// Replace pictures that are there already
    #[arg(long, requires = "plot")]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,

    /// Exit with status 1 if the scrub is harsher than this band: delicate-face, face, body, hands-and-feet
    #[arg(long, value_name = "BAND")]
    require: Option<String>,

    /// With --require: exit with status 1 also if fewer of 100 draws fall into that band or a milder one
    #[arg(long, value_name = "PCT", requires = "require", conflicts_with = "quick", value_parser = super::percent)]
    sure: Option<f64>,

    /// Do not draw how sure the band is: only the values as stated
    #[arg(long)]
    quick: bool,
}

impl BlendCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let required = self.require.as_deref().map(|name| super::required_rank(means.judge, name)).transpose()?;
        let request = BlendRequest {
            scrub: Source::from(&self.file),
            shelf: self.shelf.as_ref().map(Source::from),
            draws: !self.quick,
            calibration: self.calibration.as_ref().map(Source::from),
            pictures: self.plot.is_some(),
            require: required.map(|rank| (rank, self.sure)),
        };
        let done = blend(&request, means).map_err(super::of_task)?;
        if let Some(folder) = &self.plot {
            let stem = self.file.file_stem().map_or("scrub".into(), |s| s.to_string_lossy());
            let path = |name: &str| folder.join(format!("{stem}-{name}.svg"));
            let files: Vec<(PathBuf, String)> = done.pictures.into_iter().map(|p| (path(p.name), p.svg)).collect();
            output::write_results(&files, std::iter::once(&self.file).chain(&self.shelf), self.force)?;
        }
        output::show(&done.report, || done.report.to_text(), self.json)?;
        Ok(match done.short {
            Some(short) => {
                output::remark(&format!("gritwise: {short}"));
                YesNo::No
            }
            None => YesNo::Yes,
        })
    }
}
