//! `gritwise size`

use super::{YesNo, measured, output};
use crate::lots::lot::LotTable;
use crate::plot::size_picture;
use crate::report::SizeReport;
use crate::size::spec::{SizeSpec, Tails};
use crate::size::{Sieves, SizeRecord};
use crate::source::sheet_of;
use crate::tables::Tables;
use crate::tasks;
use crate::units::{GramsPerCm3, Micrometres};
use anyhow::{Context, Result, ensure};
use clap::Args;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// Describe one powder from a table or a grade: percentiles, means, fitted laws
///
/// A table is CSV: a sieve stack (opening_um or mesh, with retained_g, retained_pct, cum_retained_pct or cum_passing_pct),
/// a laser table (lower_um,upper_um,volume_pct or size_um,cum_volume_pct) or counts (lower_um,upper_um,count). Tables as people keep them
/// in a spreadsheet are read too, .xlsx or CSV: headings in words, units, decimal commas, pan and totals anywhere; what was understood
/// is said. Repeats of a measurement are taken together, and what was lost on the sieves is told.
#[derive(Debug, Args)]
#[command(mut_args(output::draws("FILE.svg", "Draw frequency and cumulative undersize into this SVG file")))]
#[command(
    after_help = "Examples:\n  gritwise size lot.csv --plot lot.svg\n  gritwise size lot.xlsx#Sizes --charged-g 100.2\n  \
                        gritwise size first.csv second.csv third.csv\n  \
                        gritwise size lot.csv --through 250 --over 90\n  gritwise size \"mesh -60+100\"\n  \
                        gritwise size \"50-150 um\"\n  gritwise size F220\n  gritwise size \"d10=20 d50=45 d90=90\""
)]
pub(super) struct SizeCommand {
    /// A CSV table, or a grade in quotes: "mesh -60+100", "50-150 um", F220, P180, "-100 mesh", "<45 um", "D50 45 um"
    #[arg(value_name = "SOURCE", allow_hyphen_values = true)]
    source: String,

    /// Repeats of the same measurement: their mean is described, and what they differ by
    #[arg(value_name = "REPEAT.csv")]
    repeats: Vec<PathBuf>,

    /// What was put on the top sieve, g; with repeats once for each table, in their order
    #[arg(long, value_name = "G", allow_hyphen_values = true, value_parser = measured::grams)]
    charged_g: Vec<f64>,

    /// Diameter of the sieve frames, mm [default: that of the acceptance table]
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = measured::millimetres)]
    sieve_mm: Option<f64>,

    #[command(flatten)]
    drawn: output::PictureArgs,

    /// Also give the share of the volume above this size, µm (may be repeated)
    #[arg(long, value_name = "UM", value_parser = micrometres)]
    above: Vec<Micrometres>,

    /// Envelope density of a grain, g/cm³: adds surface and number of grains per gram
    #[arg(long, value_name = "G_CM3", value_parser = density)]
    density: Option<GramsPerCm3>,

    /// For a sieve table: no grain of what stayed on the coarsest sieve is larger than this, µm
    #[arg(long, value_name = "UM", value_parser = micrometres)]
    max_um: Option<Micrometres>,

    /// What is left when you sieve it: what goes through this opening, µm
    #[arg(long, value_name = "UM", value_parser = micrometres, conflicts_with = "charged_g")]
    through: Option<Micrometres>,

    /// And stays on this opening, µm
    #[arg(long, value_name = "UM", value_parser = micrometres, conflicts_with = "charged_g")]
    over: Option<Micrometres>,

    /// For a mesh or micron range: % finer than its lower bound
    #[arg(long, value_name = "PCT")]
    undersize_pct: Option<f64>,

    /// For a mesh or micron range: % coarser than its upper bound
    #[arg(long, value_name = "PCT")]
    oversize_pct: Option<f64>,
}

/// What ends so is a file's name, be it there or not.
const TABLE_ENDINGS: [&str; 3] = ["csv", "tsv", "xlsx"];

const TAILS_ONLY: &str = "--undersize-pct and --oversize-pct go with a bound or a range in mesh or microns only";

impl SizeCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        let (record, measurement) = match self.tables(tables)? {
            Some(measured) => {
                let (mean, measurement) = tasks::measured(&measured, self.sieve_mm, tables)?;
                (mean, Some(measurement))
            }
            None => (self.grade(tables)?, None),
        };
        // How well the D-values of a table are known says nothing of what is left on a sieve.
        let (record, measurement) = match self.sieves() {
            Some(by) => (record.sieved(by).with_context(|| format!("{}: --through and --over", self.source))?, None),
            None => (record, measurement),
        };
        let source = self.paths().iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ");
        let described = SizeReport::new(&source, &record, self.density, &self.above, tables);
        let report = SizeReport { measurement, ..described };
        let picture = self.drawn.plot.is_some().then(|| size_picture(&self.title(), &record)).transpose()?;
        self.drawn.show(picture, self.paths(), &report, || report.to_text())?;
        Ok(YesNo::Yes)
    }

    fn paths(&self) -> Vec<&Path> {
        std::iter::once(Path::new(&self.source)).chain(self.repeats.iter().map(PathBuf::as_path)).collect()
    }

    fn sieves(&self) -> Option<Sieves> {
        Sieves::new(self.through.map(Micrometres::get), self.over.map(Micrometres::get))
    }

    /// The tables, where the source is one.
    fn tables(&self, tables: &Tables) -> Result<Option<Vec<LotTable>>> {
        let path = Path::new(&self.source);
        let ends_like_one = |e: &OsStr| TABLE_ENDINGS.iter().any(|ending| e.eq_ignore_ascii_case(ending));
        if !path.exists() && !sheet_of(path).0.extension().is_some_and(ends_like_one) && self.repeats.is_empty() {
            ensure!(self.max_um.is_none(), "--max-um goes with a sieve table only");
            ensure!(self.charged_g.is_empty(), "--charged-g goes with sieve tables only");
            return Ok(None);
        }
        ensure!(self.undersize_pct.is_none() && self.oversize_pct.is_none(), TAILS_ONLY);
        let measured = measured::tables(&self.paths(), &self.charged_g, tables)?;
        let Some(max) = self.max_um else { return Ok(Some(measured)) };
        let closed = |table: LotTable| {
            let record = table.record.closed_at(max, &tables.standards);
            let record = record.with_context(|| format!("{}: --max-um", table.file))?;
            Ok(LotTable { record, ..table })
        };
        measured.into_iter().map(closed).collect::<Result<_>>().map(Some)
    }

    fn grade(&self, tables: &Tables) -> Result<SizeRecord> {
        let assumed_pct = tables.constants.range_tail_pct.value;
        let tails = Tails::stated_or(self.undersize_pct, self.oversize_pct, assumed_pct);
        let spec = SizeSpec::parse(&self.source)?;
        spec.resolve(&tables.standards, tails).with_context(|| format!("\"{}\"", self.source))
    }

    /// The picture's title: a table goes by its file name, wherever it lies.
    fn title(&self) -> String {
        let path = Path::new(&self.source);
        let is_file = path.extension().is_some();
        path.file_name().filter(|_| is_file).map_or(self.source.clone(), |n| n.to_string_lossy().into_owned())
    }
}

pub(super) fn micrometres(text: &str) -> Result<Micrometres> {
    Ok(Micrometres::new(text.parse()?)?)
}

fn density(text: &str) -> Result<GramsPerCm3> {
    Ok(GramsPerCm3::new(text.parse()?)?)
}
