//! The heated rooms: the hourly network of ISO 13790, which is linear in the
//! temperature of the mass `m` and in the heat `Q`:
//!
//! - `m_t = a·m_{t−1} + b·Q + c`;
//! - air, a mean over the slot: `d·m_{t−1} + e·Q + f`, with
//!   `low − short ≤ air ≤ high + over`.
//!
//! What the emitters give is limited by their flow, which follows the heating
//! curve and so is known for each slot.

use crate::physics::coil::SPREAD_K;
use crate::physics::rooms::Network;
use crate::problem::Problem;
use crate::site::{Rooms, Sink};

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Col, Program, Row};

/// Columns of the rooms in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RoomsColumns {
    /// Temperature of the mass at the end of the slot [°C].
    pub(crate) mass: Col,
    /// Air below and above the comfort band [K].
    short: Col,
    over: Col,
}

/// Comfort where none is asked for [°C].
const ANY: (f64, f64) = (-60.0, 150.0);

/// Air that emitters are taken to meet where no comfort is asked for [°C].
const USUAL_AIR: f64 = 20.0;

/// Mass and air by the mass before, by each kWh of heat, and alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Response {
    pub(crate) mass: [f64; 3],
    pub(crate) air: [f64; 3],
}

impl Response {
    /// The rooms over a slot.
    pub(crate) fn new(problem: &Problem, rooms: &Rooms, slot: usize) -> Self {
        let hours = problem.horizon.slots()[slot].hours();
        let gains = gains_watts(problem, rooms, slot);
        let network = Network::of(rooms, rooms.loss().watts_per_kelvin());
        let at = |mass: f64, kwh: f64| {
            let watts = kwh * 1_000.0 / hours;
            network.step(mass, hours, outdoor(problem, slot), watts, gains)
        };
        let (alone, warm, heated) = (at(0.0, 0.0), at(1.0, 0.0), at(0.0, 1.0));
        Self {
            mass: [warm.mass - alone.mass, heated.mass - alone.mass, alone.mass],
            air: [warm.air - alone.air, heated.air - alone.air, alone.air],
        }
    }
}

/// The comfort of a slot [°C].
fn band(problem: &Problem, slot: usize) -> (f64, f64) {
    problem.comfort.rooms_aim(slot).map_or(ANY, |band| (band.low.celsius(), band.high.celsius()))
}

/// Air outside in a slot [°C].
pub(super) fn outdoor(problem: &Problem, slot: usize) -> f64 {
    problem.ambient.outdoor.as_ref().map_or(10.0, |series| series[slot].celsius())
}

/// Air that the emitters are expected to meet in a slot [°C].
pub(super) fn expected_air(problem: &Problem, slot: usize) -> f64 {
    let (low, _) = band(problem, slot);
    if low > 0.0 { low } else { USUAL_AIR }
}

/// Heat that holds the air in a slot once the mass is used to it [kW].
pub(crate) fn expected_kw(problem: &Problem, slot: usize) -> f64 {
    let Some(rooms) = &problem.site.plant_room.rooms else { return 0.0 };
    let (air, outdoor) = (expected_air(problem, slot), outdoor(problem, slot));
    let hours = problem.horizon.slots()[slot].hours();
    let gains = gains_watts(problem, rooms, slot);
    let network = Network::of(rooms, rooms.loss().watts_per_kelvin());
    let mass = network.settled_mass(air, outdoor, gains);
    (network.heat_for(air, mass, hours, outdoor, gains) / 1_000.0).max(0.0)
}

/// Flow temperature [°C] at which the emitters give a heat [kW], no hotter than
/// their heating curve.
pub(crate) fn flow(problem: &Problem, rooms: &Rooms, slot: usize, kw: f64) -> f64 {
    let warmer = kw * 1_000.0 / rooms.emitters.watts_per_kelvin();
    let flow = expected_air(problem, slot) + 0.5 * SPREAD_K + warmer;
    flow.min(rooms.curve.flow(outdoor(problem, slot)))
}

/// Gains in a slot [W].
fn gains_watts(problem: &Problem, rooms: &Rooms, slot: usize) -> f64 {
    let series = problem.ambient.room_gains.as_ref();
    series.map_or(rooms.gains, |series| series[slot]).kw() * 1_000.0
}

/// Temperature of the mass at the start [°C].
pub(crate) fn start_mass(problem: &Problem) -> f64 {
    problem.state.plant_room.rooms.map_or(USUAL_AIR, |state| state.mass.celsius())
}

pub(super) fn columns(
    program: &mut Program,
    problem: &Problem,
    slot: usize,
) -> Option<RoomsColumns> {
    problem.site.plant_room.rooms?;
    let cost = problem.weights.rooms_per_kelvin_hour * problem.horizon.slots()[slot].hours();
    let mass = program.column(0.0, ANY.0, ANY.1);
    let short = program.column(cost, 0.0, f64::INFINITY);
    let over = program.column(cost, 0.0, f64::INFINITY);
    Some(RoomsColumns { mass, short, over })
}

/// Rows of the rooms in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RoomsRows {
    /// Balance of the mass.
    pub(crate) mass: Row,
    /// The air against the lower and the upper end of the comfort band.
    pub(crate) cold: Row,
    pub(crate) warm: Row,
}

/// Adds the rows of a slot.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) -> Option<RoomsRows> {
    let rooms = problem.site.plant_room.rooms.as_ref()?;
    let columns = &layout.slots[slot];
    let own = columns.rooms?;
    let response = Response::new(problem, rooms, slot);
    let before = slot.checked_sub(1).and_then(|s| layout.slots[s].rooms);
    let known = if before.is_none() { start_mass(problem) } else { 0.0 };
    let heat = duties.to_sink(columns, Sink::Rooms);

    let [by_mass, by_heat, alone] = response.mass;
    let mut terms = vec![(own.mass, 1.0)];
    terms.extend(before.map(|b| (b.mass, -by_mass)));
    terms.extend(heat.iter().map(|&col| (col, -by_heat)));
    let side = by_mass * known + alone;
    let mass = program.row(side, side, terms);

    let [by_mass, by_heat, alone] = response.air;
    let mut air: Vec<(Col, f64)> = before.iter().map(|b| (b.mass, by_mass)).collect();
    air.extend(heat.iter().map(|&col| (col, by_heat)));
    let alone = alone + by_mass * known;
    let (low, high) = band(problem, slot);
    let high = high.min(rooms.limit.celsius()).max(low);
    let cold = air.iter().copied().chain([(own.short, 1.0)]);
    let cold = program.row(low - alone, f64::INFINITY, cold);
    let warm = air.into_iter().chain([(own.over, -1.0)]);
    let warm = program.row(f64::NEG_INFINITY, high - alone, warm);
    Some(RoomsRows { mass, cold, warm })
}
