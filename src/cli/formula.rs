//! `gritwise formula`

use super::{YesNo, output};
use crate::files;
use crate::formula;
use crate::report::FormulaReport;
use crate::tasks::Means;
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Show the whole scrub by phase, and check acid, preservative, suspension, solids, filling and safety
///
/// The scrub file says beside its powders what else is in the scrub ([[phase]] with [[phase.ingredient]]), and what is known
/// of base, acid, container and use. Every check says pass, caution, stop, or not judged where its data are missing. Exit
/// status 1 when any says stop.
#[derive(Debug, Args)]
#[command(name = "formula")]
pub(super) struct FormulaCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// One line per check: verdict, figure, limit
    #[arg(long, conflicts_with = "json")]
    brief: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl FormulaCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let Means { tables, judge } = means;
        let formula = files::read_formula(&self.file, tables)?;
        let checked = formula::checks(&formula, tables, judge);
        let report = FormulaReport::new(&formula, &checked, judge, tables);
        output::show(&report, || if self.brief { report.to_brief() } else { report.to_text() }, self.json)?;
        Ok(if checked.stops() { YesNo::No } else { YesNo::Yes })
    }
}
