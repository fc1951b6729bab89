//! What is in stores and plant room, as the schedule that is out leads to expect it.

pub use optimiser::estimate::{Estimate, Profile, Sight, resampled, seen};
use optimiser::problem::RoomsState;
use optimiser::schedule::PlantRoomPlan;
use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::making::Made;

/// The stores by a schedule's own simulation at an instant; `None` outside it.
pub fn expected(made: &Made, now: Instant) -> Option<Vec<Profile>> {
    optimiser::estimate::expected(&made.problem, &made.schedule, now)
}

/// The battery by a schedule at an instant [kWh].
pub fn expected_battery(made: &Made, now: Instant) -> Option<f64> {
    optimiser::estimate::expected_battery(&made.problem, &made.schedule, now)
}

/// Buffer, rooms and pool by a schedule at an instant; `None` outside it.
pub fn expected_room(made: &Made, now: Instant) -> Option<PlantRoomPlan> {
    let slots = &made.schedule.slots;
    let index = slots.iter().position(|plan| plan.slot.contains(now))?;
    let (slot, end) = (slots[index].slot, slots[index].plant_room);
    let share = (now - slot.start()) as f64 / slot.seconds() as f64;
    let here = &made.problem.state.plant_room;
    let start = index.checked_sub(1).map_or(
        PlantRoomPlan {
            buffer: here.buffer,
            rooms: here.rooms,
            pool: here.pool,
            ..PlantRoomPlan::default()
        },
        |before| slots[before].plant_room,
    );
    let between = |from: Temperature, to: Temperature| {
        Temperature::clamped(from.celsius() + (to.celsius() - from.celsius()) * share)
    };
    let one = |from: Option<Temperature>, to: Option<Temperature>| Some(between(from?, to?));
    let rooms = start.rooms.zip(end.rooms).map(|(from, to)| RoomsState {
        air: between(from.air, to.air),
        mass: between(from.mass, to.mass),
    });
    Some(PlantRoomPlan {
        buffer: one(start.buffer, end.buffer),
        rooms,
        pool: one(start.pool, end.pool),
        ..PlantRoomPlan::default()
    })
}
