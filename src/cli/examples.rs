//! `gritwise examples`

use super::{YesNo, output};
use crate::files::{EXAMPLE_PHOTOGRAPH, EXAMPLES};
use anyhow::{Result, bail};
use clap::Args;
use std::path::PathBuf;

/// Write the shipped examples: the files of an invented riverside workshop
///
/// Scrubs, a shelf, aims, size tables, registers, scores and a photograph, as the guide uses them; every number in them is invented.
/// Files that are there already are never replaced.
#[derive(Debug, Args)]
pub(super) struct ExamplesCommand {
    /// The folder; it is made if it is not there
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

impl ExamplesCommand {
    pub(super) fn run(&self) -> Result<YesNo> {
        let texts = EXAMPLES.iter().map(|e| (e.name, e.text.as_bytes()));
        let files: Vec<(PathBuf, &[u8])> =
            texts.chain([EXAMPLE_PHOTOGRAPH]).map(|(name, bytes)| (self.folder.join(name), bytes)).collect();
        if let Some((there, _)) = files.iter().find(|(path, _)| path.symlink_metadata().is_ok()) {
            bail!("{}: the file exists already; nothing was written: name another folder", there.display());
        }
        output::write_files(&files, false)?;
        let first = self.folder.join("millrace-rice-polish.toml");
        output::print(&format!(
            "wrote {} files of an invented workshop into {}\nnow run: gritwise blend {}\n",
            files.len(),
            self.folder.display(),
            first.display()
        ))?;
        Ok(YesNo::Yes)
    }
}
