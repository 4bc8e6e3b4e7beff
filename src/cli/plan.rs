//! `gritwise plan`

use super::{YesNo, output};
use crate::panel::discrimination::ForcedChoice;
use crate::report::Design;
use crate::source::{CalendarDate, Source};
use crate::tasks::{Means, PanelPlanRequest, plan_panel, plan_stability, sought};
use anyhow::{Result, anyhow, bail, ensure};
use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Plan a panel of tasters, or a stability test
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  gritwise plan panel --scrubs 3 --difference 1 --sd 1.5\n  \
                        gritwise plan panel --test triangle --distinguish 40% --write triangle.html\n  \
                        gritwise plan stability scrub.toml --date 2026-12-01 --write stability.html")]
pub(super) struct PlanCommand {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Panel(PanelPlan),
    Stability(StabilityPlan),
}

/// How many tasters, in which orders, under which codes; with score sheets in what --write keeps
///
/// Scores: the number of tasters with which a t-test finds the difference with the power wanted; orders by a Williams square. Two scrubs
/// may also be told apart by a paired comparison (ISO 5495: which is milder?) or a triangle test (ISO 4120: which of three differs?).
/// Exit status 1 if the tasters at hand are too few for the power wanted.
#[derive(Debug, Args)]
struct PanelPlan {
    /// How many scrubs are compared
    #[arg(long, value_name = "N", default_value_t = 2)]
    scrubs: usize,

    /// What the tasters do
    #[arg(long, value_enum, default_value_t = Test::Scores)]
    test: Test,

    /// Difference of scores that is to be found, on the scale of the scores
    #[arg(long, value_name = "SCORE", allow_hyphen_values = true, required_if_eq("test", "scores"))]
    difference: Option<f64>,

    /// How far a taster's scores stray around their own level (standard deviation), on the same scale
    #[arg(long, value_name = "SCORE", allow_hyphen_values = true, required_if_eq("test", "scores"))]
    sd: Option<f64>,

    /// Share of people who can tell that is to be found, by a paired or a triangle test
    #[arg(long, value_name = "PERCENT", value_parser = distinguish, required_if_eq_any([("test", "paired"), ("test", "triangle")]))]
    distinguish: Option<f64>,

    /// Probability of finding it
    #[arg(long, value_name = "0..1", default_value = "0.8", value_parser = share)]
    power: f64,

    /// Probability of finding what is not there
    #[arg(long, value_name = "0..1", default_value = "0.05", value_parser = share)]
    alpha: f64,

    /// Tasters at hand [default: as many as are needed, in whole rounds of the orders]
    #[arg(long, value_name = "N")]
    tasters: Option<usize>,

    /// Seed of orders and codes
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,

    #[command(flatten)]
    paper: output::Paper,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Test {
    /// Score each scrub.
    Scores,
    /// Say which of two is milder.
    Paired,
    /// Say which of three differs.
    Triangle,
}

/// Pulls and tests drawn from the open points of the checks and from what is in the scrub
#[derive(Debug, Args)]
struct StabilityPlan {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// The day it starts: year-month-day; the pulls then have dates
    #[arg(long, value_name = "DATE")]
    date: Option<CalendarDate>,

    #[command(flatten)]
    paper: output::Paper,
}

impl PlanCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        match &self.what {
            What::Panel(plan) => plan.run(means),
            What::Stability(plan) => plan.run(means),
        }
    }
}

impl PanelPlan {
    fn run(&self, means: Means) -> Result<YesNo> {
        let request =
            PanelPlanRequest { design: self.design()?, power: self.power, tasters: self.tasters, seed: self.seed };
        if let Some(tasters) = self.tasters {
            ensure!((2..=10_000).contains(&tasters), "--tasters: 2 to 10000, not {tasters}");
        }
        let report = plan_panel(&request, means.tables).map_err(super::of_task)?;
        let none: [&PathBuf; 0] = [];
        self.paper.show_and_keep(none, &report, &report.to_document(false), &report.to_document(true))?;
        Ok(if report.is_enough() { YesNo::Yes } else { YesNo::No })
    }

    fn design(&self) -> Result<Design> {
        let choice = match self.test {
            Test::Scores => {
                ensure!(self.distinguish.is_none(), "--distinguish goes with --test paired or --test triangle");
                let (Some(difference), Some(sd)) = (self.difference, self.sd) else {
                    bail!("--difference and --sd say what scores are to find: --difference 1 --sd 1.5");
                };
                let sought = sought(self.scrubs, difference, sd, self.alpha).map_err(super::of_task)?;
                return Ok(Design::Scores(sought));
            }
            Test::Paired => ForcedChoice::Paired,
            Test::Triangle => ForcedChoice::Triangle,
        };
        ensure!(self.scrubs == 2, "--scrubs: a {} test compares two scrubs, not {}", choice.key(), self.scrubs);
        ensure!(
            self.difference.is_none() && self.sd.is_none(),
            "--difference and --sd go with scores; a {} test asks for --distinguish",
            choice.key()
        );
        Ok(Design::Choice(choice, self.alpha, self.distinguish.unwrap_or(0.0) / 100.0))
    }
}

impl StabilityPlan {
    fn run(&self, means: Means) -> Result<YesNo> {
        let report = plan_stability(Source::from(&self.file), self.date, means).map_err(super::of_task)?;
        self.paper.show([&self.file], &report, &report.to_document())?;
        Ok(YesNo::Yes)
    }
}

/// A share of people, %.
fn distinguish(text: &str) -> Result<f64> {
    super::percent_of(text, "a share of people")
}

/// A probability between 0 and 1.
fn share(text: &str) -> Result<f64> {
    let number = text.trim().replace(',', ".").parse::<f64>().ok().filter(|p| *p > 0.0 && *p < 1.0);
    number.ok_or_else(|| anyhow!("a probability lies between 0 and 1, like 0.8"))
}
