//! The command line: data on standard output, messages on standard error.

mod arguments;
mod check;
mod files;
mod health;
mod pages;
mod plan;
mod replay;
mod run;
mod schema;
mod secrets;
mod size;

use std::ffi::OsString;
use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use clap::Parser;

use arguments::{Arguments, Command};

/// How a command failed; the numbers are the exit codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Failure {
    /// Something else went wrong.
    Failed = 1,
    /// The command line is wrong.
    Usage = 64,
    /// A data file is wrong.
    Data = 65,
    /// The site file is wrong.
    Site = 78,
}

/// Why a command failed, in words.
#[derive(Debug)]
struct Problem {
    failure: Failure,
    text: String,
}

impl Problem {
    fn new(failure: Failure, text: impl std::fmt::Display) -> Self {
        Self { failure, text: text.to_string() }
    }
}

/// Runs the command that the arguments name.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => return usage(&error),
    };
    let outcome = match arguments.command {
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Replay(arguments) => replay::run(&arguments),
        Command::Run(arguments) => run::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Size(arguments) => size::run(&arguments),
        Command::Schema(arguments) => schema::run(&arguments),
        Command::Health(arguments) => health::health(&arguments),
        Command::Completions(arguments) => pages::completions(&arguments),
        Command::Manual(arguments) => pages::manual(&arguments),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            say(problem.text.trim_end());
            ExitCode::from(problem.failure as u8)
        }
    }
}

/// Help and version are data; anything else is a wrong command line.
fn usage(error: &clap::Error) -> ExitCode {
    let text = error.render();
    if error.use_stderr() {
        say(text.to_string().trim_end());
        ExitCode::from(Failure::Usage as u8)
    } else {
        print(&text.to_string());
        ExitCode::SUCCESS
    }
}

/// Writes data to standard output. A reader that has gone away is no fault.
fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes a message to standard error.
fn say(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = writeln!(err, "{text}");
}

/// Whether messages may be coloured.
fn colour() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}
