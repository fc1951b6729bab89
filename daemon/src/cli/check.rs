//! `stowheat check`.

use crate::site_file;

use super::arguments::Check;
use super::{Failure, Problem, colour, files, print, say};

pub(super) fn run(arguments: &Check) -> Result<(), Problem> {
    let (name, text) = files::site_text(&arguments.site)?;
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    for warning in &checked.warnings {
        say(&warning.rendered(colour()));
    }
    print(&site_file::summary(&checked));
    Ok(())
}
