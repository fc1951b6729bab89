//! What sources did for sinks, summed and in words.

use optimiser::problem::Band;
use optimiser::schedule::{Job, SlotPlan};
use optimiser::site::{Evaporation, Exposure, Route, Source};
use optimiser::time::Series;
use optimiser::units::Temperature;

use super::digits::text;
use super::totals::Sources;
use super::{Plan, local};

/// A shortfall of comfort that nobody would feel [K].
const TOLERATED_K: f64 = 0.2;

/// Sums over jobs of one route.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Sum {
    pub(super) minutes: f64,
    /// Heat that reached the sink [kWh].
    pub(super) heat: f64,
    /// Electricity with its sources [kWh].
    pub(super) electricity: Sources,
    /// Fuel burnt [kWh].
    pub(super) fuel: f64,
}

impl Sum {
    pub(super) fn of<'a>(jobs: impl IntoIterator<Item = &'a Job>) -> Self {
        jobs.into_iter().fold(Self::default(), |sum, job| Self {
            minutes: sum.minutes + job.minutes,
            heat: sum.heat + job.heat.kwh(),
            electricity: sum.electricity.with(job.pv, job.battery, job.grid),
            fuel: sum.fuel + job.fuel.kwh(),
        })
    }

    /// Heat for each unit of electricity, where that means something.
    pub(super) fn cop(&self) -> Option<f64> {
        let electricity = self.electricity.total();
        (self.fuel <= 0.0 && electricity >= 0.005).then(|| self.heat / electricity)
    }
}

/// The routes on which anything runs in some slots, in the order of the site.
pub(super) fn routes(plan: &Plan<'_>, slots: &[SlotPlan]) -> Vec<Route> {
    let runs = |route: &Route| on_route(slots, *route).any(runs);
    plan.problem.site.plant_room.routes().into_iter().filter(runs).collect()
}

/// The jobs of one route.
pub(super) fn on_route(slots: &[SlotPlan], route: Route) -> impl Iterator<Item = &Job> {
    slots.iter().flat_map(|slot| &slot.jobs).filter(move |job| job.route == route)
}

/// Whether a job would show as more than nothing. What the buffer passes on is
/// no job of its own.
pub(super) fn runs(job: &Job) -> bool {
    job.route.source != Source::Buffer && job.heat.kwh() >= 0.005
}

/// `heat pump → cylinder`.
pub(super) fn arrow(plan: &Plan<'_>, route: Route) -> String {
    format!("{} → {}", plan.house.source_name(route.source), plan.house.sink_name(route.sink))
}

/// `6.20 kWh of heat in 45 min, COP 3.4` or with fuel.
pub(super) fn amount(route: Route, sum: &Sum) -> String {
    let heat = text(sum.heat, 2);
    match route.source {
        Source::HeatPump(_) => match sum.cop() {
            Some(cop) => format!("{heat} kWh of heat, COP {}", text(cop, 2)),
            None => format!("{heat} kWh of heat"),
        },
        Source::Boiler => {
            format!("{heat} kWh of heat from {} kWh of fuel", text(sum.fuel, 2))
        }
        _ => format!("{heat} kWh of heat"),
    }
}

/// Names of the models behind the numbers, each with what it is of.
pub(super) fn models(plan: &Plan<'_>) -> Vec<(String, &'static str)> {
    let room = &plan.problem.site.plant_room;
    let pumps =
        room.heat_pumps.iter().map(|p| (format!("COP of {}", p.name), p.performance.name()));
    let pool = room.pool.and_then(|pool| match pool.exposure {
        Exposure::Outdoor { evaporation, .. } => Some(Evaporation::name(evaporation)),
        Exposure::Indoor { .. } => None,
    });
    pumps.chain(pool.map(|name| ("evaporation of the pool".to_owned(), name))).collect()
}

/// `buffer 34 °C, rooms 20.3 °C, pool 24.1 °C` at the end of a slot.
pub(super) fn warmth(slot: &SlotPlan) -> Option<String> {
    let room = &slot.plant_room;
    let parts: Vec<String> = [
        room.buffer.map(|t| format!("buffer {} °C", text(t.celsius(), 0))),
        room.rooms.map(|rooms| format!("rooms {} °C", text(rooms.air.celsius(), 1))),
        room.pool.map(|t| format!("pool {} °C", text(t.celsius(), 1))),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// How rooms and pool keep to the comfort that is asked of them, in words.
pub(super) fn comfort(plan: &Plan<'_>) -> Vec<String> {
    let comfort = &plan.problem.comfort;
    let air = |slot: &SlotPlan| slot.plant_room.rooms.map(|rooms| rooms.air);
    let water = |slot: &SlotPlan| slot.plant_room.pool;
    let rooms = comfort.rooms.as_ref().map(|bands| kept(plan, "rooms", bands, air));
    let pool = comfort.pool.as_ref().map(|bands| kept(plan, "pool", bands, water));
    rooms.into_iter().chain(pool).flatten().collect()
}

/// The coldest end of a slot against its comfort; `None` if nothing is known.
fn kept(
    plan: &Plan<'_>,
    name: &str,
    bands: &Series<Band>,
    of: impl Fn(&SlotPlan) -> Option<Temperature>,
) -> Option<String> {
    let short = plan.slots().iter().zip(bands.values()).filter_map(|(slot, band)| {
        of(slot).map(|t| (slot.slot.end(), t, band.low.celsius() - t.celsius()))
    });
    let (at, coldest, short) = short.max_by(|a, b| a.2.total_cmp(&b.2))?;
    if short < TOLERATED_K {
        return Some(format!("{name}: within what is asked"));
    }
    let (from, _) = plan.window();
    Some(format!(
        "{name}: {} °C by {}, {} K below what is asked",
        text(coldest.celsius(), 1),
        local::when(plan.zone(), at, from),
        text(short, 1)
    ))
}

/// What a plant room adds to the cautions under every plan; nothing without one.
pub(super) fn cautions(plan: &Plan<'_>) -> Vec<&'static str> {
    let room = &plan.problem.site.plant_room;
    let mut lines = Vec::new();
    if !room.heat_pumps.is_empty() {
        lines.push("Refrigerant: only certified people open its circuit.");
    }
    if room.boiler.is_some() {
        lines.push("Boiler: fuel, flue and combustion air are for registered people.");
    }
    if room.collectors.is_some() || room.buffer.is_some() {
        lines.push("Pressure: every sealed circuit keeps its relief valve and expansion vessel.");
    }
    lines
}
