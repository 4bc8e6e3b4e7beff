//! `gritwise completions` and `gritwise man`: generated from the arguments themselves.

use super::{Arguments, YesNo, output};
use anyhow::Result;
use clap::{Args, CommandFactory};
use clap_complete::Shell;

/// Print a completion script for a shell
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  gritwise completions bash > ~/.local/share/bash-completion/completions/gritwise")]
pub(super) struct CompletionsCommand {
    /// The shell
    shell: Shell,
}

impl CompletionsCommand {
    pub(super) fn run(&self) -> Result<YesNo> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut Arguments::command(), "gritwise", &mut script);
        output::print(&String::from_utf8_lossy(&script))?;
        Ok(YesNo::Yes)
    }
}

/// Prints the manual page: the program's and, after it, those of its commands.
pub(super) fn man() -> Result<YesNo> {
    let mut program = Arguments::command();
    program.build();
    let mut page = Vec::new();
    clap_mangen::Man::new(program.clone()).render(&mut page)?;
    for command in program.get_subcommands().filter(|c| c.get_name() != "help") {
        clap_mangen::Man::new(command.clone()).render(&mut page)?;
    }
    output::print(&String::from_utf8_lossy(&page))?;
    Ok(YesNo::Yes)
}
