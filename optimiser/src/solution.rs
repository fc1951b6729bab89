//! The linear program's answer in physical terms.

use crate::model::{
    Col, Formulation, LevelEnd, Response, RoomsColumns, Row, SlotColumns, circulation_kwh,
    start_mass,
};
use crate::problem::{HeaterId, Problem};
use crate::site::{Route, Sink};
use crate::solve::Answer;

/// Flows of one slot, in kWh unless said otherwise. Import and export are what
/// the meter's two registers count.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SlotFlows {
    /// From the grid.
    pub import: f64,
    /// To the grid.
    pub export: f64,
    /// PV used.
    pub pv: f64,
    /// Load that could not be served, in a softened program.
    pub missing: f64,
    /// AC energy into the battery.
    pub charge: f64,
    /// AC energy out of the battery.
    pub discharge: f64,
    /// Battery level at the end of the slot.
    pub battery: f64,
    /// Energy of each heater.
    pub heaters: Vec<f64>,
    /// Worth of one more kWh of heat through each heater [minor/kWh].
    pub heat_value: Vec<f64>,
    /// Worth of one more kWh at the house [minor/kWh].
    pub electricity_value: f64,
    /// Worth of one more kWh in the battery [minor/kWh]; zero without one.
    pub battery_value: f64,
    /// Each store.
    pub stores: Vec<StoreFlows>,
    /// Each route of the plant room, in the order of [`Solution::routes`].
    pub routes: Vec<RouteFlow>,
    /// Electricity of the pumps of return loops.
    pub circulation: f64,
    /// Buffer, rooms and pool at the end of the slot.
    pub plant_room: PlantRoomFlows,
}

/// A source that serves a sink in a slot.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RouteFlow {
    /// Heat that reaches the sink.
    pub heat: f64,
    /// Electricity that it takes.
    pub electricity: f64,
    /// Fuel that it takes.
    pub fuel: f64,
    /// Time at full capacity [h].
    pub hours: f64,
    /// Worth of one more kWh of heat in the sink [minor/kWh].
    pub value: f64,
}

/// Buffer, rooms and pool at the end of a slot; `None` where there is none.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlantRoomFlows {
    /// Water in the buffer [°C].
    pub buffer: Option<f64>,
    /// Air in the rooms, a mean over the slot, and their mass [°C].
    pub rooms: Option<(f64, f64)>,
    /// Water in the pool [°C].
    pub pool: Option<f64>,
    /// Worth of one more kWh of heat in each of them [minor/kWh].
    pub buffer_value: f64,
    /// The same for the rooms.
    pub rooms_value: f64,
    /// The same for the pool.
    pub pool_value: f64,
}

/// One store in one slot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoreFlows {
    /// Litres at or above each rung at the end of the slot, `[zone][rung − 1]`.
    pub litres: Vec<Vec<f64>>,
    /// Draw heat that arrives cold.
    pub unmet: f64,
    /// Heat missing from the reserve.
    pub reserve_short: f64,
}

/// A whole answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Objective of the program [minor].
    pub objective: f64,
    /// Heaters in the order of the flows.
    pub heaters: Vec<HeaterId>,
    /// Routes of the plant room in the order of the flows.
    pub routes: Vec<Route>,
    /// Temperatures of the rungs of each store, mains first [°C].
    pub rungs: Vec<Vec<f64>>,
    /// Volumes of the zones of each store [L].
    pub zones: Vec<Vec<f64>>,
    /// Flows of each slot.
    pub slots: Vec<SlotFlows>,
    /// Heat missing from each promise.
    pub ready_short: Vec<f64>,
    /// Worth of what is left at the end [minor].
    pub end_value: f64,
}

