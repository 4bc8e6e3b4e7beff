//! `gritwise label`

use super::{YesNo, output};
use crate::lots::register::LotCode;
use crate::source::{CalendarDate, Source};
use crate::tasks::{LabelRequest, Means, label};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Draft the label: ingredients by falling weight, allergens, precautions, what is still open
///
/// Blends are split by their parts, solutions into what is dissolved and water, what is under 1 % comes after the rest, colours last.
/// Fragrance allergens stand by name over their threshold, by the rules that hold where and when the file says it is sold ([use] regions, on_market), or on the day of --date.
/// What is missing stands in the list in brackets and under "Open". A draft for an assessor. Exit status 1 if a name is missing in
/// the list, or a check of the formula says stop.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  gritwise label scrub.toml --date 2026-11-30\n  \
                        gritwise label scrub.toml --date 2026-11-30 --batch B-2611 --write label.html --write label.txt")]
pub(super) struct LabelCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// The day it is made, and new on the market: year-month-day
    #[arg(long, value_name = "DATE")]
    date: Option<CalendarDate>,

    /// Code of the batch
    #[arg(long, value_name = "CODE", allow_hyphen_values = true, value_parser = LotCode::new)]
    batch: Option<LotCode>,

    #[command(flatten)]
    paper: output::Paper,
}

impl LabelCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let batch = self.batch.as_ref().map(LotCode::as_str);
        let request = LabelRequest { scrub: Source::from(&self.file), date: self.date, batch };
        let report = label(&request, means).map_err(super::of_task)?;
        self.paper.show([&self.file], &report, &report.to_document())?;
        Ok(if report.is_sound() { YesNo::Yes } else { YesNo::No })
    }
}
