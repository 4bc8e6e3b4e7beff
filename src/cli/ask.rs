//! `gritwise ask`

use super::{YesNo, output};
use crate::source::Source;
use crate::tasks::{Means, ask_of_material, ask_of_powder};
use anyhow::Result;
use clap::Args;
use std::path::{Path, PathBuf};

/// Write the request to a supplier: what is missing for a powder
///
/// With a scrub file, for one of its powders: sizes that are no table, properties that rest on the materials table, and whatever label,
/// safety and product file need. Without one, for a material of which nothing is in hand.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  gritwise ask scrub.toml \"Olive stone\" --write olive.html\n  gritwise ask olive")]
pub(super) struct AskCommand {
    /// The scrub file; or a material, where nothing stands behind it
    #[arg(value_name = "FILE.toml|MATERIAL")]
    first: String,

    /// Name of the powder in the scrub file, its material, or a beginning of either
    #[arg(value_name = "POWDER")]
    powder: Option<String>,

    #[command(flatten)]
    paper: output::Paper,
}

impl AskCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let first = Path::new(&self.first);
        // A file alone asks which of its powders is meant.
        let is_file = self.powder.is_some() || first.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        let file: Option<PathBuf> = is_file.then(|| first.to_owned());
        let report = match is_file {
            true => ask_of_powder(Source::from(first), self.powder.as_deref().unwrap_or_default(), means),
            false => ask_of_material(&self.first, means.tables),
        };
        let report = report.map_err(super::of_task)?;
        self.paper.show(file.iter(), &report, &report.to_document())?;
        Ok(YesNo::Yes)
    }
}