impl Solution {
    /// Reads an answer to a formulation.
    pub fn new(problem: &Problem, formulation: &Formulation, answer: &Answer) -> Self {
        let layout = &formulation.layout;
        let value = |col: &Col| answer.values[col.0 as usize];
        // Tiny negative values are rounding of the solver, not flows.
        let flow = |col: &Col| value(col).max(0.0);
        let slots = (0..problem.horizon.len())
            .map(|slot| {
                let mut flows = slot_flows(&layout.slots[slot], &flow);
                flows.electricity_value = dual(answer, formulation.node_rows[slot]);
                flows.battery_value =
                    formulation.battery_rows[slot].map_or(0.0, |row| -dual(answer, row));
                flows.heat_value = layout
                    .heaters
                    .iter()
                    .map(|id| {
                        let ladder = &formulation.ladders[id.store];
                        let (zone, reach) =
                            (ladder.element_zone[id.element], ladder.element_rung[id.element]);
                        heat_value(formulation, answer, &flows, slot, (id.store, zone, reach))
                    })
                    .collect();
                plant_room_flows(problem, formulation, answer, slot, &mut flows);
                for (store, own) in flows.stores.iter_mut().enumerate() {
                    own.unmet += formulation.demand.beyond[store][slot];
                }
                flows
            })
            .collect();
        let step_worth =
            |(col, step): (&Col, &crate::problem::ValueStep)| flow(col) * step.value.per_kwh();
        let store_ends = layout.store_ends.iter().zip(&problem.end_value.stores);
        let end_value: f64 = store_ends
            .flat_map(|(cols, steps)| cols.iter().zip(steps))
            .chain(layout.battery_ends.iter().zip(&problem.end_value.battery))
            .map(step_worth)
            .sum();
        let level_worth = |end: &Option<LevelEnd>, steps: &[crate::problem::ValueStep]| {
            let Some(end) = end else { return 0.0 };
            let held: f64 = end.steps.iter().zip(steps).map(step_worth).sum();
            held - flow(&end.missing) * steps.first().map_or(0.0, |step| step.value.per_kwh())
        };
        let (ends, values) = (&layout.room_ends, &problem.end_value);
        let rooms_worth = level_worth(&ends.buffer, &values.buffer)
            + level_worth(&ends.rooms, &values.rooms)
            + level_worth(&ends.pool, &values.pool);
        Self {
            objective: answer.objective,
            heaters: layout.heaters.clone(),
            routes: formulation.duties.routes.clone(),
            rungs: formulation.ladders.iter().map(|l| l.temperatures.clone()).collect(),
            zones: formulation.ladders.iter().map(|l| l.volumes.clone()).collect(),
            slots,
            ready_short: layout.ready_short.iter().map(|own| own.iter().map(flow).sum()).collect(),
            end_value: end_value + rooms_worth,
        }
    }
}

fn dual(answer: &Answer, row: Row) -> f64 {
    answer.duals[row.0 as usize]
}

/// Fills in what the plant room does in a slot.
fn plant_room_flows(
    problem: &Problem,
    formulation: &Formulation,
    answer: &Answer,
    slot: usize,
    flows: &mut SlotFlows,
) {
    flows.circulation = circulation_kwh(problem, slot);
    let columns = &formulation.layout.slots[slot];
    let value = |col: &Col| answer.values[col.0 as usize];
    let rows = &formulation.room_rows[slot];
    // A balance counts kWh for the buffer and the pool, kelvin of mass for the rooms.
    let worth = |row: Option<Row>| row.map_or(0.0, |row| -dual(answer, row));
    let room = &mut flows.plant_room;
    room.buffer = columns.buffer.map(|own| value(&own.level));
    room.buffer_value = worth(rows.buffer);
    room.pool = columns.pool.map(|own| value(&own.level));
    room.pool_value = worth(rows.pool);
    let duties = &formulation.duties;
    flows.routes = duties
        .routes
        .iter()
        .zip(&columns.routes)
        .zip(&duties.steps[slot])
        .map(|((_, parts), steps)| {
            let mut flow = RouteFlow::default();
            for (part, step) in parts.iter().zip(steps).filter(|(_, step)| step.kw > 0.0) {
                let heat = value(part).max(0.0);
                flow.heat += heat;
                flow.electricity += heat * step.electricity;
                flow.fuel += heat * step.fuel;
                flow.hours += heat / step.kw;
            }
            flow
        })
        .collect();
    if let (Some(own), Some(rooms)) = (columns.rooms, &problem.site.plant_room.rooms) {
        let before = slot.checked_sub(1).and_then(|s| formulation.layout.slots[s].rooms);
        let before = before.map_or(start_mass(problem), |b: RoomsColumns| value(&b.mass));
        let Response { mass, air } = Response::new(problem, rooms, slot);
        let into = heat_into(flows, &duties.routes, Sink::Rooms);
        let now = air[0] * before + air[1] * into + air[2];
        flows.plant_room.rooms = Some((now, value(&own.mass)));
        // What a kWh into the rooms does now, by the mass and by the air.
        flows.plant_room.rooms_value = formulation.room_rows[slot].rooms.map_or(0.0, |rows| {
            let by_air = dual(answer, rows.cold) + dual(answer, rows.warm);
            by_air * air[1] - dual(answer, rows.mass) * mass[1]
        });
    }
    for (index, route) in duties.routes.iter().enumerate() {
        flows.routes[index].value = match route.sink {
            Sink::Coil { store, coil } => {
                let zone = formulation.ladders[store].coil_zone[coil];
                let steps = duties.steps[slot][index].iter();
                let reach = steps.take_while(|step| step.kw > 0.0).count();
                heat_value(formulation, answer, flows, slot, (store, zone, reach))
            }
            Sink::Buffer => flows.plant_room.buffer_value,
            Sink::Rooms => flows.plant_room.rooms_value,
            Sink::Pool => flows.plant_room.pool_value,
        };
    }
}

