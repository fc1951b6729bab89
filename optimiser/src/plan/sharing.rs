//! How one slot is shared: which minutes each element is on, and whose energy
//! it uses.

use std::collections::BTreeSet;

use crate::problem::{HeaterId, Problem};
use crate::site::Control;
use crate::solution::{SlotFlows, Solution};
use crate::time::Slot;

use super::jobs::peak_kw;

/// Less energy than this is rounding, not a flow [kWh].
const NOTHING: f64 = 1e-7;

/// Power and minutes of one heater in a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Run {
    pub(crate) kw: f64,
    pub(crate) minutes: f64,
    pub(crate) delay: f64,
}

impl Run {
    pub(crate) const OFF: Self = Self { kw: 0.0, minutes: 0.0, delay: 0.0 };
}

/// Sets the minutes of all heaters for their energies [kWh] so that the import
/// limit holds at every instant beside a steady power [kW]; `None` if that
/// cannot be done by shifting them in the slot. In a surplus they run one after
/// the other where there is time, so that each has the sun to itself.
pub(crate) fn arrange(
    problem: &Problem,
    slot: usize,
    energies: &[f64],
    steady_kw: f64,
    stage: Stage,
) -> Option<Vec<Run>> {
    let hours = problem.horizon.slots()[slot].hours();
    let limit = problem.site.grid.import_limit.kw() + 1e-6;
    let mut runs = runs_at(problem, slot, energies, stage);
    let total: f64 = runs.iter().filter(|r| r.minutes > 0.0).map(|r| r.kw).sum();
    let minutes: f64 = runs.iter().map(|r| r.minutes).sum();
    let surplus = problem.pv[slot].kwh() > problem.base_load[slot].kwh();
    let in_turn = surplus && minutes <= hours * 60.0 + 1e-6;
    if steady_kw + total <= limit && !in_turn {
        return Some(runs);
    }
    // Longest first, each at the first minute where it fits.
    let mut order: Vec<usize> = (0..runs.len()).filter(|&i| runs[i].minutes > 0.0).collect();
    order.sort_by(|&a, &b| runs[b].minutes.total_cmp(&runs[a].minutes).then(a.cmp(&b)));
    let mut placed: Vec<Run> = Vec::new();
    for index in order {
        let room = if in_turn { runs[index].kw } else { limit - steady_kw };
        let delay = first_fit(&placed, runs[index], hours * 60.0, room)?;
        runs[index].delay = delay;
        placed.push(runs[index]);
    }
    let highest = runs.iter().map(|r| r.kw).fold(0.0, f64::max);
    (!in_turn || steady_kw + highest <= limit).then_some(runs)
}

/// Slots whose elements cannot be arranged within the import limit.
pub(super) fn crowded(problem: &Problem, solution: &Solution) -> BTreeSet<usize> {
    let slots = solution.slots.iter().enumerate();
    slots
        .filter(|(slot, flows)| arrange_flows(problem, *slot, flows).is_none())
        .map(|(slot, _)| slot)
        .collect()
}

/// Power beside the heaters, at its mean over the slot [kW].
fn steady_kw(problem: &Problem, slot: usize, flows: &SlotFlows) -> f64 {
    let hours = problem.horizon.slots()[slot].hours();
    let base = problem.base_load[slot].kwh() + flows.circulation;
    let jobs = problem.site.plant_room.routes();
    let busy = jobs.iter().zip(&flows.routes).filter(|(_, flow)| flow.electricity > NOTHING);
    (base + flows.charge - flows.pv - flows.discharge) / hours
        + peak_kw(problem, slot, busy.map(|(route, _)| route.source))
}

fn runs_at(problem: &Problem, slot: usize, energies: &[f64], stage: Stage) -> Vec<Run> {
    let hours = problem.horizon.slots()[slot].hours();
    let heaters = problem.heaters().zip(energies);
    heaters.map(|(id, &energy)| run(problem, id, energy, hours, stage)).collect()
}

/// Sets the minutes of all heaters for an answer's flows in a slot.
pub(super) fn arrange_flows(problem: &Problem, slot: usize, flows: &SlotFlows) -> Option<Vec<Run>> {
    let steady = steady_kw(problem, slot, flows);
    let lowest = runs_at(problem, slot, &flows.heaters, Stage::Lowest);
    let counts_on_more = flows.import.min(flows.export) > swing(problem, slot, &lowest) + NOTHING;
    let stage = if counts_on_more { Stage::Full } else { Stage::Lowest };
    arrange(problem, slot, &flows.heaters, steady, stage)
}

