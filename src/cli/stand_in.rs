//! `gritwise stand-in`

use super::{YesNo, output};
use crate::source::Source;
use crate::tasks::{Means, StandInRequest, USUAL_TOP, stand_in};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Find what could stand in for a powder that is out of stock or unwanted
///
/// Candidates come from a shelf file, or, without one, from the materials table, ground to the sizes of the powder they
/// replace. The share of each is solved so that index and size curve stay as near as they can.
#[derive(Debug, Args)]
pub(super) struct StandInCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// Name of the powder to replace
    #[arg(long = "for", value_name = "POWDER")]
    powder: String,

    /// A shelf file to choose from
    #[arg(long, value_name = "SHELF.toml")]
    shelf: Option<PathBuf>,

    /// Leave out what answers to this word: a name, a material, a tag, or a word such as plant, mineral, tree-nut (may be
    /// repeated)
    #[arg(long, value_name = "WORD")]
    without: Vec<String>,

    /// How many to show
    #[arg(long, value_name = "N", default_value_t = USUAL_TOP, value_parser = clap::value_parser!(u16).range(1..=100))]
    top: u16,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl StandInCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let request = StandInRequest {
            scrub: Source::from(&self.file),
            powder: &self.powder,
            shelf: self.shelf.as_ref().map(Source::from),
            without: &self.without,
            top: usize::from(self.top),
        };
        let report = stand_in(&request, means).map_err(super::of_task)?;
        output::show(&report, || report.to_text(), self.json)?;
        Ok(YesNo::Yes)
    }
}
