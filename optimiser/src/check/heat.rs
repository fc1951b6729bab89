//! The heat side: elements, sources, and the ladder's own balances.

use crate::problem::Problem;
use crate::schedule::{HeaterPlan, Schedule, SlotPlan};
use crate::site::{Control, HARD_CEILING, Sink};
use crate::solution::Solution;
use crate::time::Slot;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::{Report, TOLERANCE_KWH};

/// A thermostat may cut an element off this far below the hottest it reaches [K].
const NEAR_K: f64 = 10.0;

/// Rounding of litres that is no fault [L].
const TOLERANCE_LITRES: f64 = 1e-3;

pub(super) fn check_heaters(problem: &Problem, schedule: &Schedule, report: &mut Report) {
    for plan in &schedule.slots {
        if !plan.heaters.iter().map(|h| h.id).eq(problem.heaters()) {
            report.add(Some(plan.slot), "schedule", "it names every heater once", 1.0);
            continue;
        }
        for heater in &plan.heaters {
            check_heater(problem, plan.slot, heater, report);
            check_hand(problem, plan, heater, report);
        }
        for (store, state) in problem.site.stores.iter().zip(&plan.stores) {
            let over = state.top.above(store.ceiling).max(state.top.above(HARD_CEILING));
            let start_over =
                problem.state.stores.iter().flatten().any(|t| t.above(store.ceiling) > 0.0);
            if !start_over {
                report.within(plan.slot, &store.name, "it stays below its ceiling", over, 0.1);
            }
        }
    }
}

fn check_heater(problem: &Problem, slot: Slot, heater: &HeaterPlan, report: &mut Report) {
    let element = &problem.site.stores[heater.id.store].elements[heater.id.element];
    let name = element.name.as_str();
    let length = slot.seconds() as f64 / 60.0;
    let (kw, energy) = (heater.power.kw(), heater.energy.kwh());
    report.within(slot, name, "its power is within its rating", kw - element.power.kw(), 1e-6);
    report.within(
        slot,
        name,
        "its run fits the slot",
        heater.delay_minutes + heater.minutes - length,
        1e-3,
    );
    report.equal(slot, name, "energy is power times time", energy, kw * heater.minutes / 60.0);
    let parts = heater.pv.kwh() + heater.battery.kwh() + heater.grid.kwh();
    report.equal(slot, name, "its sources add up to its energy", parts, energy);
    let allowed = match &element.control {
        Control::Modulating => true,
        Control::OnOff => (kw - element.power.kw()).abs() < 1e-6,
        Control::Staged(powers) => powers.iter().any(|p| (kw - p.kw()).abs() < 1e-6),
    };
    if energy > TOLERANCE_KWH && !allowed {
        report.add(Some(slot), name, "it runs at a power it has", kw);
    }
}

/// What is off by hand is off, and what is on by hand is on unless the water is
/// nearly as hot as it may be or the meter has no room.
fn check_hand(problem: &Problem, plan: &SlotPlan, heater: &HeaterPlan, report: &mut Report) {
    let store = &problem.site.stores[heater.id.store];
    let element = &store.elements[heater.id.element];
    let held = |on: bool| -> f64 {
        let spans = problem.by_hand.iter().filter(|hand| hand.heater == heater.id && hand.on == on);
        spans.map(|hand| hand.seconds_in(plan.slot)).sum::<i64>() as f64 / 3_600.0
    };
    let kw = element.power.kw();
    let over = heater.energy.kwh() - kw * (plan.slot.hours() - held(false)).max(0.0);
    report.within(plan.slot, &element.name, "it is off by hand", over, TOLERANCE_KWH);
    let short = kw * held(true) - heater.energy.kwh();
    let hot = plan.stores[heater.id.store].top.celsius() > store.highest_reach().celsius() - NEAR_K;
    let room = problem.site.grid.import_limit.kw() - plan.import.kwh() / plan.slot.hours();
    if !hot && room > kw {
        report.within(plan.slot, &element.name, "it is on by hand", short, TOLERANCE_KWH);
    }
}

