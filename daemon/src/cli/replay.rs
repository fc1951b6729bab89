//! `stowheat replay`.

use std::io::{IsTerminal, Write};

use chrono::NaiveDate;
use optimiser::replay::Settings;

use crate::assemble::{PeriodError, period};
use crate::replay::{Progress, day, document, replay, table};
use crate::report;
use crate::site_file;
use crate::size::{Case, sha256};

use super::arguments::Replay;
use super::{Failure, Problem, colour, files, print, say};

pub(super) fn run(arguments: &Replay) -> Result<(), Problem> {
    let (name, text) = files::site_text(&arguments.site)?;
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    let house = checked.house;
    let known = files::known(&arguments.inputs, &house)?;
    let days = (date(arguments.from.as_deref())?, date(arguments.to.as_deref())?);
    let period = period(&house, &known, arguments.draws_column.as_deref(), days)
        .map_err(|error| Problem::new(failure(&error), error))?;
    let mut bar = Bar::new();
    let replayed =
        replay(&house, &period, Settings::rolling(), !arguments.no_bound, &mut |progress| {
            bar.show(progress);
        })
        .map_err(|error| Problem::new(Failure::Data, error))?;
    bar.clear();
    say(&format!(
        "planned {} times in {:.1} s",
        replayed.stage.horizon().len(),
        replayed.planning_seconds
    ));
    if let Some(path) = &arguments.report {
        let mut sources = vec![files::source("site", &arguments.site, text.as_bytes())];
        sources.extend(files::sources(&arguments.inputs)?);
        let hashes: Vec<&str> = sources.iter().map(|source| source.sha256.as_str()).collect();
        let input = sha256(hashes.join(" ").as_bytes());
        let case = Case::of(&house, &[(&replayed, 1.0)], input);
        files::write(path, &report::of_replay(&house, &case, &sources))?;
    }
    if arguments.json {
        print(&document::Document::new(&replayed).to_json());
    } else if let Some(date) = date(arguments.day.as_deref())? {
        let text = day::render(&replayed, date).ok_or_else(|| {
            Problem::new(
                Failure::Usage,
                format!("--day {date} is not in the period that is replayed"),
            )
        })?;
        print(&text);
    } else {
        print(&table::render(&replayed));
    }
    Ok(())
}

fn failure(error: &PeriodError) -> Failure {
    match error {
        PeriodError::NoDays { .. } | PeriodError::OpenPeriod => Failure::Usage,
        _ => Failure::Data,
    }
}

fn date(text: Option<&str>) -> Result<Option<NaiveDate>, Problem> {
    let parse = |text: &str| {
        text.parse::<NaiveDate>().map_err(|_| {
            Problem::new(Failure::Usage, format!("{text} is not a day; write it as 2023-07-02"))
        })
    };
    text.map(parse).transpose()
}

/// A progress bar on standard error, if that is a terminal.
struct Bar {
    shown: bool,
    last: Option<usize>,
}

impl Bar {
    const WIDTH: usize = 40;

    fn new() -> Self {
        Self { shown: std::io::stderr().is_terminal(), last: None }
    }

    fn show(&mut self, progress: Progress) {
        if !self.shown {
            return;
        }
        match progress {
            Progress::Slots(done, all) => {
                let permille = 1_000 * done / all.max(1);
                if self.last.replace(permille) != Some(permille) {
                    let filled = Self::WIDTH * done / all.max(1);
                    let bar = format!("{:─<1$}", "━".repeat(filled), Self::WIDTH);
                    put(&format!("{bar} {:.1} % planned", permille as f64 / 10.0));
                }
            }
            Progress::Tuning(kind) => put(&format!("tuning the rule {}", kind.name())),
            Progress::Bound => put("solving for the bound"),
        }
    }

    fn clear(&self) {
        if self.shown {
            put("");
        }
    }
}

/// Rewrites the line of the bar.
fn put(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = write!(err, "\r\u{1b}[2K{text}").and_then(|()| err.flush());
}
