//! `gritwise compare`

use super::{Answer, output};
use crate::source::Source;
use crate::tables::Tables;
use crate::tasks::{Means, compare};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Put two to six scrubs side by side, and see what makes the difference
///
/// Every other scrub is held against the first: which powder, which size, which load does what to the index.
#[derive(Debug, Args)]
pub(super) struct Compare {
    /// The scrub files, the one to compare with first
    #[arg(value_name = "FILE.toml", num_args = 2..=6, required = true)]
    files: Vec<PathBuf>,

    /// Draw the size curves and where the index comes from, all scrubs in one picture, into this SVG file
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,

    /// Replace the picture if it is there already
    #[arg(long, requires = "plot")]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Compare {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let judge = super::judge(tables)?;
        let stem = |file: &PathBuf| file.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
        let scrubs: Vec<(Source, String)> = self.files.iter().map(|f| (Source::from(f), stem(f))).collect();
        let done = compare(&scrubs, self.plot.is_some(), Means { tables, judge: &judge }).map_err(super::of_task)?;
        if let (Some(path), Some(picture)) = (&self.plot, done.picture) {
            output::write_results(&[(path.clone(), picture.svg)], &self.files, self.force)?;
        }
        output::show(&done.report, || done.report.to_text(), self.json)?;
        Ok(Answer::Yes)
    }
}