/// Which stage a staged element runs at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Stage {
    /// The lowest that gives the energy within the slot.
    Lowest,
    /// Full power for part of the slot, where the plan counts on the surplus
    /// being exported while it is off.
    Full,
}

/// Energy that passes the meter both ways because elements switch [kWh].
fn swing(problem: &Problem, slot: usize, runs: &[Run]) -> f64 {
    let hours = problem.horizon.slots()[slot].hours();
    let surplus = (problem.pv[slot].kwh() - problem.base_load[slot].kwh()) / hours;
    if surplus <= 0.0 {
        return 0.0;
    }
    let control = |id: HeaterId| &problem.site.stores[id.store].elements[id.element].control;
    let switched = problem.heaters().zip(runs);
    let switched =
        switched.filter(|(id, run)| *control(*id) != Control::Modulating && run.kw > surplus);
    let (on, longest) = switched.fold((0.0, 0.0_f64), |(on, longest), (_, run)| {
        (on + (run.kw - surplus) * run.minutes / 60.0, longest.max(run.minutes / 60.0))
    });
    on.min(surplus * (hours - longest))
}

fn run(problem: &Problem, id: HeaterId, energy: f64, hours: f64, stage: Stage) -> Run {
    if energy <= NOTHING {
        return Run::OFF;
    }
    let element = &problem.site.stores[id.store].elements[id.element];
    let mean = energy / hours;
    let kw = match &element.control {
        Control::Modulating => mean,
        Control::Staged(powers) if stage == Stage::Lowest => {
            let fits = powers.iter().map(|p| p.kw()).find(|&p| p >= mean - 1e-9);
            fits.unwrap_or(element.power.kw())
        }
        Control::OnOff | Control::Staged(_) => element.power.kw(),
    };
    Run { kw, minutes: (energy / kw * 60.0).min(hours * 60.0), delay: 0.0 }
}

/// The first delay at which a run fits beside those placed.
fn first_fit(placed: &[Run], run: Run, slot_minutes: f64, room_kw: f64) -> Option<f64> {
    let mut starts: Vec<f64> = placed.iter().map(|p| p.delay + p.minutes).collect();
    starts.push(0.0);
    starts.sort_by(f64::total_cmp);
    starts.into_iter().find(|&start| {
        let end = start + run.minutes;
        let peak = |at: f64| -> f64 {
            placed
                .iter()
                .filter(|p| p.delay <= at + 1e-9 && at + 1e-9 < p.delay + p.minutes)
                .map(|p| p.kw)
                .sum()
        };
        let inside = placed.iter().map(|p| p.delay).filter(|&d| d >= start && d < end - 1e-9);
        end <= slot_minutes + 1e-6 && inside.chain([start]).all(|at| peak(at) + run.kw <= room_kw)
    })
}

/// Energy of heaters and jobs in a slot by source [kWh].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sources {
    pub(crate) pv: f64,
    pub(crate) battery: f64,
    pub(crate) grid: f64,
}

/// Whose energy the heaters use, by this rule: PV serves the base load first,
/// then a battery that may not charge from the grid, then heaters and jobs, then
/// the battery, then export. What an on/off element draws beyond the surplus
/// while on does not come from PV. The battery serves the rest of the base
/// load first, then heaters if it may. The grid gives the rest.
pub(crate) fn sources(problem: &Problem, slot: usize, flows: &SlotFlows, swing: f64) -> Sources {
    let jobs: f64 = flows.routes.iter().map(|flow| flow.electricity).sum();
    let total = flows.heaters.iter().sum::<f64>() + jobs;
    let base = problem.base_load[slot].kwh() + flows.circulation;
    let mut sun = (flows.pv - base).max(0.0);
    let (feeds, from_grid) =
        problem.site.battery.map_or((false, false), |b| (b.feeds_heaters, b.charges_from_grid));
    if !from_grid {
        sun = (sun - flows.charge).max(0.0);
    }
    let pv = sun.min(total - swing).max(0.0);
    let uncovered = (base - flows.pv).max(0.0);
    let spare = if feeds { (flows.discharge - uncovered).max(0.0) } else { 0.0 };
    let battery = spare.min(total - pv);
    Sources { pv, battery, grid: total - pv - battery }
}

/// Length of a slot in minutes.
pub(crate) fn minutes(slot: Slot) -> f64 {
    slot.seconds() as f64 / 60.0
}
