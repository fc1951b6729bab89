//! Jobs of the plant room: what each source can do, one job at a time, and what
//! buffer, rooms and pool make of it.

use crate::physics::heat_pump::carnot_limit;
use crate::problem::Problem;
use crate::schedule::{Job, Schedule, SlotPlan};
use crate::site::{HeatSource, Sink, Source};
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::{Report, TOLERANCE_KWH};

/// Rounding of minutes that is no fault [min].
const TOLERANCE_MINUTES: f64 = 1e-3;

/// The coldest water that anybody heats [°C]: no heat pump has less to lift to.
const COLDEST: Temperature = Temperature::constant(20.0);

/// More than any unit makes of its rating in mild weather.
const MOST_OF_RATING: f64 = 2.5;

pub(super) fn check(problem: &Problem, schedule: &Schedule, report: &mut Report) {
    let routes = problem.site.plant_room.routes();
    for (index, plan) in schedule.slots.iter().enumerate() {
        for job in &plan.jobs {
            if routes.contains(&job.route) {
                check_job(problem, index, plan, job, report);
            } else {
                report.add(Some(plan.slot), "jobs", "the site has the route of each job", 1.0);
            }
        }
        one_at_a_time(plan, report);
        buffer(problem, schedule, index, report);
    }
}

fn check_job(problem: &Problem, index: usize, plan: &SlotPlan, job: &Job, report: &mut Report) {
    let (slot, room) = (plan.slot, &problem.site.plant_room);
    let place = place(problem, job.route.source);
    let (hours, length) = (job.minutes / 60.0, slot.seconds() as f64 / 60.0);
    let (heat, electricity, fuel) = (job.heat.kwh(), job.electricity.kwh(), job.fuel.kwh());
    let end = job.delay_minutes + job.minutes;
    report.within(slot, place, "its job fits the slot", end - length, TOLERANCE_MINUTES);
    let parts = job.pv.kwh() + job.battery.kwh() + job.grid.kwh();
    report.equal(slot, place, "its sources add up to its electricity", parts, electricity);
    let mut most = |rule, excess: f64| report.within(slot, place, rule, excess, TOLERANCE_KWH);
    match job.route.source {
        Source::HeatPump(pump) => {
            let pump = &room.heat_pumps[pump];
            let series = match pump.source {
                HeatSource::Air => &problem.ambient.outdoor,
                HeatSource::Ground => &problem.ambient.ground,
            };
            let source = series.as_ref().map_or(COLDEST, |series| series[index]);
            let rated = pump.performance.rated_kw();
            most("it makes no more than its capacity", heat - MOST_OF_RATING * rated * hours);
            if source < COLDEST {
                let limit = carnot_limit(source, COLDEST);
                most("it makes no more than thermodynamics allows", heat - limit * electricity);
            }
            most("it burns no fuel", fuel);
        }
        Source::Boiler => {
            let Some(boiler) = &room.boiler else { return };
            most("it makes no more than its output", heat - boiler.power.kw() * hours);
            let burnt = heat / boiler.efficiency.value();
            most("its fuel is what its heat takes", (fuel - burnt).abs());
        }
        Source::Collectors => {
            let Some(own) = &room.collectors else { return };
            let light = problem.ambient.collector_irradiance.as_ref();
            let air = problem.ambient.outdoor.as_ref().map_or(0.0, |s| s[index].celsius());
            let light = light.map_or(0.0, |series| series[index].watts_per_m2());
            // Fluid colder than the air takes heat from it.
            let from_air = own.a1 * (air - COLDEST_MAINS).max(0.0);
            let kw = own.area_m2 * (own.eta0.value() * light + from_air) / 1_000.0;
            most("the sun gives no more", heat - kw * hours);
        }
        Source::Immersion => {
            let kw =
                room.buffer.as_ref().and_then(|b| b.immersion).map_or(0.0, crate::units::Power::kw);
            most("it makes no more than its power", heat - kw * hours);
            most("its heat is its electricity", (heat - electricity).abs());
        }
        Source::Buffer => most("a buffer takes no electricity", electricity + fuel),
    }
}

/// The coldest water that the sun heats [°C].
const COLDEST_MAINS: f64 = 0.0;

fn place(problem: &Problem, source: Source) -> &str {
    match source {
        Source::HeatPump(index) => {
            problem.site.plant_room.heat_pumps.get(index).map_or("heat pump", |p| p.name.as_str())
        }
        Source::Boiler => "boiler",
        Source::Collectors => "collectors",
        Source::Immersion => "immersion element of the buffer",
        Source::Buffer => "buffer",
    }
}

/// Jobs of one source do not overlap; the circuits of a buffer may.
fn one_at_a_time(plan: &SlotPlan, report: &mut Report) {
    for (index, job) in plan.jobs.iter().enumerate() {
        let end = job.delay_minutes + job.minutes;
        let others = plan.jobs[index + 1..].iter();
        for other in others.filter(|other| other.route.source == job.route.source) {
            if job.route.source == Source::Buffer {
                continue;
            }
            let shared = end.min(other.delay_minutes + other.minutes)
                - job.delay_minutes.max(other.delay_minutes);
            report.within(plan.slot, "jobs", "a source does one at a time", shared, 0.01);
        }
    }
}

/// A buffer gives no more than it got and held.
fn buffer(problem: &Problem, schedule: &Schedule, index: usize, report: &mut Report) {
    let Some(buffer) = &problem.site.plant_room.buffer else { return };
    let plan = &schedule.slots[index];
    let before = match index.checked_sub(1) {
        Some(last) => schedule.slots[last].plant_room.buffer,
        None => problem.state.plant_room.buffer,
    };
    let (Some(before), Some(after)) = (before, plan.plant_room.buffer) else { return };
    let capacity = buffer.volume.litres() * KWH_PER_LITRE_KELVIN;
    let sum = |wanted: fn(&Job) -> bool| -> f64 {
        plan.jobs.iter().filter(|job| wanted(job)).map(|job| job.heat.kwh()).sum()
    };
    let into = sum(|job| job.route.sink == Sink::Buffer);
    let out = sum(|job| job.route.source == Source::Buffer);
    let lost = into - out - capacity * after.above(before);
    let warmest = before.celsius().max(after.celsius()) + into / capacity;
    let coldest = before.celsius().min(after.celsius()) - out / capacity;
    let around = buffer.surroundings.celsius();
    let rate = buffer.heat_loss.watts_per_kelvin() / 1_000.0 * plan.slot.hours();
    let (most, least) = (rate * (warmest - around).max(0.0), rate * (coldest - around).min(0.0));
    report.within(plan.slot, "buffer", "no heat comes from nothing", least - lost, TOLERANCE_KWH);
    report.within(
        plan.slot,
        "buffer",
        "it loses no more than it stands",
        lost - most,
        TOLERANCE_KWH,
    );
}
