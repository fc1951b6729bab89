//! `stowheat plan`.

use optimiser::plan::{Outcome, Planner};
use optimiser::rule::rule_plan;
use optimiser::schedule::Schedule;
use optimiser::time::Instant;

use crate::assemble::{Assembled, Known, Origin, assemble};
use crate::house::House;
use crate::local_time;
use crate::present::explain::{self, Target};
use crate::present::{Plan, chart, document, table};
use crate::site_file;

use super::{Failure, Problem, arguments, colour, files, print, say};

/// The demo house is planned from this instant, the first that its prices cover.
const DEMO_AT: &str = "2026-04-17T06:00:00+01:00";

pub(super) fn run(arguments: &arguments::Plan) -> Result<(), Problem> {
    let (name, text) = match &arguments.site {
        Some(path) => files::site_text(path)?,
        None => ("the demo house".to_owned(), files::DEMO_SITE.to_owned()),
    };
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    let demo = arguments.site.is_none() && arguments.inputs.prices.is_none();
    let at = instant(arguments.at.as_deref().or(demo.then_some(DEMO_AT)))?;
    let house = checked.house.in_season(at);
    let known = if demo {
        files::demo(&arguments.inputs, &house)?
    } else {
        files::known(&arguments.inputs, &house)?
    };
    show(arguments, &house, &known, at)
}

fn instant(text: Option<&str>) -> Result<Instant, Problem> {
    let Some(text) = text else {
        return Ok(Instant::from_unix(chrono::Utc::now().timestamp()));
    };
    local_time::parse_instant(text).map_err(|error| {
        Problem::new(Failure::Usage, format!("--at {text}: {}; {}", error.rule(), error.remedy()))
    })
}

fn show(
    arguments: &arguments::Plan,
    house: &House,
    known: &Known,
    at: Instant,
) -> Result<(), Problem> {
    let Assembled { problem, price_origins, notes } =
        assemble(house, known, at).map_err(|error| Problem::new(Failure::Data, error))?;
    for note in &notes {
        say(&format!("note: {note}"));
    }
    let schedule = schedule(&problem)?;
    let horizon = problem.horizon.slots();
    let first_forecast = price_origins.iter().position(|origin| *origin == Origin::Forecast);
    let plan = Plan {
        house,
        problem: &problem,
        schedule: &schedule,
        issued_at: at,
        valid_until: problem.horizon.end(),
        published_until: first_forecast.map_or(problem.horizon.end(), |slot| horizon[slot].start()),
    };
    if let Some(path) = &arguments.chart {
        std::fs::write(path, chart::render(&plan)).map_err(|error| {
            Problem::new(Failure::Failed, format!("{}: cannot be written: {error}", path.display()))
        })?;
        say(&format!("chart written to {}", path.display()));
    }
    match arguments.explain.as_deref() {
        None if arguments.json => print(&document::Document::new(&plan).to_json()),
        None => print(&table::render(&plan)),
        Some("") => print(&explain::overview(&plan)),
        Some(target) => {
            let target = Target::parse(&plan, target)
                .map_err(|error| Problem::new(Failure::Usage, format!("--explain {error}")))?;
            print(&explain::one(&plan, target));
        }
    }
    Ok(())
}

/// The best schedule there is: by the program, or by rule.
fn schedule(problem: &optimiser::Problem) -> Result<Schedule, Problem> {
    let why = match Planner::default().plan(problem) {
        Outcome::Planned(planned) => return Ok(planned.schedule),
        Outcome::Infeasible(missing) => {
            let missing: Vec<String> = missing
                .iter()
                .map(|m| format!("{:.2} kWh from {}", m.kwh, m.slot.start()))
                .collect();
            format!("the limits leave load unserved: {}", missing.join(", "))
        }
        Outcome::Refused(violations) => {
            let broken: Vec<String> = violations.iter().take(5).map(ToString::to_string).collect();
            format!("the answer was refused by the check: {}", broken.join("; "))
        }
        Outcome::Failed(why) => format!("there is no answer: {why}"),
    };
    say(&format!("planned by rule, because {why}"));
    rule_plan(problem).map_err(|violations| {
        let broken: Vec<String> = violations.iter().take(5).map(ToString::to_string).collect();
        Problem::new(Failure::Failed, format!("no plan is possible: {}", broken.join("; ")))
    })
}
