//! The options of `gritwise batch` that put a batch into the register, and draw its powders from the stock.

use super::{YesNo, output};
use crate::formula::batch::Order;
use crate::lots::register::{self as lots, LotCode};
use crate::records::{batches, stock};
use crate::report::BatchReport;
use crate::source::{CalendarDate, Source, read_hashed, same_word};
use crate::tasks::{Means, RecordRequest, Recorded, record};
use anyhow::{Result, anyhow, bail};
use clap::Args;
use std::path::{Path, PathBuf};

// No doc comment: it would stand in for that of the command.
#[derive(Debug, Args)]
pub(super) struct Record {
    /// Add the batch to this register of batches; it is made if it is not there
    #[arg(long, value_name = "BATCHES.csv", requires_all = ["batch", "date"])]
    register: Option<PathBuf>,

    /// Code of the batch, for the register
    #[arg(long, value_name = "CODE", requires = "register", allow_hyphen_values = true, value_parser = LotCode::new)]
    pub(super) batch: Option<LotCode>,

    /// The day it is made, for the register: year-month-day
    #[arg(long, value_name = "DATE", requires = "register")]
    pub(super) date: Option<CalendarDate>,

    /// The register of lots (with --register, --batch and --date): a lot that was refused there is refused here
    #[arg(long, value_name = "LOTS.csv", requires_all = ["register", "batch", "date"])]
    lots: Option<PathBuf>,

    /// The lot in hand of an ingredient or powder, instead of that of the file (may be given again; with --register, --batch and --date)
    #[arg(long, value_name = "NAME=CODE", requires_all = ["register", "batch", "date"], value_parser = lot_of)]
    pub(super) lot_of: Vec<(String, LotCode)>,

    /// What batches have drawn from the shelf: counted, and with --register added to; it is made if it is not there. What gritwise made
    /// --weighed corrected is counted with the --register that says so
    #[arg(long, value_name = "STOCK.csv", requires = "shelf")]
    pub(super) stock: Option<PathBuf>,
}

impl Record {
    /// The name of the register of lots.
    pub(super) fn lots_name(&self) -> String {
        self.lots.as_ref().map_or_else(String::new, |path| path.display().to_string())
    }

    /// What batches have drawn, as far as it is known: what the register set right counts, and what cannot be known is told.
    pub(super) fn drawn(&self) -> Result<stock::Withdrawn> {
        let Some(path) = &self.stock else { return Ok(stock::Withdrawn::default()) };
        let mut drawn = stock::read(path)?;
        let lost = "what it drew is not known, so less may be left than the sheet says; draw that batch again";
        output::tell_torn(path, &drawn.torn, lost);
        let Some(register) = self.register.as_ref().filter(|register| !output::is_same(register, path)) else {
            return Ok(drawn);
        };
        let batches = batches_in(register)?;
        drawn.set_right(&batches);
        let is_own = |code: &&str| self.batch.as_ref().is_some_and(|own| same_word(own.as_str(), code));
        let orphans: Vec<&str> = drawn.orphans(&batches).into_iter().filter(|code| !is_own(code)).collect();
        if !orphans.is_empty() {
            output::remark(&format!(
                "{}: {} drew from the shelf without a batch in {}: cut off between the two files, or of another register; the same call of \
                 gritwise batch once more adds it",
                path.display(),
                orphans.join(", "),
                register.display()
            ));
        }
        Ok(drawn)
    }

    /// The files that it reads and adds to: no sheet is written over them.
    pub(super) fn files(&self) -> impl Iterator<Item = &PathBuf> {
        [&self.register, &self.lots, &self.stock].into_iter().flatten()
    }

