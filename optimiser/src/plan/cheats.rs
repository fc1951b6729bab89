//! Where the plain linear program does what one meter and one battery cannot.

use crate::model::{Direction, Refinement, both_ways};
use crate::problem::Problem;
use crate::site::Control;
use crate::solution::{SlotFlows, Solution};

/// Less energy than this is rounding, not a flow [kWh].
const NOTHING: f64 = 1e-6;

/// What goes both ways at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Device {
    Meter,
    Battery,
}

/// A slot in which a device goes both ways at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cheat {
    pub(super) slot: usize,
    pub(super) device: Device,
    /// The way that carries more.
    pub(super) leaning: Direction,
    /// Energy that goes the other way as well [kWh].
    pub(super) kwh: f64,
}

/// Every slot that cheats.
pub(super) fn cheats(problem: &Problem, solution: &Solution) -> Vec<Cheat> {
    let mut found = Vec::new();
    for (slot, flows) in solution.slots.iter().enumerate() {
        let lean = |inward: f64, outward: f64| {
            if inward >= outward { Direction::In } else { Direction::Out }
        };
        let both = flows.import.min(flows.export) - most_swing(problem, slot, flows);
        if both > NOTHING {
            let leaning = lean(flows.import, flows.export);
            found.push(Cheat { slot, device: Device::Meter, leaning, kwh: both });
        }
        let both = flows.charge.min(flows.discharge);
        if both > NOTHING {
            let leaning = lean(flows.charge, flows.discharge);
            found.push(Cheat { slot, device: Device::Battery, leaning, kwh: both });
        }
    }
    found
}

impl Cheat {
    /// Forbids one of the two ways.
    pub(super) fn forbid(&self, direction: Direction, refinement: &mut Refinement) {
        match self.device {
            Device::Meter => refinement.meter.insert(self.slot, direction),
            Device::Battery => refinement.battery.insert(self.slot, direction),
        };
    }
}

/// Most energy that may pass the meter both ways in a slot [kWh]: what elements
/// take beyond the surplus while on, and no more than the surplus while off; and what
/// phases that are counted by themselves pass on in different directions.
pub(super) fn most_swing(problem: &Problem, slot: usize, flows: &SlotFlows) -> f64 {
    switched(problem, slot, flows) + both_ways(problem, slot, flows)
}

/// What of it passes because elements switch [kWh].
fn switched(problem: &Problem, slot: usize, flows: &SlotFlows) -> f64 {
    let hours = problem.horizon.slots()[slot].hours();
    let surplus = (problem.pv[slot].kwh() - problem.base_load[slot].kwh()) / hours;
    if surplus <= 0.0 {
        return 0.0;
    }
    let off_time = problem.heaters().zip(&flows.heaters).filter_map(|(id, &energy)| {
        let element = &problem.site.stores[id.store].elements[id.element];
        let switches = element.control != Control::Modulating && element.power.kw() > surplus;
        switches.then(|| surplus * (hours - energy / element.power.kw()).max(0.0))
    });
    let while_off = off_time.fold(f64::INFINITY, f64::min);
    let while_on = problem.heaters().zip(&flows.heaters).filter_map(|(id, &energy)| {
        let element = &problem.site.stores[id.store].elements[id.element];
        let beyond = (1.0 - surplus / element.power.kw()).max(0.0);
        (element.control != Control::Modulating).then_some(beyond * energy)
    });
    while_on.sum::<f64>().min(while_off)
}
