//! What packages install beside the program: completions and manual pages, both made
//! from the command line itself, so that they cannot differ from it.

use clap::CommandFactory;

use super::arguments::{Arguments, Completions, Manual};
use super::{Failure, Problem, print};

pub(super) fn completions(arguments: &Completions) -> Result<(), Problem> {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "stowheat", &mut text);
    show(text)
}

pub(super) fn manual(arguments: &Manual) -> Result<(), Problem> {
    let mut command = Arguments::command();
    command.build();
    let page = match &arguments.command {
        None => command,
        Some(name) => {
            // Built, its name is `stowheat-NAME`, as pages of commands are called.
            command.find_subcommand(name).cloned().ok_or_else(|| {
                let text = format!("there is no command `{name}`; see `stowheat --help`");
                Problem::new(Failure::Usage, text)
            })?
        }
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page)
        .render(&mut text)
        .map_err(|error| Problem::new(Failure::Failed, error))?;
    show(text)
}

fn show(text: Vec<u8>) -> Result<(), Problem> {
    let text = String::from_utf8(text).map_err(|error| Problem::new(Failure::Failed, error))?;
    print(&text);
    Ok(())
}
