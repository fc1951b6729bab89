//! `stowheat size`.

mod keep;
mod progress;
mod work;
mod worlds;

use optimiser::sizing::Shard;

use crate::report;
use crate::site_file::{self, Options};
use crate::size::{Axis, Candidate, Case, Kept, Measured, Study, Wanted, candidates, table};

use super::arguments::Size;
use super::{Failure, Problem, colour, files, print, say};
use keep::Keep;

pub(super) fn run(arguments: &Size) -> Result<(), Problem> {
    let (name, text) = files::site_text(&arguments.site)?;
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    let mut sources = vec![files::source("site", &arguments.site, text.as_bytes())];
    let options = match &arguments.options {
        Some(path) => {
            let bytes = files::bytes(path)?;
            sources.push(files::source("options", path, &bytes));
            let text = String::from_utf8_lossy(&bytes);
            let file = path.display().to_string();
            site_file::options(&text, &file, &checked.house.tariff.currency)
                .map_err(|report| Problem::new(Failure::Data, report.rendered(colour())))?
        }
        None => Options::default(),
    };
    let tried = tried(arguments, &text, &name, &options)?;
    let measured = measured(arguments, &text)?;
    let numbers: Vec<(String, f64)> =
        measured.iter().map(|number| (number.key.clone(), number.measured)).collect();
    let worlds = worlds::read(arguments, &checked.house, &numbers)?;
    let shard = arguments.shard.as_deref().map_or(Ok(Shard::WHOLE), shard)?;
    let keep = Keep::new(&arguments.state, &arguments.site);
    let job = work::Job::new(&tried, &worlds, &keep);
    if !arguments.merge {
        job.run(shard, arguments.threads.map(usize::from))?;
    }
    if let Some(part) = &arguments.shard {
        say(&format!("part {part} is done; join the parts with --merge and the same arguments"));
        return Ok(());
    }
    let (mut cases, margins) = job.kept()?;
    let count = if measured.is_empty() { worlds.len() } else { worlds.len() / 2 };
    let calculated: Vec<Vec<Case>> = cases.iter_mut().map(|row| row.split_off(count)).collect();
    let made = |worlds, cases, margins| {
        let candidates = &tried;
        let (terms, files) = (options.terms, &sources[..]);
        Study::new(&Kept { candidates, worlds, cases, margins, terms, files })
    };
    let mut study = made(&worlds[..count], &cases, &margins[..count]);
    if !measured.is_empty() {
        let other = made(&worlds[count..], &calculated, &margins[count..]);
        study.beside(&other, measured);
    }
    if let Some(path) = &arguments.report {
        let houses: Vec<_> = tried.iter().map(|candidate| &candidate.house).collect();
        files::write(path, &report::of_study(&study, &houses, &cases))?;
    }
    if arguments.json {
        print(&study.to_json());
    } else {
        print(&table::render(&study));
    }
    Ok(())
}

/// Numbers that were measured, and what the file says of each.
fn measured(arguments: &Size, text: &str) -> Result<Vec<Measured>, Problem> {
    let (axes, mut wrong) = axes(&arguments.measured);
    let mut found = Vec::new();
    for (key, measured) in axes.iter().flat_map(|a| a.keys.iter().zip(a.steps.iter().flatten())) {
        let varied = arguments.vary.iter().chain(&arguments.present);
        if varied.clone().any(|axis| axis.split(['=', '+']).any(|word| word.trim() == key)) {
            wrong.push(format!("`{key}` is measured and tried; leave it out of one of them"));
        }
        match site_file::place(text, key) {
            Ok(place) => found.push(Measured {
                key: key.clone(),
                calculated: place.present,
                measured: *measured,
            }),
            Err(problem) => wrong.push(problem),
        }
    }
    if wrong.is_empty() { Ok(found) } else { Err(Problem::new(Failure::Usage, wrong.join("\n"))) }
}

/// The house as it stands and the candidates that the arguments name.
fn tried(
    arguments: &Size,
    text: &str,
    name: &str,
    options: &Options,
) -> Result<Vec<Candidate>, Problem> {
    let (present, wrong_present) = axes(&arguments.present);
    let (vary, wrong_vary) = axes(&arguments.vary);
    let wrong = [wrong_present, wrong_vary].concat();
    let found = candidates(&Wanted {
        text,
        file_name: name,
        present: &present,
        axes: &vary,
        one_at_a_time: arguments.one_at_a_time,
        options,
    });
    let wrong: Vec<String> = wrong.into_iter().chain(found.as_ref().err().cloned()).collect();
    match found {
        Ok(found) if wrong.is_empty() => Ok(found),
        _ => Err(Problem::new(Failure::Usage, wrong.join("\n"))),
    }
}

fn axes(texts: &[String]) -> (Vec<Axis>, Vec<String>) {
    let read: Vec<Result<Axis, String>> = texts.iter().map(|text| text.parse()).collect();
    let wrong = read.iter().filter_map(|axis| axis.as_ref().err().cloned()).collect();
    (read.into_iter().flatten().collect(), wrong)
}

fn shard(text: &str) -> Result<Shard, Problem> {
    let parts = text
        .split_once('/')
        .and_then(|(part, of)| Shard::new(part.trim().parse().ok()?, of.trim().parse().ok()?));
    parts.ok_or_else(|| {
        Problem::new(
            Failure::Usage,
            format!("--shard {text} is no part; write it as 2/8, counted from 1"),
        )
    })
}
