//! The program: turns the outcome of a command into an exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    stowheat::cli::run(std::env::args_os())
}
