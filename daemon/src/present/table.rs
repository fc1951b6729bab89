//! The plan as a table for a terminal of 100 columns.

use std::fmt::Write as _;

use optimiser::schedule::{Cost, Evidence, Origin};

use super::digits::text;
use super::totals::{Flows, Sources};
use super::{Plan, jobs, local};
use columns::Columns;
use runs::Run;

mod columns;
mod remarks;
mod runs;

/// Width of the table [columns].
const WIDTH: usize = 100;

/// What every plan says about its limits.
const CAUTIONS: &str = "\
stowheat is not a safety device. The cylinder's own thermostat and its non-self-resetting cut-out
must stay in place and working. Water at 60 °C, kept against legionella, scalds within seconds: mix
it down at the tap. Unvented cylinders and fixed wiring are for licensed people under local codes.
";

/// The plan as text: header, a row for each run of like slots, sums, cautions.
pub fn render(plan: &Plan<'_>) -> String {
    let mut out = String::new();
    header(plan, &mut out);
    let columns = Columns::of(plan);
    columns.head(&mut out);
    let mut day = None;
    for run in runs::of(plan) {
        let date = local::date(plan.zone(), run.start());
        if day.replace(date) != Some(date) {
            day_line(&local::long_day(plan.zone(), run.start()), &mut out);
        }
        columns.row(&run, &mut out);
        remarks::put(&run, &mut out);
    }
    line('═', &mut out);
    footer(plan, &mut out);
    out.push('\n');
    out.push_str(CAUTIONS);
    for caution in jobs::cautions(plan) {
        put(&mut out, format_args!("{caution}"));
    }
    trimmed(&out)
}

fn header(plan: &Plan<'_>, out: &mut String) {
    let zone = plan.zone();
    let (from, until) = plan.window();
    let time = |instant| {
        format!("{} {}", local::short_day(zone, instant), local::clear_clock(zone, instant))
    };
    put(out, format_args!("{}", plan.house.name));
    out.push('\n');
    let hours = until.hours_since(from);
    put(out, format_args!("Plan      {} to {}, {} h", time(from), time(until), text(hours, 0)));
    put(
        out,
        format_args!("Made      {}, good until {}", time(plan.issued_at), time(plan.valid_until)),
    );
    let status = match plan.schedule.origin {
        Origin::Optimal => "solved to optimality",
        Origin::LimitReached => "the best found within the limit of the search, then checked",
        Origin::Rule => "rule plan, not solved: cheapest allowed slots before each named time",
    };
    put(out, format_args!("Status    {status}"));
    let room = &plan.problem.site.plant_room;
    let no_jobs = plan.slots().iter().all(|slot| slot.jobs.is_empty());
    if plan.schedule.origin == Origin::Rule && !room.is_empty() && no_jobs {
        let text = "elements only; other sources, rooms and pool are left to their own controls";
        put(out, format_args!("{:<10}{text}", ""));
    }
    put(out, format_args!("Evidence  {}", evidence(plan)));
    let forecast = plan.slots().iter().any(|slot| plan.is_forecast(slot.slot));
    let mark = if forecast { "; ~ marks forecast prices" } else { "" };
    put(out, format_args!("Times     local, {}{mark}", zone.name()));
    out.push('\n');
}

fn evidence(plan: &Plan<'_>) -> String {
    match plan.schedule.evidence {
        Evidence::Modelled => "modelled, not simulated".to_owned(),
        // The gain of the polish counts missing comfort and would read as money.
        Evidence::Simulated { rounds: 0, .. } => {
            "run through the simulated plant and polished there".to_owned()
        }
        Evidence::Simulated { rounds, .. } => {
            let rounds =
                if rounds == 1 { "1 round".to_owned() } else { format!("{rounds} rounds") };
            format!("run through the simulated plant, corrected in {rounds}, and polished there")
        }
    }
}

fn footer(plan: &Plan<'_>, out: &mut String) {
    cost(plan, &plan.schedule.cost, out);
    out.push('\n');
    energy(plan, out);
    comfort(plan, out);
}

fn cost(plan: &Plan<'_>, cost: &Cost, out: &mut String) {
    let money = plan.currency();
    let parts = [
        ("import", cost.import),
        ("export income", -cost.export_income),
        ("battery wear", cost.wear),
        ("fuel", cost.fuel),
        ("worth of what is left at the end", -cost.end_value),
    ];
    let shown = parts.into_iter().filter(|(name, minor)| *name == "import" || minor.abs() >= 0.5);
    for (row, (name, minor)) in shown.enumerate() {
        let head = if row == 0 { "Cost" } else { "" };
        put(out, format_args!("{head:<10}{name:<34}{:>12}", money.amount(minor)));
    }
    put(out, format_args!("{:<10}{:<34}{:>12}", "", "total", money.amount(cost.total())));
}

