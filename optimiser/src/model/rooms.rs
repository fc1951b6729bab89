//! The heated rooms, after the hourly network of EN ISO 13790 (annex C), one
//! capacity and linear in the heat `Q`:
//!
//! - mass `m_t = a·m_{t−1} + b·Q + c`;
//! - air `air = d·(m_{t−1} + m_t)/2 + e·Q + f`, `low − short ≤ air ≤ high + over`;
//! - emitters `Q ≤ U·(flow − ΔT/2 − low)·Δt`, where the flow follows the heating
//!   curve and so is known for each slot.

use crate::physics::coil::SPREAD_K;
use crate::problem::{Band, Problem};
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
    pub(crate) short: Col,
    pub(crate) over: Col,
}

/// Comfort where none is asked for.
const ANY: (f64, f64) = (-60.0, 150.0);

/// The rooms of one slot as linear functions of the mass before it and of the
/// heat into them [kWh].
#[derive(Debug, Clone, Copy, PartialEq)]
struct Network {
    /// Mass at the end: by the mass before, by each kWh, and alone.
    mass: [f64; 3],
    /// Air, a mean over the slot: by the mean mass, by each kWh, and alone.
    air: [f64; 3],
}

/// Coefficients of EN ISO 13790: heat transfer between mass and surface and
/// between surface and air [W/(m²·K)], surface for each m² of floor.
const MASS_TO_SURFACE: f64 = 9.1;
const SURFACE_TO_AIR: f64 = 3.45;
const SURFACE_PER_FLOOR: f64 = 4.5;

/// Area of mass for each m² of floor, by capacity [kJ/(m²·K)]: EN ISO 13790,
/// table 12 (by open implementations).
const MASS_AREA: [(f64, f64); 3] = [(212.5, 2.5), (315.0, 3.0), (f64::INFINITY, 3.5)];

impl Network {
    /// The network over some hours at an outdoor temperature [°C] and gains [W].
    fn new(rooms: &Rooms, hours: f64, outdoor: f64, gains: f64) -> Self {
        let loss = rooms.loss().watts_per_kelvin();
        let (window, air) = (
            loss * rooms.window_share.value(),
            (loss * rooms.ventilation_share.value()).max(1e-9),
        );
        let walls = loss - window - air;
        let per_floor = rooms.capacity_kwh_per_k * 3_600.0 / rooms.floor_m2;
        let area = MASS_AREA.iter().find(|(most, _)| per_floor < *most).map_or(3.5, |&(_, a)| a)
            * rooms.floor_m2;
        let surface = SURFACE_PER_FLOOR * rooms.floor_m2;
        let (ms, is) = (MASS_TO_SURFACE * area, SURFACE_TO_AIR * surface);
        let em = 1.0 / (1.0 / walls - 1.0 / ms);
        let h1 = 1.0 / (1.0 / air + 1.0 / is);
        let h2 = h1 + window;
        let h3 = 1.0 / (1.0 / h2 + 1.0 / ms);
        let half = 0.5 * gains;
        let to_mass = area / surface * half;
        let to_surface = (1.0 - area / surface - window / (MASS_TO_SURFACE * surface)) * half;
        // What reaches mass and surface for each watt into the air.
        let through = h1 / air;
        let watts = 1_000.0 / hours;
        let node = to_surface + window * outdoor + h1 * outdoor + through * half;
        let capacity = rooms.capacity_kwh_per_k * 1_000.0 / hours;
        let whole = capacity + 0.5 * (h3 + em);
        let to_node = h3 / h2;
        let mass = [
            (capacity - 0.5 * (h3 + em)) / whole,
            to_node * through * watts / whole,
            (to_mass + em * outdoor + to_node * node) / whole,
        ];
        let around = ms + h2;
        let last = is + air;
        Self {
            mass,
            air: [
                is * ms / (around * last),
                (is * through / around + 1.0) * watts / last,
                (is * node / around + air * outdoor + half) / last,
            ],
        }
    }
}

/// The comfort of a slot as bounds on the air [°C].
fn band(problem: &Problem, slot: usize) -> (f64, f64) {
    let asked: Option<Band> = problem.comfort.rooms.as_ref().map(|series| series[slot]);
    asked.map_or(ANY, |band| (band.low.celsius(), band.high.celsius()))
}

/// The network of a slot.
fn network(problem: &Problem, rooms: &Rooms, slot: usize) -> Network {
    let hours = problem.horizon.slots()[slot].hours();
    let outdoor = outdoor(problem, slot);
    let gains = problem.ambient.room_gains.as_ref().map_or(rooms.gains, |series| series[slot]);
    Network::new(rooms, hours, outdoor, gains.kw() * 1_000.0)
}

/// Air outside in a slot [°C].
pub(crate) fn outdoor(problem: &Problem, slot: usize) -> f64 {
    problem.ambient.outdoor.as_ref().map_or(10.0, |series| series[slot].celsius())
}

/// Most heat that the emitters give at a flow temperature in a slot [kW].
pub(crate) fn emitted_kw(problem: &Problem, rooms: &Rooms, slot: usize, flow: f64) -> f64 {
    let warmer = (flow - 0.5 * SPREAD_K - expected_air(problem, slot)).max(0.0);
    rooms.emitters.watts_per_kelvin() * warmer / 1_000.0
}

