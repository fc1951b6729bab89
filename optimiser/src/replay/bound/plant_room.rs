//! What the program that knows everything owes to rooms and pool, and what it leaves.

use super::super::{Run, Stage};
use crate::problem::{Band, Comfort, EndValue, Problem, ROOMS_MARGIN_K, ValueStep};
use crate::site::{Route, Sink, Site, Source};
use crate::solution::{PlantRoomFlows, Solution};
use crate::time::{Horizon, Series, TimeError};
use crate::units::{Energy, Price, Temperature};
use crate::water::KWH_PER_LITRE_KELVIN;

/// How much colder than asked rooms and pool are in the mean [K].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TooCold {
    /// Air in the rooms.
    pub rooms: f64,
    /// Water of the pool.
    pub pool: f64,
}

/// Comfort by the clock, with the weather as it was. The rooms need no margin above it:
/// nothing here is left to chance.
pub(super) fn comfort(stage: &Stage<'_>, horizon: &Horizon) -> Result<Comfort, TimeError> {
    let timeline = stage.timeline();
    let asked: Vec<_> = timeline.judged().map(|slot| timeline.bands(stage.site(), slot)).collect();
    let series = |own: Option<Vec<Band>>| {
        own.map(|own| Series::new("the comfort", horizon, own)).transpose()
    };
    let without_margin = |band: Band| Band {
        low: Temperature::clamped(band.low.celsius() - ROOMS_MARGIN_K),
        high: band.high,
    };
    Ok(Comfort {
        rooms: series(asked.iter().map(|both| both.0.map(without_margin)).collect())?,
        pool: series(asked.iter().map(|both| both.1).collect())?,
        ..Comfort::default()
    })
}

/// A problem whose last slot asks rooms and pool to be no warmer than a run left them:
/// what is left there counts from what is asked.
pub(super) fn ending_like(problem: Problem, like: &Run) -> Problem {
    let left = like.outcome.state(like.outcome.house.len()).plant_room;
    let mass = left.rooms.map(|own| own.mass.celsius() - ROOMS_MARGIN_K);
    let lowered = |bands: Option<&Series<Band>>, left: Option<f64>| {
        let mut own = bands?.values().to_vec();
        if let (Some(last), Some(left)) = (own.last_mut(), left) {
            last.low = Temperature::clamped(last.low.celsius().min(left));
        }
        Series::new("the comfort", &problem.horizon, own).ok()
    };
    let rooms = lowered(problem.comfort.rooms.as_ref(), mass);
    let pool = lowered(problem.comfort.pool.as_ref(), left.pool.map(Temperature::celsius));
    Problem { comfort: Comfort { rooms, pool, ..Comfort::default() }, ..problem }
}

/// So much for what a run left in buffer, rooms and pool that it is never cheaper to
/// leave less, and nothing for more.
pub(super) fn left_like(problem: &Problem, like: &Run, value: Price) -> EndValue {
    let room = &problem.site.plant_room;
    let left = like.outcome.state(like.outcome.house.len()).plant_room;
    let bases = problem.end_bases();
    let step = |(capacity, zero): (f64, f64), celsius: Option<Temperature>| {
        let kwh = celsius.map_or(0.0, |left| capacity * (left.celsius() - zero));
        vec![ValueStep { width: Energy::clamped(kwh.max(0.0)), value }]
    };
    let present = |there: bool, steps: Vec<ValueStep>| if there { steps } else { Vec::new() };
    EndValue {
        buffer: present(room.buffer.is_some(), step(bases.buffer, left.buffer)),
        rooms: present(room.rooms.is_some(), step(bases.rooms, left.rooms.map(|own| own.mass))),
        pool: present(room.pool.is_some(), step(bases.pool, left.pool)),
        ..EndValue::default()
    }
}

/// Heat in buffer, rooms and pool at the end, beyond that at the start [kWh].
pub(super) fn gained(problem: &Problem, solution: &Solution) -> f64 {
    let room = &problem.site.plant_room;
    let start = &problem.state.plant_room;
    let end = solution.slots.last().map(|last| last.plant_room).unwrap_or_default();
    let rise = |capacity: f64, from: Option<Temperature>, to: Option<f64>| match (from, to) {
        (Some(from), Some(to)) => capacity * (to - from.celsius()),
        _ => 0.0,
    };
    let water = room.buffer.as_ref().map_or(0.0, |own| own.volume.litres() * KWH_PER_LITRE_KELVIN);
    let mass = room.rooms.map_or(0.0, |own| own.capacity_kwh_per_k);
    let pool = room.pool.map_or(0.0, |own| own.capacity_kwh_per_k());
    rise(water, start.buffer, end.buffer)
        + rise(mass, start.rooms.map(|own| own.mass), end.rooms.map(|own| own.1))
        + rise(pool, start.pool, end.pool)
}

/// How much colder than asked rooms and pool are.
pub(super) fn too_cold(stage: &Stage<'_>, solution: &Solution) -> TooCold {
    let timeline = stage.timeline();
    let mut below = TooCold::default();
    let mut hours = 0.0;
    let slots = stage.horizon().slots().iter().zip(&solution.slots);
    for ((span, flows), slot) in slots.zip(timeline.judged()) {
        let asked = timeline.bands(stage.site(), slot);
        let PlantRoomFlows { rooms, pool, .. } = flows.plant_room;
        let short = |asked: Option<Band>, there: Option<f64>| match (asked, there) {
            (Some(asked), Some(there)) => (asked.low.celsius() - there).max(0.0) * span.hours(),
            _ => 0.0,
        };
        below.rooms += short(asked.0, rooms.map(|own| own.0));
        below.pool += short(asked.1, pool);
        hours += span.hours();
    }
    TooCold { rooms: below.rooms / hours, pool: below.pool / hours }
}

/// Most heat that sources can give a store through its coils, each source once [kW].
pub(super) fn into_store(site: &Site, store: usize) -> f64 {
    let room = &site.plant_room;
    let mut sources: Vec<Source> = room
        .routes()
        .into_iter()
        .filter(|Route { sink, .. }| matches!(sink, Sink::Coil { store: own, .. } if *own == store))
        .map(|route| route.source)
        .collect();
    sources.dedup();
    let of = |source: Source| match source {
        Source::HeatPump(index) => room.heat_pumps[index].performance.rated_kw(),
        Source::Boiler => room.boiler.as_ref().map_or(0.0, |boiler| boiler.power.kw()),
        Source::Immersion | Source::Collectors | Source::Buffer => 0.0,
    };
    sources.into_iter().map(of).sum()
}
