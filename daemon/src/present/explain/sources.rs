//! What heat pumps, boiler and collectors do in a slot, and what their heat is worth.

use optimiser::schedule::{Job, SlotPlan};
use optimiser::site::{Sink, Source};
use optimiser::units::Price;

use super::{best_later, price_now};
use crate::present::digits::text;
use crate::present::{Plan, jobs, local, reasons};

/// What the sources of the plant room do now, and what their heat is worth; nothing
/// without any.
pub(super) fn now(plan: &Plan<'_>) -> Option<String> {
    if plan.problem.site.plant_room.is_empty() {
        return None;
    }
    let slot = &plan.slots()[0];
    let mut lines: Vec<String> =
        slot.jobs.iter().filter(|job| jobs::runs(job)).map(|job| told(plan, slot, job)).collect();
    if lines.is_empty() {
        lines.push("Heat pumps, boiler and collectors rest.".to_owned());
    }
    lines.extend(jobs::warmth(slot).map(|warmth| format!("  then        {warmth}")));
    for sink in [Sink::Buffer, Sink::Rooms, Sink::Pool] {
        if let Some(value) = worth(plan, slot, sink) {
            let (name, worth) = (plan.house.sink_name(sink), plan.currency().rate(value));
            lines.push(format!("  heat        one more kWh in the {name} is worth {worth}"));
        }
    }
    lines.extend(
        jobs::models(plan).iter().map(|(of, name)| format!("  model       {of} after {name}")),
    );
    lines.push(String::new());
    Some(lines.join("\n"))
}

/// A source in a slot.
pub(super) fn one(plan: &Plan<'_>, index: usize, source: Source) -> String {
    let slot = &plan.slots()[index];
    let (zone, start) = (plan.zone(), slot.slot.start());
    let running = running(slot, source);
    let mut lines = vec![format!(
        "{} · {} {} to {} · {}",
        plan.house.source_name(source),
        local::short_day(zone, start),
        local::clear_clock(zone, start),
        local::clear_clock(zone, slot.slot.end()),
        if running.is_empty() { "rests" } else { "runs" }
    )];
    lines.extend(running.iter().map(|job| told(plan, slot, job)));
    let mut facts =
        vec![("price now", price_now(plan, slot)), ("best later", best_later(plan, index))];
    let routes = plan.problem.site.plant_room.routes();
    for route in routes.into_iter().filter(|route| route.source == source) {
        let name = plan.house.sink_name(route.sink);
        if let Some(value) = worth(plan, slot, route.sink) {
            let worth = plan.currency().rate(value);
            facts.push(("heat", format!("one more kWh in {name} is worth {worth}")));
        }
    }
    for job in &running {
        if let Some(cop) = jobs::Sum::of([*job]).cop() {
            let price = Price::clamped(plan.price_at_house(slot).per_kwh() / cop);
            let (cost, sink) = (plan.currency().rate(price), plan.house.sink_name(job.route.sink));
            facts.push(("cost", format!("a kWh of its heat for {sink} costs {cost} here")));
        }
    }
    if running.is_empty() {
        let mut later = plan.slots()[index + 1..].iter();
        let later = later.find(|slot| !self::running(slot, source).is_empty());
        facts.push((
            "next run",
            match later {
                Some(next) => local::when(zone, next.slot.start(), start),
                None => "none within this plan".to_owned(),
            },
        ));
    }
    lines.extend(facts.into_iter().map(|(name, text)| format!("  {name:<13}{text}")));
    lines.push(String::new());
    lines.join("\n")
}

/// Jobs of a source in a slot.
fn running(slot: &SlotPlan, source: Source) -> Vec<&Job> {
    slot.jobs.iter().filter(|job| job.route.source == source && jobs::runs(job)).collect()
}

fn told(plan: &Plan<'_>, slot: &SlotPlan, job: &Job) -> String {
    format!(
        "{} · {} in {} min from {} min on: {}",
        jobs::arrow(plan, job.route),
        jobs::amount(job.route, &jobs::Sum::of([job])),
        text(job.minutes, 0),
        text(job.delay_minutes, 0),
        reasons::short(plan, job.why, slot.slot.start())
    )
}

/// Worth of a kWh of heat in a sink at the end of a slot, where it is known.
fn worth(plan: &Plan<'_>, slot: &SlotPlan, sink: Sink) -> Option<Price> {
    let room = &slot.plant_room;
    match sink {
        Sink::Coil { store, .. } => plan.has_values().then(|| slot.stores[store].value),
        Sink::Buffer => room.buffer_value,
        Sink::Rooms => room.rooms_value,
        Sink::Pool => room.pool_value,
    }
}