/// Air that the emitters are expected to meet in a slot [°C].
pub(super) fn expected_air(problem: &Problem, slot: usize) -> f64 {
    let (low, _) = band(problem, slot);
    if low > 0.0 { low } else { 20.0 }
}

pub(super) fn columns(program: &mut Program, problem: &Problem, slot: usize) -> Option<RoomsColumns> {
    problem.site.plant_room.rooms?;
    let hours = problem.horizon.slots()[slot].hours();
    let cost = problem.weights.rooms_per_kelvin_hour * hours;
    let mass = program.column(0.0, -60.0, 150.0);
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

/// Air of a slot by the mass before and after it and by its heat, and what one
/// more kWh does to air and mass [K].
pub(crate) fn rooms_air(
    problem: &Problem,
    slot: usize,
    (before, after): (f64, f64),
    kwh: f64,
) -> (f64, (f64, f64)) {
    let Some(rooms) = &problem.site.plant_room.rooms else { return (0.0, (0.0, 0.0)) };
    let Network { mass, air } = network(problem, rooms, slot);
    let now = air[0] * 0.5 * (before + after) + air[1] * kwh + air[2];
    (now, (air[1], mass[1]))
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
    let network = network(problem, rooms, slot);
    let before = slot.checked_sub(1).and_then(|s| layout.slots[s].rooms);
    let start = problem.state.plant_room.rooms.map_or(20.0, |state| state.mass.celsius());
    let known = if before.is_none() { start } else { 0.0 };
    let heat = duties.into_sink(columns, Sink::Rooms);

    let [by_mass, by_heat, alone] = network.mass;
    let mut terms = vec![(own.mass, 1.0)];
    terms.extend(before.map(|b| (b.mass, -by_mass)));
    terms.extend(heat.iter().map(|&(col, kwh)| (col, -by_heat * kwh)));
    let side = by_mass * known + alone;
    let mass = program.row(side, side, terms);

    let [by_mass, by_heat, alone] = network.air;
    let mut air = vec![(own.mass, 0.5 * by_mass)];
    air.extend(before.map(|b| (b.mass, 0.5 * by_mass)));
    air.extend(heat.iter().map(|&(col, kwh)| (col, by_heat * kwh)));
    let alone = alone + 0.5 * by_mass * known;
    let (low, high) = band(problem, slot);
    let high = high.min(rooms.limit.celsius()).max(low);
    let cold = air.iter().copied().chain([(own.short, 1.0)]);
    let cold = program.row(low - alone, f64::INFINITY, cold);
    let warm = air.into_iter().chain([(own.over, -1.0)]);
    let warm = program.row(f64::NEG_INFINITY, high - alone, warm);
    Some(RoomsRows { mass, cold, warm })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::HeatingCurve;
    use crate::units::{Conductance, Fraction, HeatLoss, Power, Temperature};

    /// 200 m² of a medium house: H_op 250, H_win 60, H_ve 125 W/K.
    fn house() -> Rooms {
        Rooms {
            heat_loss: HeatLoss::constant(435.0),
            measured_loss: None,
            window_share: Fraction::constant(60.0 / 435.0),
            ventilation_share: Fraction::constant(125.0 / 435.0),
            floor_m2: 200.0,
            capacity_kwh_per_k: 9.166_666_666_666_667,
            gains: Power::constant(0.6),
            emitters: Conductance::constant(500.0),
            curve: HeatingCurve {
                cold: Temperature::constant(-5.0),
                flow_when_cold: Temperature::constant(45.0),
                mild: Temperature::constant(15.0),
                flow_when_mild: Temperature::constant(28.0),
            },
            limit: Temperature::constant(24.0),
        }
    }

    fn air_after(network: &Network, mass: f64, kwh: f64) -> (f64, f64) {
        let after = network.mass[0] * mass + network.mass[1] * kwh + network.mass[2];
        let mean = 0.5 * (mass + after);
        (after, network.air[0] * mean + network.air[1] * kwh + network.air[2])
    }

    // BL-09: one hourly step of the 5R1C network, mass at 20 °C, -2 °C outside;
    // recomputed in the project's collection from the standard's equations.
    #[test]
    fn an_hour_without_heating() {
        let (mass, air) = air_after(&Network::new(&house(), 1.0, -2.0, 600.0), 20.0, 0.0);
        assert!((mass - 19.035).abs() < 0.005, "{mass}");
        assert!((air - 18.075).abs() < 0.005, "{air}");
    }

    // BL-10: 5 314 W in that hour keep the air at 21 °C.
    #[test]
    fn heat_that_keeps_the_air_warm() {
        let (_, air) = air_after(&Network::new(&house(), 1.0, -2.0, 600.0), 20.0, 5.314);
        assert!((air - 21.0).abs() < 0.005, "{air}");
    }

    // Two half-hours are an hour, but for the order of the scheme.
    #[test]
    fn the_length_of_the_slot_hardly_matters() {
        let whole = air_after(&Network::new(&house(), 1.0, -2.0, 600.0), 20.0, 4.0).0;
        let half = Network::new(&house(), 0.5, -2.0, 600.0);
        let twice = air_after(&half, air_after(&half, 20.0, 2.0).0, 2.0).0;
        assert!((whole - twice).abs() < 0.002, "{whole} {twice}");
    }
}
