//! Below the numbers of a row: what the heaters do and why, and what the
//! stores hold afterwards.

use optimiser::problem::HeaterId;
use optimiser::schedule::Reason;

use super::{Run, wrapped};
use crate::present::digits::text;
use crate::present::totals::Sources;
use crate::present::{jobs, reasons, some};

const INDENT: usize = 3;

/// Writes the remarks of a run.
pub(super) fn put(run: &Run<'_>, out: &mut String) {
    let ids: Vec<HeaterId> = run.plan.problem.heaters().collect();
    let on: Vec<String> =
        (0..).zip(&ids).filter_map(|(number, &id)| heating(run, number, id)).collect();
    let on: Vec<String> = on.into_iter().chain(serving(run)).collect();
    for remark in
        on.iter().map(|text| format!("● {text}")).chain(on.is_empty().then(|| waiting(run, &ids)))
    {
        line(&remark, out);
    }
    let stores = &run.plan.problem.site.stores;
    let pad = stores.iter().map(|store| store.name.chars().count()).max().unwrap_or(0);
    for (index, (store, state)) in stores.iter().zip(&run.last().stores).enumerate() {
        let showers = match run.plan.showers(index, state.usable_litres) {
            1 => "1 shower".to_owned(),
            count => format!("{count} showers"),
        };
        let cold: f64 = run.slots.iter().map(|slot| slot.stores[index].unmet_kwh).sum();
        let cold = if cold >= 0.005 {
            format!(", {} kWh ARRIVES COLD", text(cold, 2))
        } else {
            String::new()
        };
        line(
            &format!(
                "  {:<pad$}  top {} °C, {} L usable, {showers} left{cold}",
                store.name,
                text(state.top.celsius(), 0),
                text(state.usable_litres, 0),
            ),
            out,
        );
    }
    if let Some(warmth) = jobs::warmth(run.last()) {
        line(&format!("  {warmth}"), out);
    }
}

/// `ground → cylinder: 6.20 kWh of heat, COP 3.4 in 45 min from grid: cheapest before
/// 06:30`, for each route.
fn serving(run: &Run<'_>) -> Vec<String> {
    let routes = jobs::routes(run.plan, run.slots);
    let told = routes.into_iter().filter_map(|route| {
        let first = jobs::on_route(run.slots, route).find(|job| jobs::runs(job))?;
        let sum = jobs::Sum::of(jobs::on_route(run.slots, route));
        let from = from(sum.electricity);
        let from = if from.is_empty() { from } else { format!(" from {from}") };
        Some(format!(
            "{}: {} in {}{from}: {}",
            jobs::arrow(run.plan, route),
            jobs::amount(route, &sum),
            length(sum.minutes),
            reasons::short(run.plan, first.why, run.start())
        ))
    });
    told.collect()
}

/// `PV`, or `PV 1.20 + grid 0.30` where it is more than one.
fn from(sources: Sources) -> String {
    let parts: Vec<(&str, f64)> =
        sources.named().into_iter().filter(|(_, kwh)| *kwh >= 0.005).collect();
    match parts.as_slice() {
        [(name, _)] => (*name).to_owned(),
        parts => {
            let list: Vec<String> =
                parts.iter().map(|(name, kwh)| format!("{name} {}", text(*kwh, 2))).collect();
            list.join(" + ")
        }
    }
}

fn line(remark: &str, out: &mut String) {
    let text = format!("{:INDENT$}{remark}", "");
    out.push_str(&wrapped(&text, INDENT + 2));
    out.push('\n');
}

/// `lower: 1.50 kWh in 30 min, from PV 1.20 and grid 0.30: cheapest before 18:00`.
fn heating(run: &Run<'_>, number: usize, id: HeaterId) -> Option<String> {
    let first = run.heater(number).next().filter(|heater| some(heater.energy))?;
    let sources = Sources::of(run.heater(number));
    let minutes = run.heater(number).map(|heater| heater.minutes).sum();
    let from = from(sources);
    Some(format!(
        "{} {} kWh in {} from {from}: {}",
        run.plan.short_name(id),
        text(sources.total(), 2),
        length(minutes),
        reasons::short(run.plan, first.why, run.start())
    ))
}

/// Why no heater is on: what the heaters wait for at the end of the run, or
/// else that they are full, or else that nothing is needed.
fn waiting(run: &Run<'_>, ids: &[HeaterId]) -> String {
    let heaters = &run.last().heaters;
    let mut told: Vec<(Reason, Vec<String>)> = Vec::new();
    let waits = heaters.iter().any(|heater| matches!(heater.why, Reason::CheaperAt(_)));
    for (heater, &id) in heaters.iter().zip(ids) {
        if waits && !matches!(heater.why, Reason::CheaperAt(_)) {
            continue;
        }
        let name = run.plan.short_name(id);
        match told.iter_mut().find(|(why, _)| *why == heater.why) {
            Some((_, names)) => names.push(name),
            None => told.push((heater.why, vec![name])),
        }
    }
    let words = |why| reasons::short(run.plan, why, run.start());
    let list: Vec<String> = match told.as_slice() {
        [(why, names)] if names.len() == ids.len() => vec![words(*why)],
        told => told
            .iter()
            .map(|(why, names)| format!("{} {}", names.join(", "), words(*why)))
            .collect(),
    };
    format!("○ heating off: {}", list.join("; "))
}

/// `45 min` or `2 h 30 min`.
pub(super) fn length(minutes: f64) -> String {
    let minutes = minutes.round() as u32;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes:02} min"),
    }
}
