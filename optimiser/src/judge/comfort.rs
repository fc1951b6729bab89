//! Comfort in rooms and pool as the simulated plant has it, and what is left in
//! them at the end.

use crate::plant::{Outcome, PlantRoomTrace};
use crate::problem::{Band, Problem, ValueStep};

use super::score::steps_worth;

/// Price of all hours outside the comfort of rooms and pool [minor].
pub(super) fn discomfort(problem: &Problem, outcome: &Outcome) -> f64 {
    let Some(trace) = &outcome.plant_room else { return 0.0 };
    let weights = &problem.weights;
    let (room, comfort) = (&problem.site.plant_room, &problem.comfort);
    let air = |slot: usize| Some((comfort.rooms_aim(slot)?, trace.slots()[slot].air));
    let water = |slot: usize| Some((comfort.pool_aim(slot)?, trace.pool(slot + 1)));
    let rooms = if room.rooms.is_some() { outside(problem, air) } else { 0.0 };
    let pool = if room.pool.is_some() { outside(problem, water) } else { 0.0 };
    weights.rooms_per_kelvin_hour * rooms + weights.pool_per_kelvin_hour * pool
}

/// What is farther outside than this is felt by everybody [K], and weighs so many times
/// as much.
const FELT_K: f64 = 0.5;
const FELT_TIMES: f64 = 3.0;

/// Kelvin outside what is aimed at, times hours [K·h]; what is felt more often.
fn outside(problem: &Problem, slot: impl Fn(usize) -> Option<(Band, f64)>) -> f64 {
    let slots = problem.horizon.slots().iter().enumerate();
    slots
        .filter_map(|(index, span)| {
            let (band, now) = slot(index)?;
            let off = (band.low.celsius() - now).max(now - band.high.celsius()).max(0.0);
            let felt = (off - FELT_K).max(0.0);
            Some((off + (FELT_TIMES - 1.0) * felt) * span.hours())
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
