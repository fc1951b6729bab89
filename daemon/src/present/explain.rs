//! Why a heater or a source is on or off in a slot: the prices, what the heat is
//! worth, who waits for it, what limits it and what would change the decision.

use optimiser::problem::HeaterId;
use optimiser::schedule::{Evidence, HeaterPlan, Reason, SlotPlan};
use optimiser::time::Instant;
use optimiser::units::Price;

use super::digits::text;
use super::totals::Sources;
use super::{Plan, local, reasons, some};

mod limits;
mod sources;
mod target;

pub use target::{Subject, Target, TargetError};

/// Difference of two prices that is taken for none [minor/kWh].
const EDGE: f64 = 0.05;

/// Decisions told besides the current slot.
const DECISIONS: usize = 3;

/// One slot and what is asked about it, explained.
pub fn one(plan: &Plan<'_>, target: Target) -> String {
    match target.of {
        Subject::Heater(heater) => of_heater(plan, target.slot, heater),
        Subject::Source(source) => sources::one(plan, target.slot, source),
    }
}

fn of_heater(plan: &Plan<'_>, index: usize, heater: usize) -> String {
    let slot = &plan.slots()[index];
    let heater = &slot.heaters[heater];
    let mut lines = vec![title(plan, slot, heater), reasons::full(plan, slot, heater)];
    for (name, text) in facts(plan, index, heater) {
        lines.push(format!("  {name:<13}{text}"));
    }
    lines.push(String::new());
    lines.join("\n")
}

/// The current slot for every heater, then the most valuable decisions.
pub fn overview(plan: &Plan<'_>) -> String {
    let mut parts = vec!["Now\n".to_owned()];
    let heaters = plan.problem.heaters().count();
    parts.extend((0..heaters).map(|heater| of_heater(plan, 0, heater)));
    parts.extend(sources::now(plan));
    let decisions = decisions(plan);
    if !decisions.is_empty() {
        let what = if plan.has_values() { "worth most" } else { "that use most" };
        parts.push(format!("Decisions {what}\n"));
        parts.extend(decisions.into_iter().map(|decision| told(plan, &decision)));
    }
    parts.join("\n")
}

/// Consecutive slots in which a heater is on for one reason.
struct Decision {
    heater: usize,
    first: usize,
    last: usize,
    /// Heat gained at its worth less the price of its electricity [minor].
    gain: f64,
    energy: f64,
}

fn decisions(plan: &Plan<'_>) -> Vec<Decision> {
    let mut all: Vec<Decision> = Vec::new();
    for (heater, _) in plan.problem.heaters().enumerate() {
        for (index, slot) in plan.slots().iter().enumerate() {
            let now = &slot.heaters[heater];
            if !some(now.energy) {
                continue;
            }
            let gain = heat_value(plan, slot, now.id).map_or(0.0, |value| {
                now.energy.kwh() * (value.per_kwh() - plan.price_at_house(slot).per_kwh())
            });
            match all.last_mut() {
                Some(before)
                    if before.heater == heater
                        && before.last + 1 == index
                        && plan.slots()[before.last].heaters[heater].why == now.why =>
                {
                    before.last = index;
                    before.gain += gain;
                    before.energy += now.energy.kwh();
                }
                _ => all.push(Decision {
                    heater,
                    first: index,
                    last: index,
                    gain,
                    energy: now.energy.kwh(),
                }),
            }
        }
    }
    all.sort_by(|a, b| b.gain.total_cmp(&a.gain).then(b.energy.total_cmp(&a.energy)));
    all.truncate(DECISIONS);
    all
}

fn told(plan: &Plan<'_>, decision: &Decision) -> String {
    let slots = &plan.slots()[decision.first..=decision.last];
    let first = &slots[0].heaters[decision.heater];
    let zone = plan.zone();
    let start = slots[0].slot.start();
    let end = slots[slots.len() - 1].slot.end();
    let sources = Sources::of(slots.iter().map(|slot| &slot.heaters[decision.heater]));
    let gain = if plan.has_values() {
        format!(", {} better than not", plan.currency().small(decision.gain))
    } else {
        String::new()
    };
    format!(
        "{} · {} {} to {} · {}{gain}\n{}\n",
        plan.full_name(first.id),
        local::short_day(zone, start),
        local::clear_clock(zone, start),
        local::when(zone, end, start),
        energy(sources),
        reasons::full(plan, &slots[0], first)
    )
}

fn title(plan: &Plan<'_>, slot: &SlotPlan, heater: &HeaterPlan) -> String {
    let zone = plan.zone();
    let (start, end) = (slot.slot.start(), slot.slot.end());
    let does = if some(heater.energy) {
        let minutes = text(heater.minutes, 0);
        let delay = if heater.delay_minutes >= 0.5 {
            format!(" after {} min", text(heater.delay_minutes, 0))
        } else {
            String::new()
        };
        format!("on for {minutes} min{delay}, {}", energy(Sources::of([heater])))
    } else {
        "off".to_owned()
    };
    format!(
        "{} · {} {} to {} · {does}",
        plan.full_name(heater.id),
        local::short_day(zone, start),
        local::clear_clock(zone, start),
        local::clear_clock(zone, end)
    )
}

