//! A judged plan in the form of an answer, with simulated flows.

use crate::plant::{Outcome, PlantRoomTrace};
use crate::problem::Problem;
use crate::site::{Route, Source};
use crate::solution::{RouteFlow, SlotFlows, Solution};

use super::candidate::Candidate;
use super::score::{Judge, end_worth, reserve_short};

/// The program's answer with the flows, stores and worth that the simulated
/// plant gives a candidate; values and prices stay the program's.
pub(crate) fn judged_solution(
    judge: &Judge<'_>,
    solution: &Solution,
    candidate: &Candidate,
) -> Solution {
    let problem = judge.problem;
    let outcome = &candidate.outcome;
    let mut judged = solution.clone();
    let reserve = reserve_short(problem, outcome);
    let routes = solution.routes.as_slice();
    for (slot, flows) in judged.slots.iter_mut().enumerate() {
        let house = &outcome.house[slot];
        flows.import = house.import_kwh;
        flows.export = house.export_kwh;
        flows.pv = house.pv_kwh;
        flows.charge = house.charge_kwh;
        flows.discharge = house.discharge_kwh;
        flows.battery = house.battery_kwh;
        flows.heaters = used(problem, outcome, slot);
        for (store, own) in flows.stores.iter_mut().enumerate() {
            own.unmet = outcome.stores[store].slots()[slot].unmet_kwh;
            own.reserve_short = reserve[slot].0;
        }
        if let Some(trace) = &outcome.plant_room {
            room_flows(trace, slot, routes, flows);
        }
    }
    judged.ready_short = judge.ready_short(outcome);
    judged.end_value = end_worth(problem, outcome);
    judged
}

/// Energy that each heater used in a slot [kWh].
fn used(problem: &Problem, outcome: &Outcome, slot: usize) -> Vec<f64> {
    problem.heaters().map(|id| outcome.stores[id.store].used(slot)[id.element]).collect()
}

/// What the sources did in a slot, and what buffer, rooms and pool came to.
fn room_flows(trace: &PlantRoomTrace, slot: usize, routes: &[Route], flows: &mut SlotFlows) {
    let record = &trace.slots()[slot];
    for (route, flow) in routes.iter().zip(&mut flows.routes) {
        let job = record.jobs.iter().find(|job| job.route == *route);
        *flow = RouteFlow {
            heat: job.map_or(0.0, |job| job.heat_kwh),
            electricity: job.map_or(0.0, |job| job.electricity_kwh),
            fuel: job.map_or(0.0, |job| job.fuel_kwh),
            hours: job.map_or(0.0, |job| job.minutes / 60.0),
            value: flow.value,
        };
    }
    let elements = record.jobs.iter().filter(|job| job.route.source == Source::Immersion);
    let other = record.jobs.iter().map(|job| job.electricity_kwh).sum::<f64>()
        - elements.map(|job| job.electricity_kwh).sum::<f64>();
    flows.circulation = (record.electricity_kwh - other).max(0.0);
    let room = &mut flows.plant_room;
    room.buffer = room.buffer.map(|_| trace.buffer(slot + 1));
    room.rooms = room.rooms.map(|_| (record.air, trace.rooms(slot + 1).1));
    room.pool = room.pool.map(|_| trace.pool(slot + 1));
}
