//! `gritwise lot`

use super::{YesNo, measured, output};
use crate::lots::lot::{LotTable, LotVerdict};
use crate::lots::register::{self, Entry, LotCode, Registered};
use crate::report::{LotReport, LotReports};
use crate::source::{CalendarDate, Source};
use crate::tables::Tables;
use crate::tasks::{LotRequest, LotTold, Means, lot};
use crate::units::Micrometres;
use anyhow::{Context, Result, ensure};
use clap::Args;
use std::path::{Path, PathBuf};

/// Judge a lot of a powder: does it meet its grade, and what becomes of the scrub?
///
/// Holds the measured table of a lot against the sizes that the scrub file gives for the powder, with the tolerances of its
/// [powder.accept] or, where it has none, of the acceptance table (convention). Then makes the scrub with the lot: its index,
/// its band, and the parts that bring the index back. A measurement repeats to so many percent only (gritwise tables draws): the
/// verdict is drawn with that, and called unsure where too few draws agree; the new parts get a range. Exit status 1 if the lot
/// is refused, by the tables as they are: an unsure verdict keeps its status, so look at unsure and verdict_sure_pct in --json.
#[derive(Debug, Args)]
#[command(mut_args(output::draws("FILE.svg", "Draw lot and grade into this SVG file")))]
#[command(
    after_help = "Examples:\n  gritwise lot lot.csv --powder \"Olive stone\" --in scrub.toml --charged-g 100.2\n  \
                        gritwise lot a.csv --repeat b.csv --repeat c.csv --powder olive --in scrub.toml --plot lot.svg\n  \
                        gritwise lot lot.csv --powder olive --in scrub.toml --register lots.csv --lot OS-2411 \
                        --date 2026-11-20"
)]
pub(super) struct LotCommand {
    /// The lot's table, in any form that `gritwise size` reads; or percentiles of a certificate: "d10=120 d50=170 d90=230"
    #[arg(value_name = "TABLE.csv")]
    table: PathBuf,

    /// Name of the powder in the scrub file, its material, or a beginning of either
    #[arg(long, value_name = "POWDER")]
    powder: String,

    /// The scrub file with the powder's grade (may be given again: the lot is judged in each); or a shelf file with it, the powder
    /// then judged alone
    #[arg(long = "in", value_name = "FILE.toml", required = true)]
    scrubs: Vec<PathBuf>,

    /// A shelf file: a lot that is too coarse goes through the sieves of its [sieves] owned_um = [250, 180]; without it through
    /// those of the standard series
    #[arg(long, value_name = "SHELF.toml")]
    shelf: Option<PathBuf>,

    /// A repeated measurement of the same lot (may be given again)
    #[arg(long, value_name = "TABLE.csv")]
    repeat: Vec<PathBuf>,

    /// What was put on the sieves, g; with repeats once for each table, in their order
    #[arg(long, value_name = "G", allow_hyphen_values = true, value_parser = measured::grams)]
    charged_g: Vec<f64>,

    /// Mass of the sample that was measured, g; without it what lay on the sieves
    #[arg(long, value_name = "G", allow_hyphen_values = true, value_parser = measured::grams)]
    sample_g: Option<f64>,

    /// Diameter of the sieve frames, mm [default: that of the acceptance table]
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = measured::millimetres)]
    sieve_mm: Option<f64>,

    /// How far the powder on the coarsest sieve of the lot reaches, µm [default: the max_um of the grade in the scrub file]
    #[arg(long, value_name = "UM", allow_hyphen_values = true, value_parser = super::size::micrometres)]
    max_um: Option<Micrometres>,

    /// Add the verdict to this register of lots; it is made if it is not there
    #[arg(long, value_name = "LOTS.csv", requires_all = ["lot", "date"])]
    register: Option<PathBuf>,

    /// The supplier's code of the lot, for the register
    #[arg(long, value_name = "CODE", requires = "register", allow_hyphen_values = true, value_parser = LotCode::new)]
    lot: Option<LotCode>,

    /// The day of the verdict, for the register: year-month-day
    #[arg(long, value_name = "DATE", requires = "register")]
    date: Option<CalendarDate>,

    #[command(flatten)]
    drawn: output::PictureArgs,
}

impl LotCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let plot = self.drawn.plot.is_some();
        ensure!(!plot || self.scrubs.len() == 1, "--plot draws a lot in one scrub; give --in once");
        for (i, path) in self.scrubs.iter().enumerate() {
            ensure!(!self.scrubs[..i].contains(path), "{}: named twice as --in; name each scrub once", path.display());
        }
        let tables = self.lot_tables(means.tables)?;
        let judged = self.scrubs.iter().map(|scrub| {
            let request = LotRequest {
                scrub: Source::from(scrub),
                powder: &self.powder,
                lot: tables.clone(),
                max: self.max_um,
                sample_g: self.sample_g,
                sieve_mm: self.sieve_mm,
                shelf: self.shelf.as_ref().map(Source::from),
                picture: plot,
            };
            let told = lot(request, means).map_err(super::of_task);
            if self.scrubs.len() > 1 { told.with_context(|| scrub.display().to_string()) } else { told }
        });
        let mut told: Vec<LotTold> = judged.collect::<Result<_>>()?;
        let picture = told[0].picture.take();
        let inputs = std::iter::once(&self.table).chain(&self.scrubs).chain(&self.repeat);
        let inputs = inputs.chain(&self.register).chain(&self.shelf);
        let shown = match told.as_slice() {
            [one] => self.drawn.show(picture, inputs, &one.report, || one.report.to_text()),
            all => {
                let all = LotReports { lots: all.iter().map(|told| told.report.clone()).collect() };
                self.drawn.show(picture, inputs, &all, || all.to_text())
            }
        };
        // A lot that nobody was told of stays out of the register.
        shown?;
        told.iter().try_for_each(|told| self.register(&told.report))?;
        let refused = told.iter().any(|told| told.judged.verdict == LotVerdict::Refuse);
        Ok(if refused { YesNo::No } else { YesNo::Yes })
    }

    fn lot_tables(&self, tables: &Tables) -> Result<Vec<LotTable>> {
        let paths: Vec<&Path> = std::iter::once(&self.table).chain(&self.repeat).map(PathBuf::as_path).collect();
        measured::tables(&paths, &self.charged_g, tables)
    }

    fn register(&self, report: &LotReport) -> Result<()> {
        let (Some(path), Some(lot), Some(date)) = (&self.register, &self.lot, self.date) else { return Ok(()) };
        let entry = Entry {
            date,
            powder: report.powder.clone(),
            lot: lot.clone(),
            scrub: report.scrub.clone(),
            verdict: report.verdict,
            percentiles_um: [0, 1, 2].map(|i| report.figures[i].lot_um),
            over_top_pct: report.over_top_pct,
            index_with_lot: report.index_with_lot,
            band_with_lot: report.band_with_lot.clone(),
            unsure: Some(report.unsure),
            new_parts: report.new_parts(),
            sha256: report.tables.iter().map(|t| t.sha256.clone()).collect(),
        };
        let Registered { added, twin } = register::append(path, &entry)?;
        output::tell_added(path, &added);
        if let Some((line, other)) = twin {
            output::remark(&format!(
                "{}:{line}: lot {} of {} was judged by the very same table: no two lots measure alike to the last digit, so look whether the \
                 files were mixed up",
                path.display(),
                other.lot.as_str(),
                other.powder
            ));
        }
        output::remark(&format!("lot {} is in {}", lot.as_str(), path.display()));
        Ok(())
    }
}