fn energy(sources: Sources) -> String {
    let parts = sources.named().into_iter().filter(|(_, kwh)| *kwh >= 0.005);
    let list: Vec<String> = parts.map(|(name, kwh)| format!("{name} {}", text(kwh, 2))).collect();
    format!("{} kWh ({})", text(sources.total(), 2), list.join(", "))
}

fn facts(plan: &Plan<'_>, index: usize, heater: &HeaterPlan) -> Vec<(&'static str, String)> {
    let slot = &plan.slots()[index];
    let money = plan.currency();
    let value = match heat_value(plan, slot, heater.id) {
        Some(value) => {
            format!("one more kWh in {} is worth {}", plan.store(heater.id).name, money.rate(value))
        }
        None => "not known: this is a rule plan, which has no marginal values".to_owned(),
    };
    let is_judged = matches!(plan.schedule.evidence, Evidence::Simulated { .. });
    let limits = limits::of(plan, slot, heater);
    let limit = match limits.as_slice() {
        [] => "none: only the prices decide".to_owned(),
        limits => limits.join("; "),
    };
    vec![
        ("price now", price_now(plan, slot)),
        ("best later", best_later(plan, index)),
        ("heat", value),
        ("wanted by", deadline(plan, slot, heater.id)),
        ("limit", limit),
        ("would change", change(plan, slot, heater, limits.is_empty() && is_judged)),
    ]
}

fn price_now(plan: &Plan<'_>, slot: &SlotPlan) -> String {
    let money = plan.currency();
    let mark = if plan.is_forecast(slot.slot) { " (forecast)" } else { "" };
    format!(
        "import {}{mark}, export {}; one more kWh at the house costs {}",
        money.rate(slot.import_price),
        money.rate(slot.export_price),
        money.rate(plan.price_at_house(slot))
    )
}

/// Worth of a kWh of heat in the heater's store at the end of a slot.
fn heat_value(plan: &Plan<'_>, slot: &SlotPlan, id: HeaterId) -> Option<Price> {
    plan.has_values().then(|| slot.stores[id.store].value)
}

fn best_later(plan: &Plan<'_>, from: usize) -> String {
    let later = plan.slots()[from + 1..].iter();
    let cheapest = later.min_by(|a, b| {
        plan.price_at_house(a).per_kwh().total_cmp(&plan.price_at_house(b).per_kwh())
    });
    match cheapest {
        Some(best) => {
            let start = plan.slots()[from].slot.start();
            let mark = if plan.is_forecast(best.slot) { " (forecast)" } else { "" };
            format!(
                "{}{mark} at {}",
                plan.currency().rate(plan.price_at_house(best)),
                local::when(plan.zone(), best.slot.start(), start)
            )
        }
        None => "this is the last slot".to_owned(),
    }
}

/// The first draw or promise of the heater's store that the slot can serve.
fn deadline(plan: &Plan<'_>, slot: &SlotPlan, id: HeaterId) -> String {
    let start = slot.slot.start();
    let (_, end) = plan.window();
    let draws = plan.problem.draws.iter().filter(|d| d.store == id.store);
    let draws = draws.map(|d| (d.start, d.volume, d.temperature, "draw"));
    let ready = plan.problem.ready.iter().filter(|r| r.store == id.store);
    let ready = ready.map(|r| (r.by, r.volume, r.temperature, "promise"));
    let coming = draws.chain(ready).filter(|(at, ..)| *at >= start && *at < end);
    match coming.min_by_key(|(at, ..)| *at) {
        Some((at, volume, temperature, what)) => format!(
            "{}, {what} of {} L at {} °C",
            local::when(plan.zone(), at, start),
            text(volume.litres(), 0),
            text(temperature.celsius(), 0)
        ),
        None => "nothing more is wanted within this plan".to_owned(),
    }
}

fn change(plan: &Plan<'_>, slot: &SlotPlan, heater: &HeaterPlan, is_free: bool) -> String {
    let when = |at: Instant| local::when(plan.zone(), at, slot.slot.start());
    let on = some(heater.energy);
    let here = plan.price_at_house(slot).per_kwh();
    let by_price = || {
        let Some(value) = heat_value(plan, slot, heater.id) else {
            return "this plan follows a rule: more or less wanted at the named time".to_owned();
        };
        let worth = plan.currency().rate(value);
        let margin = here - value.per_kwh();
        match on {
            true if margin <= EDGE => {
                format!("would switch off if electricity here cost more than {worth}")
            }
            true => format!("less hot water wanted: more heat is worth only {worth} here"),
            false if margin >= -EDGE => {
                format!("would switch on if electricity here cost less than {worth}")
            }
            false if is_free => format!(
                "more heat is worth {worth} to the linear program, but the search on the simulated plant found nothing better with more of it here"
            ),
            false => format!(
                "more heat is worth {worth}, above the price here: a limit keeps it off, not the price"
            ),
        }
    };
    match heater.why {
        Reason::Full => "would stay off at any price until water is drawn or cools".to_owned(),
        Reason::NeededBy(then) => {
            format!("would stay on at any price, unless less is wanted at {}", when(then))
        }
        Reason::Hygiene(due) => {
            format!(
                "would stay on at any price, unless the hold fits elsewhere before {}",
                when(due)
            )
        }
        Reason::ByHand(until) => format!("would follow the plan again from {}", when(until)),
        _ => by_price(),
    }
}

#[cfg(test)]
mod tests;