fn energy(plan: &Plan<'_>, out: &mut String) {
    let flows = Flows::of(plan.slots());
    let parts = |named: &[(&str, f64)]| {
        let shown = named.iter().filter(|(_, kwh)| *kwh >= 0.05);
        let list: Vec<String> =
            shown.map(|(name, kwh)| format!("{name} {}", text(*kwh, 1))).collect();
        if list.is_empty() { "none".to_owned() } else { list.join(", ") }
    };
    let from = [("PV", flows.pv), ("battery", flows.discharge), ("grid", flows.import)];
    let to = [
        ("house", flows.house),
        ("heat", flows.heat),
        ("battery", flows.charge),
        ("export", flows.export),
    ];
    put(out, format_args!("Energy    from {}", parts(&from)));
    put(out, format_args!("{:<10}to {} kWh", "", parts(&to)));
    let heat = Sources::of(plan.slots().iter().flat_map(|slot| &slot.heaters));
    let name = if plan.problem.site.plant_room.is_empty() { "Heat" } else { "Elements" };
    put(out, format_args!("{name:<10}{} kWh: {}", text(heat.total(), 1), parts(&heat.named())));
    sources(plan, out);
    if flows.curtailed >= 0.05 {
        put(out, format_args!("Given up  {} kWh of PV", text(flows.curtailed, 1)));
    }
    if flows.swing >= 0.05 {
        let kwh = text(flows.swing, 1);
        put(
            out,
            format_args!("Besides   {kwh} kWh pass the meter both ways while elements switch"),
        );
    }
}

/// What each source gave to each sink, and the models behind it.
fn sources(plan: &Plan<'_>, out: &mut String) {
    for (row, route) in jobs::routes(plan, plan.slots()).into_iter().enumerate() {
        let head = if row == 0 { "Sources" } else { "" };
        let sum = jobs::Sum::of(jobs::on_route(plan.slots(), route));
        let minutes = remarks::length(sum.minutes);
        put(
            out,
            format_args!(
                "{head:<10}{}: {} in {minutes}",
                jobs::arrow(plan, route),
                jobs::amount(route, &sum)
            ),
        );
    }
    for (row, (of, name)) in jobs::models(plan).into_iter().enumerate() {
        let head = if row == 0 { "Models" } else { "" };
        put(out, format_args!("{head:<10}{of} after {name}"));
    }
}

fn comfort(plan: &Plan<'_>, out: &mut String) {
    let schedule = plan.schedule;
    let zone = plan.zone();
    let (from, _) = plan.window();
    if schedule.unmet_kwh >= 0.005 {
        let litres = text(schedule.unmet_litres, 0);
        let kwh = text(schedule.unmet_kwh, 2);
        put(out, format_args!("Comfort   {litres} L would arrive cold ({kwh} kWh):"));
        for slot in plan.slots() {
            for (store, state) in plan.problem.site.stores.iter().zip(&slot.stores) {
                if state.unmet_kwh >= 0.005 {
                    let kwh = text(state.unmet_kwh, 2);
                    let when = local::when(zone, slot.slot.start(), from);
                    put(out, format_args!("{:<10}{} from {when}, {kwh} kWh", "", store.name));
                }
            }
        }
    } else {
        put(out, format_args!("Comfort   every draw is served warm"));
    }
    for line in jobs::comfort(plan) {
        put(out, format_args!("{:<10}{line}", ""));
    }
    if schedule.short_kwh >= 0.005 {
        let kwh = text(schedule.short_kwh, 2);
        put(out, format_args!("{:<10}promised or reserved water is short by up to {kwh} kWh", ""));
    }
    for (due, starts) in plan.problem.hygiene.iter().zip(&schedule.hygiene) {
        let store = &plan.problem.site.stores[due.store].name;
        let by = local::when(zone, due.due, from);
        let to = format!(
            "{:.0} °C for {:.0} min",
            due.temperature.celsius(),
            due.hold_seconds as f64 / 60.0
        );
        let text = match starts {
            Some(start) => format!("holds {to} from {}, due {by}", local::when(zone, *start, from)),
            None => format!("CANNOT hold {to} before it is due at {by}"),
        };
        put(out, format_args!("Hygiene   {store} {text}"));
    }
}

fn put(out: &mut String, line: std::fmt::Arguments<'_>) {
    writeln!(out, "{line}").expect("a string takes everything");
}

fn line(stroke: char, out: &mut String) {
    out.extend(std::iter::repeat_n(stroke, WIDTH));
    out.push('\n');
}

fn day_line(day: &str, out: &mut String) {
    let rest = WIDTH.saturating_sub(day.chars().count() + 4);
    put(out, format_args!("── {day} {}", "─".repeat(rest)));
}

/// Words in lines that fit the table; lines after the first are indented.
fn wrapped(text: &str, indent: usize) -> String {
    let mut lines = String::new();
    let mut width = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if width + length > WIDTH && width > indent {
            lines.truncate(lines.trim_end().len());
            lines.push('\n');
            lines.extend(std::iter::repeat_n(' ', indent));
            width = indent;
        }
        lines.push_str(word);
        lines.push(' ');
        width += length + 1;
    }
    lines
}

/// The text without spaces at the ends of lines.
fn trimmed(text: &str) -> String {
    text.lines().flat_map(|line| [line.trim_end(), "\n"]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::present::{golden, sample};

    #[test]
    fn tables_are_as_they_were() {
        let samples = sample::all();
        for (name, sample) in ["summer", "autumn", "plain"].into_iter().zip(&samples) {
            golden::check(&format!("table-{name}.txt"), &render(&sample.plan()));
        }
    }

    #[test]
    fn no_line_is_too_wide_or_ends_in_a_space() {
        for sample in sample::all() {
            for line in render(&sample.plan()).lines() {
                assert!(line.chars().count() <= WIDTH, "{line}");
                assert_eq!(line, line.trim_end());
            }
        }
    }
}
