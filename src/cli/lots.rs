//! `gritwise lots`

use super::{YesNo, output};
use crate::lots::charts::{ChartFigure, charts};
use crate::lots::register;
use crate::plot::{Picture, control_picture};
use crate::report::LotsReport;
use crate::source::Fault;
use crate::tables::Tables;
use anyhow::{Result, anyhow, bail};
use clap::Args;
use std::path::PathBuf;

/// Show how the lots of a powder run: control charts from the register
///
/// Individuals and moving range charts with control limits and the Western Electric rules, for each powder in the register
/// that `gritwise lot --register` keeps. Lots stand in the order of their dates.
#[derive(Debug, Args)]
#[command(mut_args(output::draws("FILE.svg", "Draw the first chart into this SVG file")))]
#[command(after_help = "Examples:\n  gritwise lots lots.csv\n  \
                        gritwise lots lots.csv --powder olive --figure d90 --plot olive-d90.svg")]
pub(super) struct LotsCommand {
    /// The register
    #[arg(value_name = "REGISTER.csv")]
    register: PathBuf,

    /// Only this powder: its name or a beginning of it
    #[arg(long, value_name = "POWDER")]
    powder: Option<String>,

    /// What to chart: d10, d50, d90, over-top or index (may be repeated)
    #[arg(long, value_name = "FIGURE", default_values = ["d50", "index"], value_parser = figure)]
    figure: Vec<ChartFigure>,

    #[command(flatten)]
    drawn: output::PictureArgs,
}

impl LotsCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        let file = self.register.display().to_string();
        let register = register::read(&self.register)?;
        let powder = self.powder.as_deref();
        let charts = charts(&file, &register, powder, &self.figure, tables.acceptance.chart_lots);
        let report = LotsReport::new(&file, &register, charts.map_err(|problem| anyhow!(problem))?);
        let picture = self.drawn.plot.is_some().then(|| first_picture(&report)).transpose()?;
        self.drawn.show(picture, [&self.register], &report, || report.to_text())?;
        Ok(YesNo::Yes)
    }
}

fn first_picture(report: &LotsReport) -> Result<Picture> {
    let [first, rest @ ..] = report.charts.as_slice() else { bail!("there is nothing to draw") };
    if rest.iter().any(|c| c.powder != first.powder) {
        bail!("--plot: the register holds several powders; name one with --powder");
    }
    Ok(control_picture(first)?)
}

fn figure(text: &str) -> Result<ChartFigure, Fault> {
    text.parse()
}
