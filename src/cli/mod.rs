//! The command line: one file per command, arguments in, report out, no arithmetic.

mod aim;
mod ask;
mod batch;
mod blend;
mod compare;
mod confidence;
mod dossier;
mod examples;
mod formula;
#[cfg(feature = "photos")]
mod grains;
mod held_back;
mod label;
mod ladder;
mod lot;
mod lots;
mod made;
mod measured;
mod output;
#[cfg(feature = "page")]
mod page;
mod panel;
mod plan;
mod record;
mod sets;
mod shell;
mod size;
mod stand_in;
mod start;
mod tables;
mod trace;
mod waiting;

use crate::band::{BEYOND, Judge};
use crate::source::did_you_mean;
use crate::tables::Tables;
use crate::tasks::{Means, TaskError};
use anyhow::{Context, Result, anyhow};
use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;

/// Designs exfoliant powder blends for skin scrubs.
///
/// Say which powders go in, how coarse they are and how much of each; gritwise works out the combined grain sizes, an
/// abrasiveness index, and whether the scrub is for the face, the body, or hands and feet, with the reasons.
///
/// The index is a model under stated assumptions. It ranks scrubs; it is not a clinical measure and no safety assessment.
#[derive(Debug, Parser)]
#[command(name = "gritwise", version, arg_required_else_help = true, max_term_width = 100)]
#[command(after_help = "Start here:  gritwise start my-scrub   then   gritwise blend my-scrub/scrub.toml\n\
                        Exit status: 0 done, 1 the answer is no, 2 the input or the call is wrong.")]
pub(crate) struct Arguments {
    /// A folder with grading tables of your own; each file in it stands in for the built-in one of the same name
    #[arg(long, global = true, value_name = "DIR")]
    tables: Option<PathBuf>,

    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Blend(blend::BlendCommand),
    Compare(compare::CompareCommand),
    Ladder(ladder::LadderCommand),
    StandIn(stand_in::StandInCommand),
    Aim(aim::AimCommand),
    #[cfg(feature = "page")]
    Page(page::PageCommand),
    Lot(lot::LotCommand),
    Lots(lots::LotsCommand),
    Panel(panel::PanelCommand),
    Batch(batch::BatchCommand),
    Made(made::MadeCommand),
    Trace(trace::TraceCommand),
    Plan(plan::PlanCommand),
    Ask(ask::AskCommand),
    Label(label::LabelCommand),
    Dossier(dossier::DossierCommand),
    Formula(formula::FormulaCommand),
    Confidence(confidence::ConfidenceCommand),
    Size(size::SizeCommand),
    #[cfg(feature = "photos")]
    Grains(grains::GrainsCommand),
    Tables(tables::TablesCommand),
    Start(start::StartCommand),
    Examples(examples::ExamplesCommand),
    Completions(shell::CompletionsCommand),
    /// Print the manual page
    Man,
}

/// What a command answers.
pub(crate) enum YesNo {
    /// Done.
    Yes,
    /// Done, and the answer is no.
    No,
}

/// Runs the program with the arguments of the process.
pub fn run() -> ExitCode {
    let arguments = Arguments::parse();
    match dispatch(&arguments) {
        Ok(YesNo::Yes) => ExitCode::SUCCESS,
        Ok(YesNo::No) => ExitCode::from(1),
        Err(e) => {
            output::complain(&e);
            ExitCode::from(2)
        }
    }
}

/// The rank of the band that `--require` names.
fn required_rank(judge: &Judge, name: &str) -> Result<usize> {
    let known = judge.bands().iter().map(|b| b.name.as_str()).chain([BEYOND]);
    judge.rank_of(name).ok_or_else(|| anyhow!("--require: there is no band \"{name}\"; {}", did_you_mean(name, known)))
}

/// A share of 100 draws, such as 90.
fn percent(text: &str) -> Result<f64> {
    percent_of(text, "a share of the draws")
}

fn percent_of(text: &str, what: &str) -> Result<f64> {
    let number = text.trim().trim_end_matches('%').trim_end().replace(',', ".").parse::<f64>();
    let number = number.ok().filter(|n| *n > 0.0 && *n <= 100.0);
    number.ok_or_else(|| anyhow!("{what} lies above 0 and up to 100, like 90"))
}

/// The judge that the tables in force make.
fn judge(tables: &Tables) -> Result<Judge> {
    Judge::new(tables).context("the constants of the reference scrub are unusable")
}

/// An error of a task; a part of the request that is wrong is the option that names it.
fn of_task(error: TaskError) -> anyhow::Error {
    match error {
        TaskError::Asked { part, cause } => anyhow!("--{part}: {cause}"),
        other => other.into(),
    }
}

fn dispatch(arguments: &Arguments) -> Result<YesNo> {
    let tables = || match &arguments.tables {
        Some(folder) => Tables::with_folder(folder).context("--tables"),
        None => Tables::built_in().context("the built-in tables are damaged; install the program again"),
    };
    let judged = |run: &dyn Fn(Means) -> Result<YesNo>| {
        let tables = tables()?;
        run(Means { tables: &tables, judge: &judge(&tables)? })
    };
    match &arguments.command {
        Command::Blend(command) => judged(&|means| command.run(means)),
        Command::Compare(command) => judged(&|means| command.run(means)),
        Command::Ladder(command) => judged(&|means| command.run(means)),
        Command::StandIn(command) => judged(&|means| command.run(means)),
        Command::Aim(command) => judged(&|means| command.run(means)),
        #[cfg(feature = "page")]
        Command::Page(command) => command.run(tables()?),
        Command::Lot(command) => judged(&|means| command.run(means)),
        Command::Lots(command) => command.run(&tables()?),
        Command::Panel(command) => judged(&|means| command.run(means)),
        Command::Batch(command) => judged(&|means| command.run(means)),
        Command::Made(command) => command.run(&tables()?),
        Command::Trace(command) => command.run(&tables()?),
        Command::Plan(command) => judged(&|means| command.run(means)),
        Command::Ask(command) => judged(&|means| command.run(means)),
        Command::Label(command) => judged(&|means| command.run(means)),
        Command::Dossier(command) => command.run(&tables()?, arguments.tables.is_some()),
        Command::Formula(command) => judged(&|means| command.run(means)),
        Command::Confidence(command) => judged(&|means| command.run(means)),
        Command::Size(command) => command.run(&tables()?),
        #[cfg(feature = "photos")]
        Command::Grains(command) => command.run(&tables()?),
        Command::Tables(command) => command.run(&tables()?),
        Command::Start(command) => command.run(),
        Command::Examples(command) => command.run(),
        Command::Completions(command) => command.run(),
        Command::Man => shell::man(),
    }
}
