//! A judged plan in the form of an answer, with simulated flows.

use crate::plant::Outcome;
use crate::problem::Problem;
use crate::solution::Solution;

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
    }
    judged.ready_short = judge.ready_short(outcome);
    judged.end_value = end_worth(problem, outcome);
    judged
}

/// Energy that each heater used in a slot [kWh].
fn used(problem: &Problem, outcome: &Outcome, slot: usize) -> Vec<f64> {
    problem.heaters().map(|id| outcome.stores[id.store].used(slot)[id.element]).collect()
}
