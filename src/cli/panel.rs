//! `gritwise panel`

use super::{YesNo, output};
use crate::panel::ScoreScale;
use crate::panel::discrimination::{Answers, ForcedChoice, MOST_ASSESSORS};
use crate::report::ChoiceReport;
use crate::source::Source;
use crate::tasks::{Means, PanelRequest, panel};
use anyhow::{Result, anyhow, bail, ensure};
use clap::Args;
use std::path::{Path, PathBuf};

/// Hold the scores of a panel against the index, and calibrate the index with them
///
/// The table of scores is CSV: scrub,taster,score and, if you like, day (any name of a session) and date. A scrub is named by its
/// scrub file, looked up beside the table. Where days are noted, by either column, each taster's level on each day is taken out, or
/// taster and day side by side where too few scrubs came back on the same day. Fits the power law of perception, each taster at a level of their own, or ordered categories where scores of 0 or
/// a scale cut off forbid it; says how sure that is, and whether panel and index rank the scrubs alike. With --write the fit
/// becomes a calibration file for gritwise blend --calibration and for aim files (score = 3). Two scrubs may be told apart without scores:
/// --paired 18/25 answers whether people feel B as milder, --triangle 14/30 whether they tell the two apart. A score is a feel, not harm.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise panel panel-scores.csv --write panel.toml\n  gritwise panel scores.csv --scale 1..7 \
                        --plot panel.svg\n  gritwise panel scores.csv --estimate edge-ratio --estimate roundness:olive\n  gritwise panel --paired 18/25\nExit \
                        status: 0 calibrated, or yes, 1 nothing can be concluded or the scores do not follow the index, 2 the input or \
                        the call is wrong."
)]
pub(super) struct PanelCommand {
    /// The table of scores
    #[arg(value_name = "SCORES.csv", required_unless_present_any = ["paired", "triangle"], conflicts_with_all = ["paired", "triangle"])]
    file: Option<PathBuf>,

    /// Answers of a paired comparison (ISO 5495): how many of all felt B as milder
    #[arg(long, value_name = "B/ALL", value_parser = answers, conflicts_with_all = ["triangle", "write", "estimate", "plot"])]
    paired: Option<(u32, u32)>,

    /// Answers of a triangle test (ISO 4120): how many of all found the one that differs
    #[arg(long, value_name = "RIGHT/ALL", value_parser = answers, conflicts_with_all = ["write", "estimate", "plot"])]
    triangle: Option<(u32, u32)>,

    /// The ends of the scale
    #[arg(long, value_name = "LOW..HIGH", default_value = "0..10", value_parser = scale)]
    scale: ScoreScale,

    /// Write the calibration into this file
    #[arg(long, value_name = "FILE.toml")]
    write: Option<PathBuf>,

    /// Estimate a quantity of the model from the panel, starting from its range: edge-ratio (how much harder than skin a grain keeps half
    /// its edge) or roundness:POWDER; two of them at most
    #[arg(long, value_name = "QUANTITY")]
    estimate: Vec<String>,

    /// Draw score against index into this SVG file
    #[arg(long, value_name = "FILE.svg", value_parser = output::svg_file())]
    plot: Option<PathBuf>,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl PanelCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let choice =
            self.paired.map(|a| (ForcedChoice::Paired, a)).or(self.triangle.map(|a| (ForcedChoice::Triangle, a)));
        if let Some((test, (right, all))) = choice {
            let report = ChoiceReport::new(Answers { test, right, all }, ALPHA);
            output::show(&report, || report.to_text(), self.json)?;
            return Ok(if report.yes { YesNo::Yes } else { YesNo::No });
        }
        let Some(file) = &self.file else { bail!("name the table of scores") };
        if self.write.is_some() && self.write == self.plot {
            bail!("--write and --plot name the same file; give each its own");
        }
        let name = name(file);
        let request = PanelRequest {
            scores: Source::from(file),
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
        output::write_results(&files, [file], self.force)?;
        output::show(&scored.report, || scored.report.to_text(), self.json)?;
        Ok(if is_calibrated { YesNo::Yes } else { YesNo::No })
    }
}

fn name(file: &Path) -> String {
    file.file_name().map_or("scores".into(), |n| n.to_string_lossy().into_owned())
}

/// Probability of finding what is not there (convention).
const ALPHA: f64 = 0.05;

/// Two whole numbers, written `18/25`.
fn answers(text: &str) -> Result<(u32, u32)> {
    let number = |t: &str| t.trim().parse::<u32>().ok();
    let both = text.split_once('/').and_then(|(right, all)| Some((number(right)?, number(all)?)));
    let (right, all) = both.ok_or_else(|| anyhow!("write it like 18/25: right answers, and all"))?;
    ensure!(right <= all, "{right} of {all} cannot be; write the right answers first, then all");
    ensure!((1..=MOST_ASSESSORS).contains(&all), "1 to {MOST_ASSESSORS} answers, not {all}");
    Ok((right, all))
}

/// Two numbers, written `0..10`.
fn scale(text: &str) -> Result<ScoreScale> {
    let number = |t: &str| t.trim().parse::<f64>().ok();
    let ends = text.split_once("..").and_then(|(low, top)| Some((number(low)?, number(top)?)));
    ends.and_then(|(low, top)| ScoreScale::new(low, top))
        .ok_or_else(|| anyhow!("write it like 0..10, the lower end first"))
}
