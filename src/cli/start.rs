//! `gritwise start`

use super::{YesNo, output};
use crate::files::{STARTER_SCRUB, STARTER_SIEVE, STARTER_SIEVE_NAME};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Write a commented scrub file and a sieve table to fill in
///
/// Makes scrub.toml and sieve.csv in the folder. Files that are there already are never replaced.
#[derive(Debug, Args)]
pub(super) struct StartCommand {
    /// The folder; it is made if it is not there
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

impl StartCommand {
    pub(super) fn run(&self) -> Result<YesNo> {
        let (scrub, sieve) = (self.folder.join("scrub.toml"), self.folder.join(STARTER_SIEVE_NAME));
        for path in [&scrub, &sieve] {
            if path.symlink_metadata().is_ok() {
                anyhow::bail!("{}: the file exists already; nothing was written (name another folder)", path.display());
            }
        }
        output::write_files(&[(scrub.clone(), STARTER_SCRUB), (sieve.clone(), STARTER_SIEVE)], false)?;
        output::print(&format!(
            "wrote {} and {}\nnow change the numbers and run: gritwise blend {}\n",
            scrub.display(),
            sieve.display(),
            scrub.display()
        ))?;
        Ok(YesNo::Yes)
    }
}
