//! `gritwise size`

use super::{Answer, output};
use crate::plot::size_picture;
use crate::report::SizeReport;
use crate::size::spec::{SizeSpec, Tails};
use crate::size::{Sieves, SizeRecord, table};
use crate::source::read_text;
use crate::tables::Tables;
use crate::units::{GramsPerCm3, Micrometres};
use anyhow::{Context, Result, ensure};
use clap::Args;
use std::path::Path;

/// Describe one powder from a table or a grade: percentiles, means, fitted laws
///
/// A table is CSV: a sieve stack (opening_um or mesh, with retained_g, retained_pct, cum_retained_pct or cum_passing_pct),
/// a laser table (lower_um,upper_um,volume_pct or size_um,cum_volume_pct) or counts (lower_um,upper_um,count).
#[derive(Debug, Args)]
#[command(mut_args(output::draws("FILE.svg", "Draw frequency and cumulative undersize into this SVG file")))]
#[command(after_help = "Examples:\n  gritwise size lot.csv --plot lot.svg\n  gritwise size \"mesh -60+100\"\n  \
                        gritwise size lot.csv --through 250 --over 90\n  \
                        gritwise size \"50-150 um\"\n  gritwise size F220\n  gritwise size \"d10=20 d50=45 d90=90\"")]
pub(super) struct Size {
    /// A CSV table, or a grade in quotes: "mesh -60+100", "50-150 um", F220, P180, "-100 mesh", "<45 um", "D50 45 um"
    #[arg(value_name = "SOURCE", allow_hyphen_values = true)]
    source: String,

    #[command(flatten)]
    drawn: output::Drawn,

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
    #[arg(long, value_name = "UM", value_parser = micrometres)]
    through: Option<Micrometres>,

    /// And stays on this opening, µm
    #[arg(long, value_name = "UM", value_parser = micrometres)]
    over: Option<Micrometres>,

    /// For a mesh or micron range: % finer than its lower bound
    #[arg(long, value_name = "PCT")]
    undersize_pct: Option<f64>,

    /// For a mesh or micron range: % coarser than its upper bound
    #[arg(long, value_name = "PCT")]
    oversize_pct: Option<f64>,
}

const TAILS_ONLY: &str = "--undersize-pct and --oversize-pct go with a bound or a range in mesh or microns only";

impl Size {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let record = self.record(tables)?;
        let report = SizeReport::new(&self.source, &record, self.density, &self.above, tables);
        let picture = self.drawn.plot.is_some().then(|| size_picture(&self.title(), &record)).transpose()?;
        self.drawn.show(picture, [&self.source], &report, || report.to_text())?;
        Ok(Answer::Yes)
    }

    fn record(&self, tables: &Tables) -> Result<SizeRecord> {
        let record = self.bought(tables)?;
        match Sieves::new(self.through.map(Micrometres::get), self.over.map(Micrometres::get)) {
            Some(by) => record.sieved(by).with_context(|| format!("{}: --through and --over", self.source)),
            None => Ok(record),
        }
    }

    fn bought(&self, tables: &Tables) -> Result<SizeRecord> {
        let path = Path::new(&self.source);
        let stated = self.undersize_pct.is_some() || self.oversize_pct.is_some();
        let is_table = path.exists() || path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
        if is_table {
            ensure!(!stated, TAILS_ONLY);
            let text = read_text(path)?;
            let record = table::read(&text, &self.source, None, &tables.standards)?;
            return match self.max_um {
                Some(max) => {
                    record.closed_at(max, &tables.standards).with_context(|| format!("{}: --max-um", self.source))
                }
                None => Ok(record),
            };
        }
        ensure!(self.max_um.is_none(), "--max-um goes with a sieve table only");
        let default = tables.constants.range_tail_pct.value;
        let tails = Tails {
            undersize_pct: self.undersize_pct.unwrap_or(default),
            oversize_pct: self.oversize_pct.unwrap_or(default),
            stated,
        };
        let spec = SizeSpec::parse(&self.source)?;
        ensure!(
            !stated || matches!(spec, SizeSpec::Mesh { .. } | SizeSpec::Range { .. } | SizeSpec::Figure(_)),
            TAILS_ONLY
        );
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
