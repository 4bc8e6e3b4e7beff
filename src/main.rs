//! The `gritwise` program: arguments in, a report out, an exit status (0 done, 1 the answer is no, 2 the input or the call
//! is wrong).

use std::process::ExitCode;

fn main() -> ExitCode {
    gritwise::cli::run()
}
