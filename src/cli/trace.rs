//! `gritwise trace`

use super::{YesNo, output};
use crate::records::batches;
use crate::tables::Tables;
use crate::tasks;
use anyhow::{Result, bail};
use clap::Args;
use std::path::PathBuf;

/// Trace a lot to its batches and units, or a batch to its lots and what came of it
///
/// Exit status 1 if the register holds neither a batch nor a lot of this code.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise trace OS-2410 --in batches.csv\n  gritwise trace B-2611 --in batches.csv --json"
)]
pub(super) struct TraceCommand {
    /// Code of a lot or of a batch
    #[arg(value_name = "CODE", allow_hyphen_values = true, value_parser = code)]
    code: String,

    /// The register of batches
    #[arg(long = "in", value_name = "BATCHES.csv")]
    register: PathBuf,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl TraceCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        let batches = batches::read(&self.register)?;
        let traced = tasks::trace(&self.code, &self.register.display().to_string(), &batches, &tables.papers);
        output::show(&traced.report, || traced.report.to_text(), self.json)?;
        if traced.report.is_found() {
            return Ok(YesNo::Yes);
        }
        if let Some(near) = traced.meant {
            output::remark(&format!("did you mean \"{near}\"?"));
        }
        Ok(YesNo::No)
    }
}

/// The code as it is asked for; what is empty leads nowhere.
fn code(text: &str) -> Result<String> {
    match text.trim() {
        "" => bail!("the code of a lot or a batch, such as OS-2410"),
        code => Ok(code.to_owned()),
    }
}
