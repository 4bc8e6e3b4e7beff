//! `gritwise batch`

use super::held_back::signals_held_back;
use super::record::Record;
use super::{YesNo, output};
use crate::formula::batch::{Order, Units};
use crate::formula::quantity;
use crate::report::BatchReport;
use crate::source::Source;
use crate::tasks::{self, BatchRequest, Means, Recorded};
use anyhow::{Result, bail};
use clap::Args;
use std::path::{Path, PathBuf};

/// A weigh sheet: what goes in, phase by phase, in whole steps of the balance
///
/// The sums are exact: shares are rounded by largest remainder. It says what the rounding does to index and pH, what a unit
/// costs, how much base the pH needs, and what the powders draw from a shelf. All checks run once more as weighed. With --register the
/// batch goes into a register of batches, with the fingerprint of the formula file, lots and grams; then note what comes of it with
/// gritwise made. Exit status 1 if the shelf holds too little, a check says stop, by the formula or as weighed, or a lot was refused.
#[derive(Debug, Args)]
#[command(
    name = "batch",
    group = clap::ArgGroup::new("much").required(true).multiple(true).args(["mass", "units"]),
    after_help = "Examples:\n  gritwise batch scrub.toml --mass 2.5kg\n  gritwise batch scrub.toml --units 12x200mL --loss 3% \
                  --resolution 0.1g --write sheet.html --write sheet.csv\n  gritwise batch scrub.toml --units 12x140g --shelf shelf.toml --stock stock.csv --lots lots.csv \
                  --register batches.csv --batch B-2611 --date 2026-11-30"
)]
pub(super) struct BatchCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// What to weigh in: 2.5kg, 800g
    #[arg(long, value_name = "MASS", value_parser = quantity::mass)]
    mass: Option<f64>,

    /// What to fill: 12x200mL, 12x180g, or 12 where [fill] in the file says what goes into one
    #[arg(long, value_name = "N[xCONTENT]", value_parser = quantity::units)]
    units: Option<Units>,

    /// What stays in the vessel and in the nozzle, of the batch
    #[arg(long, value_name = "PERCENT", default_value = quantity::USUAL_LOSS, value_parser = quantity::loss)]
    loss: f64,

    /// Step of the balance: 0.1g, 5 g, 10mg
    #[arg(long, value_name = "GRAMS", default_value = quantity::USUAL_STEP, value_parser = quantity::step)]
    resolution: f64,

    /// A shelf file to draw the powders from, by name
    #[arg(long, value_name = "SHELF.toml")]
    shelf: Option<PathBuf>,

    /// Write the sheet into this file, by its ending: .html to print, .csv, .xlsx; may be given more than once
    #[arg(long, value_name = "FILE")]
    write: Vec<PathBuf>,

    /// Replace files that are there already
    #[arg(long, requires = "write")]
    force: bool,

    #[command(flatten)]
    record: Record,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl BatchCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let order = Order { mass_g: self.mass, units: self.units, loss_pct: self.loss, resolution_g: self.resolution };
        let shelf = self.shelf.as_ref().map(Source::from);
        let drawn = self.record.drawn()?;
        let batch = self.record.batch.as_ref();
        let in_hand = &self.record.lot_of;
        let request = BatchRequest { scrub: Source::from(&self.file), order, shelf, drawn: &drawn, batch, in_hand };
        let mut report = tasks::batch(&request, means).map_err(super::of_task)?;
        report.batch = batch.map(|code| code.as_str().to_owned());
        report.date = self.record.date;
        let recorded = self.record.entry(&self.file, &request.order, &report, means)?;
        if let Some(refused) = recorded.as_ref().and_then(|r| self.record.refusal(r)) {
            return Ok(refused);
        }
        if let Some(recorded) = &recorded {
            report.lot_cautions = recorded.reservations(&self.record.lots_name());
        }
        let files: Vec<(PathBuf, Vec<u8>)> =
            self.write.iter().map(|path| Ok((path.clone(), sheet(&report, path)?))).collect::<Result<_>>()?;
        // The sheets and the line in the register are one.
        signals_held_back(|| self.keep(&files, recorded, &report))
    }

    fn keep(&self, files: &[(PathBuf, Vec<u8>)], recorded: Option<Recorded>, report: &BatchReport) -> Result<YesNo> {
        let read = [&self.file].into_iter().chain(&self.shelf).chain(self.record.files());
        output::write_results(files, read, self.force)?;
        // A batch that nobody was told of stays out of the register.
        output::show(report, || report.to_text(), self.json)?;
        let is_no = report.is_short() || !report.stops.is_empty();
        match recorded {
            Some(_) if is_no => output::remark("the sheet says no, so the batch is not in the register"),
            Some(recorded) => self.record.write(&recorded, report)?,
            None => {}
        }
        Ok(if is_no { YesNo::No } else { YesNo::Yes })
    }
}

/// The sheet in the form that a file's ending asks for.
fn sheet(report: &BatchReport, path: &Path) -> Result<Vec<u8>> {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    match ending.as_str() {
        "html" | "htm" => Ok(report.to_document().to_html().into_bytes()),
        "csv" => Ok(report.to_sheet().to_csv()?),
        #[cfg(feature = "xlsx")]
        "xlsx" => Ok(report.to_sheet().to_xlsx()?),
        _ => bail!("--write {}: a sheet ends in .html, .csv or .xlsx", path.display()),
    }
}
