//! `gritwise confidence`

use super::waiting::StatusLine;
use super::{YesNo, output};
use crate::confidence::{DEFAULT_DRAWS, Sampling};
use crate::source::Source;
use crate::tasks::{Means, confidence};
use anyhow::{Context, Result, anyhow};
use clap::Args;
use std::path::PathBuf;
use std::sync::OnceLock;

/// How sure index and band are, and what to measure next
///
/// Draws everything that is not known exactly, thousands of times: the powders (sizes, hardness, roundness, density), which you can
/// measure, and skin and model, which nobody knows. Prints the 5-50-95 % interval of index and groove ratio, the probability of each
/// band, and what holds the variance.
///
/// A range of your own stands beside a value in the scrub file: roundness = 0.3 with roundness_low = 0.25 and roundness_high = 0.4;
/// likewise d50_um_low, gsd_high, hardness_gpa_low, density_g_cm3_high, powder_load_pct_low. Otherwise the table's range holds
/// (gritwise tables draws says how far sizes stray).
#[derive(Debug, Args)]
#[command(mut_args(output::draws(
    "FILE.svg",
    "Draw the distribution of the index against the band limits into this file"
)))]
pub(super) struct ConfidenceCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// How many times to draw, 1000 to 100 000 000
    #[arg(long, value_name = "N", default_value_t = DEFAULT_DRAWS, value_parser = whole)]
    draws: u64,

    /// Seed of the quasi-random sequence; the same seed draws the same
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,

    #[command(flatten)]
    drawn: output::PictureArgs,
}

impl ConfidenceCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let sampling = Sampling::new(self.draws, self.seed).context("--draws")?;
        let bar = OnceLock::new();
        let begins = |length| {
            let line =
                bar.get_or_init(|| StatusLine::new(Some(length), "{bar:40} {percent} % of the draws, {eta} to go"));
            move |more| {
                line.show();
                line.bar.inc(more);
                true
            }
        };
        let drawn = confidence(Source::from(&self.file), sampling, begins, means).map_err(super::of_task)?;
        bar.get().iter().for_each(|bar| bar.bar.finish_and_clear());
        if let (Some(path), None) = (&self.drawn.plot, &drawn.picture) {
            output::remark(&format!("gritwise: next to no draw rubs; {} was not drawn", path.display()));
        }
        self.drawn.show(drawn.picture, [&self.file], &drawn.report, || drawn.report.to_text())?;
        Ok(YesNo::Yes)
    }
}

/// A whole number, also written `1e6` or `100 000`.
fn whole(text: &str) -> Result<u64> {
    let plain: String = text.chars().filter(|c| !c.is_whitespace() && *c != '_').collect();
    let number = plain.parse::<f64>().ok().filter(|n| n.fract() == 0.0 && (0.0..=1e18).contains(n));
    number.map(|n| n as u64).ok_or_else(|| anyhow!("a number of draws is whole, like 100000 or 1e5"))
}
