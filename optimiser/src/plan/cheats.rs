//! Where the plain linear program does what one meter and one battery cannot.

use crate::model::Refinement;
use crate::problem::Problem;
use crate::site::Control;
use crate::solution::{SlotFlows, Solution};

use super::sharing::arrange;

/// Less energy than this is rounding, not a flow [kWh].
const NOTHING: f64 = 1e-6;

/// Notes every slot that cheats; whether there was a new one.
pub(super) fn found(problem: &Problem, solution: &Solution, refinement: &mut Refinement) -> bool {
    let mut new = false;
    for (slot, flows) in solution.slots.iter().enumerate() {
        if flows.import.min(flows.export) > most_swing(problem, slot, flows) + NOTHING {
            new |= refinement.one_way_meter.insert(slot);
        }
        if flows.charge.min(flows.discharge) > NOTHING {
            new |= refinement.one_way_battery.insert(slot);
        }
        if arrange(problem, slot, flows).is_none() {
            new |= refinement.overlap.insert(slot);
        }
    }
    new
}

/// Most energy that may pass the meter both ways in a slot: what elements at
/// full power take beyond the surplus while they are on [kWh].
pub(super) fn most_swing(problem: &Problem, slot: usize, flows: &SlotFlows) -> f64 {
    let hours = problem.horizon.slots()[slot].hours();
    let surplus = (problem.pv[slot].kwh() - problem.base_load[slot].kwh()) / hours;
    if surplus <= 0.0 {
        return 0.0;
    }
    problem
        .heaters()
        .zip(&flows.heaters)
        .filter_map(|(id, &energy)| {
            let element = &problem.site.stores[id.store].elements[id.element];
            let beyond = (1.0 - surplus / element.power.kw()).max(0.0) * energy;
            (element.control != Control::Modulating).then_some(beyond)
        })
        .sum()
}