pub(super) fn check_ladder(
    problem: &Problem,
    schedule: &Schedule,
    solution: &Solution,
    report: &mut Report,
) {
    for (index, store) in problem.site.stores.iter().enumerate() {
        let (rungs, zones) = (&solution.rungs[index], &solution.zones[index]);
        let mut held = start_heat(problem, index, rungs);
        for (plan, flows) in schedule.slots.iter().zip(&solution.slots) {
            let litres = &flows.stores[index].litres;
            for (zone, volume) in litres.iter().zip(zones) {
                let above = zone.first().copied().unwrap_or(0.0) - volume;
                report.within(
                    plan.slot,
                    &store.name,
                    "no zone holds more than its volume",
                    above,
                    TOLERANCE_LITRES,
                );
                let disorder = zone.windows(2).map(|p| p[1] - p[0]).fold(0.0, f64::max);
                report.within(
                    plan.slot,
                    &store.name,
                    "warmer water is part of warm water",
                    disorder,
                    TOLERANCE_LITRES,
                );
            }
            let heat: f64 =
                plan.heaters.iter().filter(|h| h.id.store == index).map(|h| h.energy.kwh()).sum();
            let coils = plan
                .jobs
                .iter()
                .filter(|job| matches!(job.route.sink, Sink::Coil { store, .. } if store == index));
            let heat = heat + coils.map(|job| job.heat.kwh()).sum::<f64>();
            let delivered = asked(problem, index, plan.slot) - flows.stores[index].unmet;
            let now = ladder_heat(rungs, litres);
            let lost = held + heat - delivered - now;
            report.within(
                plan.slot,
                &store.name,
                "no heat comes from nothing",
                -lost,
                TOLERANCE_KWH,
            );
            let hottest = rungs.last().copied().unwrap_or(0.0).max(store.surroundings.celsius());
            let most = store.heat_loss.watts_per_kelvin()
                * (hottest - store.surroundings.celsius())
                * plan.slot.hours()
                / 1_000.0;
            let most = most + most_circulated(problem, index, hottest, plan.slot);
            report.within(
                plan.slot,
                &store.name,
                "it loses no more than it can stand and circulate",
                lost - most,
                TOLERANCE_KWH,
            );
            held = now;
        }
    }
}

/// The most that the pipe of a return loop takes from its store in a slot [kWh].
fn most_circulated(problem: &Problem, store: usize, hottest: f64, slot: Slot) -> f64 {
    let Some(pipe) = problem.site.stores[store].return_loop else { return 0.0 };
    let runs = problem.ambient.loop_runs.iter().filter(|run| run.store == store);
    let on = runs.filter_map(|run| Slot::new(run.start, run.start + run.seconds));
    let on: Vec<i64> = on.map(|on| on.overlap_seconds(slot)).filter(|s| *s > 0).collect();
    let hours = on.iter().sum::<i64>() as f64 / 3_600.0;
    let warmer = (hottest - pipe.surroundings.celsius()).max(0.0);
    let content = pipe.content.litres() * KWH_PER_LITRE_KELVIN * on.len() as f64;
    (pipe.heat_loss() * hours / 1_000.0 + content) * warmer
}

fn start_heat(problem: &Problem, store: usize, rungs: &[f64]) -> f64 {
    let profile = &problem.state.stores[store];
    let highest = rungs.last().copied().unwrap_or(0.0);
    let layer = problem.site.stores[store].volume.litres() / profile.len() as f64;
    let kelvin = |t: &crate::units::Temperature| t.celsius().clamp(rungs[0], highest) - rungs[0];
    profile.iter().map(|t| layer * kelvin(t) * KWH_PER_LITRE_KELVIN).sum()
}

fn ladder_heat(rungs: &[f64], litres: &[Vec<f64>]) -> f64 {
    let mut heat = 0.0;
    for zone in litres {
        for (k, volume) in zone.iter().enumerate() {
            heat += volume * (rungs[k + 1] - rungs[k]) * KWH_PER_LITRE_KELVIN;
        }
    }
    heat
}

/// Heat asked of a store in a slot; a draw counts by the share of its time.
fn asked(problem: &Problem, store: usize, slot: Slot) -> f64 {
    let mains = problem.site.stores[store].mains;
    problem
        .draws
        .iter()
        .filter(|draw| draw.store == store)
        .map(|draw| {
            let (start, end) = (
                draw.start.unix().max(slot.start().unix()),
                draw.end().unix().min(slot.end().unix()),
            );
            let length = (draw.end().unix() - draw.start.unix()).max(1);
            draw.heat_kwh(mains) * (end - start).max(0) as f64 / length as f64
        })
        .sum()
}