/// Heat that reaches a sink in a slot.
fn heat_into(flows: &SlotFlows, routes: &[Route], sink: Sink) -> f64 {
    let own = routes.iter().zip(&flows.routes).filter(|(route, _)| route.sink == sink);
    own.map(|(_, flow)| flow.heat).sum()
}

/// Worth of one more kWh through a heater in a slot: the best of all ways to
/// lift a litre that is there, from the rung it stands at to a higher one.
/// Zero where nothing can be lifted.
///
/// The dual of the heater's own balance is not used: where the heater is off it
/// may be anything up to the price.
fn heat_value(
    formulation: &Formulation,
    answer: &Answer,
    flows: &SlotFlows,
    slot: usize,
    (store, lowest, reach): (usize, usize, usize),
) -> f64 {
    let ladder = &formulation.ladders[store];
    let mut best = 0.0_f64;
    for zone in lowest..ladder.zones() {
        let litres = &flows.stores[store].litres[zone];
        let rows = &formulation.store_rows[slot][store][zone];
        let at_or_above = |rung: usize| match rung {
            0 => ladder.volumes[zone],
            _ => litres.get(rung - 1).copied().unwrap_or(0.0),
        };
        for from in 0..reach {
            if at_or_above(from) - at_or_above(from + 1) < 1e-3 {
                continue;
            }
            let (mut worth, mut heat) = (0.0, 0.0);
            for to in from + 1..=reach {
                worth -= dual(answer, rows[to - 1]);
                heat += ladder.step_kwh(to);
                best = best.max(worth / heat);
            }
        }
    }
    best
}

fn slot_flows(columns: &SlotColumns, flow: &impl Fn(&Col) -> f64) -> SlotFlows {
    SlotFlows {
        import: flow(&columns.import),
        export: flow(&columns.export),
        pv: flow(&columns.pv),
        missing: columns.missing.as_ref().map_or(0.0, flow),
        charge: columns.battery.as_ref().map_or(0.0, |b| flow(&b.charge)),
        discharge: columns.battery.as_ref().map_or(0.0, |b| flow(&b.discharge)),
        battery: columns.battery.as_ref().map_or(0.0, |b| flow(&b.level)),
        heaters: columns.heaters.iter().map(|h| flow(&h.energy)).collect(),
        heat_value: Vec::new(),
        electricity_value: 0.0,
        battery_value: 0.0,
        routes: Vec::new(),
        circulation: 0.0,
        plant_room: PlantRoomFlows::default(),
        stores: columns
            .stores
            .iter()
            .map(|store| StoreFlows {
                litres: store.litres.iter().map(|zone| zone.iter().map(flow).collect()).collect(),
                unmet: store.classes.iter().map(|class| flow(&class.unmet)).sum(),
                reserve_short: flow(&store.reserve_short),
            })
            .collect(),
    }
}
