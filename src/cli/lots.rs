//! `gritwise lots`

use super::{Answer, output};
use crate::lots::charts::{ChartFigure, charts};
use crate::lots::register;
use crate::plot::control_picture;
use crate::report::LotsReport;
use crate::tables::Tables;
use anyhow::{Result, anyhow, bail};
use clap::Args;
use std::path::PathBuf;

/// Show how the lots of a powder run: control charts from the register
///
/// Individuals and moving range charts with control limits and the Western Electric rules, for each powder in the register
/// that `gritwise lot --register` keeps. Lots stand in the order of their dates.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  gritwise lots lots.csv\n  \
                        gritwise lots lots.csv --powder olive --figure d90 --plot olive-d90.svg")]
pub(super) struct Lots {
    /// The register
    #[arg(value_name = "REGISTER.csv")]
    register: PathBuf,

    /// Only this powder: its name or a beginning of it
    #[arg(long, value_name = "POWDER")]
    powder: Option<String>,

    /// What to chart: d10, d50, d90, over-top or index (may be repeated)
    #[arg(long, value_name = "FIGURE", default_values = ["d50", "index"], value_parser = figure)]
    figure: Vec<ChartFigure>,

    /// Draw the first chart into this SVG file
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,

    /// Replace the picture if it is there already
    #[arg(long, requires = "plot")]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Lots {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let file = self.register.display().to_string();
        let register = register::read(&self.register)?;
        let powder = self.powder.as_deref();
        let charts = charts(&file, &register, powder, &self.figure, tables.acceptance.chart_lots);
        let report = LotsReport::new(&file, &register, charts.map_err(|problem| anyhow!(problem))?);
        if let Some(path) = &self.plot {
            let [first, rest @ ..] = report.charts.as_slice() else { bail!("there is nothing to draw") };
            if rest.iter().any(|c| c.powder != first.powder) {
                bail!("--plot: the register holds several powders; name one with --powder");
            }
            let files = [(path.clone(), control_picture(first)?.svg)];
            output::write_results(&files, [&self.register], self.force)?;
        }
        output::show(&report, || report.to_text(), self.json)?;
        Ok(Answer::Yes)
    }
}

fn figure(text: &str) -> Result<ChartFigure, String> {
    text.parse()
}
