//! Comfort in rooms and pool as the simulated plant has it, and what is left in
//! them at the end.

use crate::plant::{Outcome, PlantRoomTrace};
use crate::problem::{Band, Problem, ValueStep};
use crate::time::Series;

use super::score::steps_worth;

/// Price of all hours outside the comfort of rooms and pool [minor].
pub(super) fn discomfort(problem: &Problem, outcome: &Outcome) -> f64 {
    let Some(trace) = &outcome.plant_room else { return 0.0 };
    let weights = &problem.weights;
    let (room, comfort) = (&problem.site.plant_room, &problem.comfort);
    let rooms = comfort.rooms.as_ref().filter(|_| room.rooms.is_some());
    let pool = comfort.pool.as_ref().filter(|_| room.pool.is_some());
    let air = |slot: usize| trace.slots()[slot].air;
    weights.rooms_per_kelvin_hour * rooms.map_or(0.0, |bands| outside(problem, bands, air))
        + weights.pool_per_kelvin_hour
            * pool.map_or(0.0, |bands| outside(problem, bands, |slot| trace.pool(slot + 1)))
}

/// Kelvin outside a band, times hours [K·h].
fn outside(problem: &Problem, bands: &Series<Band>, celsius: impl Fn(usize) -> f64) -> f64 {
    let slots = problem.horizon.slots().iter().enumerate();
    slots
        .map(|(index, slot)| {
            let (band, now) = (bands[index], celsius(index));
            let off = (band.low.celsius() - now).max(now - band.high.celsius()).max(0.0);
            off * slot.hours()
        })
        .sum()
}

/// Worth of what buffer, rooms and pool hold at the end [minor].
pub(super) fn room_worth(problem: &Problem, trace: &PlantRoomTrace) -> f64 {
    let room = &problem.site.plant_room;
    let (base, values) = (problem.end_bases(), &problem.end_value);
    let last = trace.slots().len();
    let worth = |exists: bool, steps: &[ValueStep], (capacity, zero): (f64, f64), now: f64| {
        let kwh = capacity * (now - zero);
        // What is missing costs what the first step is worth.
        let first = steps.first().map_or(0.0, |step| step.value.per_kwh());
        if exists { steps_worth(steps, kwh) + first * kwh.min(0.0) } else { 0.0 }
    };
    worth(room.buffer.is_some(), &values.buffer, base.buffer, trace.buffer(last))
        + worth(room.rooms.is_some(), &values.rooms, base.rooms, trace.rooms(last).1)
        + worth(room.pool.is_some(), &values.pool, base.pool, trace.pool(last))
}
