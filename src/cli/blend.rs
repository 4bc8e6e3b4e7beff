//! `gritwise blend`

use super::{Answer, output};
use crate::confidence::{Sampling, Sure, sure};
use crate::files;
use crate::plot::blend_pictures;
use crate::report::{BlendReport, ExpectedScore};
use crate::tables::Tables;
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Blend the powders of a scrub file: sizes, abrasiveness index, band and why
///
/// The scrub file is TOML; `gritwise start DIR` writes one with comments. Sizes may come from a sieve or laser table, a
/// mesh or micron range, a grit, or percentiles from the supplier's sheet.
#[derive(Debug, Args)]
pub(super) struct Blend {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// Draw the curves as SVG into this folder: size frequency, cumulative undersize, which grains do the work
    #[arg(long, value_name = "DIR")]
    plot: Option<PathBuf>,

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

impl Blend {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let judge = super::judge(tables)?;
        let required = self.require.as_deref().map(|name| super::required_rank(&judge, name)).transpose()?;
        let on_skin = super::on_skin(&self.file, tables, &judge)?;
        let scrub = on_skin.scrub()?;
        let assessment = judge.assess(scrub);
        let mut report = BlendReport::new(&on_skin, &assessment, &judge, tables);
        let drawn = match self.quick {
            true => None,
            false => Some(sure(scrub, &judge, tables, Sampling::VERDICT)),
        };
        if let Some(drawn) = &drawn {
            report = report.with_sure(drawn, &judge);
        }
        if let Some(path) = &self.calibration {
            let calibration = files::read_calibration(path, tables)?;
            report.expected_score = Some(ExpectedScore::new(&calibration, report.index.value));
        }
        if let Some(folder) = &self.plot {
            let stem = self.file.file_stem().map_or("scrub".into(), |s| s.to_string_lossy());
            let pictures = blend_pictures(scrub, &assessment, &judge)?;
            let files: Vec<(PathBuf, String)> =
                pictures.into_iter().map(|p| (folder.join(format!("{stem}-{}.svg", p.name)), p.svg)).collect();
            output::write_results(&files, [&self.file], self.force)?;
        }
        output::show(&report, || report.to_text(), self.json)?;
        let Some(rank) = required else { return Ok(Answer::Yes) };
        let asked = judge.band_name(rank);
        if assessment.verdict.rank > rank {
            output::remark(&format!("gritwise: required is {asked}, but the scrub is {}", report.band.name));
            return Ok(Answer::No);
        }
        let met = drawn.map_or(100.0, |drawn| Sure::pct(drawn.share(rank)));
        match self.sure.filter(|wanted| met < *wanted) {
            Some(wanted) => {
                output::remark(&format!(
                    "gritwise: required is {asked} in {wanted} of 100 draws, but only {met:.0} fall into it or a milder one"
                ));
                Ok(Answer::No)
            }
            None => Ok(Answer::Yes),
        }
    }
}
