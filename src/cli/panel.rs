//! `gritwise panel`

use super::{Answer, output};
use crate::panel::Scale;
use crate::source::Source;
use crate::tasks::{Means, PanelRequest, panel};
use anyhow::{Result, anyhow, bail};
use clap::Args;
use std::path::PathBuf;

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
    pub(super) fn run(&self, means: Means) -> Result<Answer> {
        if self.write.is_some() && self.write == self.plot {
            bail!("--write and --plot name the same file; give each its own");
        }
        let name = self.name();
        let request = PanelRequest {
            scores: Source::from(&self.file),
            name: &name,
            scale: self.scale,
            estimate: &self.estimate,
            picture: self.plot.is_some(),
        };
        let scored = panel(&request, means).map_err(super::of_task)?;
        if scored.nothing_estimated {
            output::remark(
                "gritwise: --estimate needs scores that go by a power law, and a range with some width; left out",
            );
        }
        let is_calibrated = scored.calibration.is_some();
        let mut files: Vec<(PathBuf, String)> = Vec::new();
        match (&self.write, scored.calibration) {
            (Some(path), Some(text)) => files.push((path.clone(), text)),
            (Some(path), None) => {
                output::remark(&format!("gritwise: no calibration follows; {} was not written", path.display()));
            }
            (None, _) => {}
        }
        if let (Some(path), Some(picture)) = (&self.plot, scored.picture) {
            files.push((path.clone(), picture.svg));
        }
        output::write_results(&files, [&self.file], self.force)?;
        output::show(&scored.report, || scored.report.to_text(), self.json)?;
        Ok(if is_calibrated { Answer::Yes } else { Answer::No })
    }

    fn name(&self) -> String {
        self.file.file_name().map_or("scores".into(), |n| n.to_string_lossy().into_owned())
    }
}

/// Two numbers, written `0..10`.
fn scale(text: &str) -> Result<Scale> {
    let number = |t: &str| t.trim().parse::<f64>().ok();
    let ends = text.split_once("..").and_then(|(low, top)| Some((number(low)?, number(top)?)));
    ends.and_then(|(low, top)| Scale::new(low, top)).ok_or_else(|| anyhow!("write it like 0..10, the lower end first"))
}
