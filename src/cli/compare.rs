//! `gritwise compare`

use super::{YesNo, output};
use crate::source::Source;
use crate::tasks::{Means, compare};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Put two to six scrubs side by side, and see what makes the difference
///
/// Every other scrub is held against the first: which powder, which size, which load does what to the index.
#[derive(Debug, Args)]
#[command(mut_args(output::draws(
    "FILE.svg",
    "Draw the size curves and where the index comes from, all scrubs in one picture, into this SVG file"
)))]
pub(super) struct CompareCommand {
    /// The scrub files, the one to compare with first
    #[arg(value_name = "FILE.toml", num_args = 2..=6, required = true)]
    files: Vec<PathBuf>,

    #[command(flatten)]
    drawn: output::PictureArgs,
}

impl CompareCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let stem = |file: &PathBuf| file.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
        let scrubs: Vec<(Source, String)> = self.files.iter().map(|f| (Source::from(f), stem(f))).collect();
        let done = compare(&scrubs, self.drawn.plot.is_some(), means).map_err(super::of_task)?;
        self.drawn.show(done.picture, &self.files, &done.report, || done.report.to_text())?;
        Ok(YesNo::Yes)
    }
}