    /// The entry of the batch, where it is asked for; nothing is written yet.
    pub(super) fn entry(
        &self,
        file: &Path,
        order: &Order,
        sheet: &BatchReport,
        means: Means,
    ) -> Result<Option<Recorded>> {
        let (Some(register), Some(batch), Some(date)) = (&self.register, &self.batch, self.date) else {
            return Ok(None);
        };
        if self.stock.as_ref().is_some_and(|stock| output::is_same(register, stock)) {
            bail!("{}: --register and --stock name one file; give each a file of its own", register.display());
        }
        // Found out before the stock is drawn.
        let folder = register.parent().filter(|folder| !folder.as_os_str().is_empty());
        if let Some(folder) = folder.filter(|folder| !folder.is_dir()) {
            bail!("{}: the register cannot be written: there is no folder {}", register.display(), folder.display());
        }
        let name = |path: &Path| path.display().to_string();
        let known =
            self.lots.as_ref().map(|path| Ok::<_, anyhow::Error>((lots::read(path)?, name(path)))).transpose()?;
        let request = RecordRequest {
            scrub: Source::from(file),
            sha256: read_hashed(file)?.1,
            order,
            sheet,
            batch: batch.clone(),
            date,
            lots: known.as_ref().map(|(register, name)| (register, name.as_str())),
        };
        let recorded = record(request, means).map_err(super::of_task)?;
        // A register that holds the batch already, or is damaged, is found out before anything is printed or drawn; so is a batch that
        // has drawn other amounts.
        if batches_in(register)?.find(batch.as_str()).is_some() {
            return Err(anyhow!(
                "{}: batch {} stands there already; nothing was written: give the new one a code of its own",
                register.display(),
                batch.as_str()
            ));
        }
        if let Some(path) = &self.stock {
            stock::read(path)?.holds(&name(path), batch, &drawn_by(sheet))?;
        }
        Ok(Some(recorded))
    }

    /// Says why the batch is refused, if it is.
    pub(super) fn refusal(&self, recorded: &Recorded) -> Option<YesNo> {
        for lot in recorded.refused() {
            output::remark(&format!("refused: {}; take another lot. Nothing was written", lot.said(&self.lots_name())));
        }
        if let Some(path) = &self.lots {
            output::tell_torn(path, &recorded.torn, "what it said of a lot is not known; judge that lot again");
        }
        recorded.refused().next().map(|_| YesNo::No)
    }

    /// Adds the batch to the stock's record and to the register.
    pub(super) fn write(&self, recorded: &Recorded, sheet: &BatchReport) -> Result<()> {
        let (Some(register), Some(batch), Some(date)) = (&self.register, &self.batch, self.date) else { return Ok(()) };
        // The stock first: a batch that is in the register cannot be added again, what it has drawn can.
        if let Some(path) = &self.stock {
            let (added, is_new) = stock::append(path, batch, date, &drawn_by(sheet))?;
            output::tell_added(path, &added);
            if !is_new {
                output::remark(&format!(
                    "{}: batch {} has drawn just this already, and nothing more was drawn: right where the call before was cut off; a batch \
                     of another register needs a code of its own",
                    path.display(),
                    batch.as_str()
                ));
            }
        }
        output::tell_added(register, &batches::append(register, &recorded.weighed)?);
        output::remark(&format!("batch {} is in {}", batch.as_str(), register.display()));
        if !recorded.without_lot.is_empty() {
            let names = recorded.without_lot.join(", ");
            output::remark(&format!("no lot is noted of {names}: give --lot-of NAME=CODE, or lot in the file"));
        }
        if !recorded.not_judged.is_empty() {
            let lots = recorded.not_judged.join(", ");
            output::remark(&format!("not judged yet by the register of lots: {lots}"));
        }
        Ok(())
    }
}

/// The batches of a register, none where it is not there yet.
fn batches_in(register: &Path) -> Result<batches::Batches> {
    if register.exists() { Ok(batches::read(register)?) } else { Ok(batches::Batches::default()) }
}

/// What a sheet draws from the shelf, as bought.
fn drawn_by(sheet: &BatchReport) -> Vec<batches::Used> {
    let drawn = sheet.stock.iter().filter(|d| d.on_shelf);
    drawn.map(|d| batches::Used { name: d.name.clone(), lot: None, grams: d.needed_g() }).collect()
}

/// `Glycerin=GL-77`
pub(super) fn lot_of(text: &str) -> Result<(String, LotCode)> {
    let (name, code) = text.rsplit_once('=').ok_or_else(|| anyhow!("write it like \"Glycerin=GL-77\""))?;
    Ok((name.trim().to_owned(), LotCode::new(code)?))
}
