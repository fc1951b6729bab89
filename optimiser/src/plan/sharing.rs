//! How one slot is shared: which minutes each element is on, and whose energy
//! it uses.

use std::collections::BTreeSet;

use crate::lanes::{Beside, Lanes, Room, heater_shares, peak_kw, room};
use crate::problem::{HeaterId, Problem};
use crate::site::{Control, Source};
use crate::solution::{SlotFlows, Solution};
use crate::time::Slot;

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
/// limit and the fuses of phases hold at every instant within the room that is left;
/// `None` if that cannot be done by shifting them in the slot. In a surplus they run
/// one after the other where there is time, so that each has the sun to itself.
pub(crate) fn arrange(
    problem: &Problem,
    slot: usize,
    energies: &[f64],
    room: &Room,
    stage: Stage,
) -> Option<Vec<Run>> {
    if room.is_crowded {
        return None;
    }
    let length = problem.horizon.slots()[slot].hours() * 60.0;
    let left = room.kw.map(|kw| kw + 1e-6);
    let mut runs = runs_at(problem, slot, energies, stage);
    let loads: Vec<Lanes> = runs
        .iter()
        .enumerate()
        .map(|(heater, run)| heater_shares(problem, heater).map(|share| share * run.kw))
        .collect();
    let mut order: Vec<usize> = (0..runs.len()).filter(|&i| runs[i].minutes > 0.0).collect();
    let minutes: f64 = runs.iter().map(|r| r.minutes).sum();
    let surplus = problem.pv[slot].kwh() > problem.base_load[slot].kwh();
    let in_turn = surplus && minutes <= length + 1e-6;
    if fits(order.iter().map(|&index| &loads[index]), &left) && !in_turn {
        return Some(runs);
    }
    // Longest first, each at the first minute where it fits.
    order.sort_by(|&a, &b| runs[b].minutes.total_cmp(&runs[a].minutes).then(a.cmp(&b)));
    let mut placed: Vec<(Run, Lanes)> = Vec::new();
    for index in order {
        let alone = [runs[index].kw + 1e-6, left[1], left[2], left[3]];
        let room = if in_turn { alone } else { left };
        let delay = first_fit(&placed, (runs[index], loads[index]), length, &room)?;
        runs[index].delay = delay;
        placed.push((runs[index], loads[index]));
    }
    let each_fits = placed.iter().all(|(_, load)| fits(std::iter::once(load), &left));
    (!in_turn || each_fits).then_some(runs)
}

/// Whether loads fit beside each other.
fn fits<'a>(loads: impl Iterator<Item = &'a Lanes>, room: &Lanes) -> bool {
    let mut sum = [0.0; 4];
    for load in loads {
        for (sum, kw) in sum.iter_mut().zip(load) {
            *sum += kw;
        }
    }
    // Where nothing is on, nothing can be taken off.
    sum.iter().zip(room).all(|(sum, room)| *sum <= 0.0 || sum <= room)
}

/// Slots in which elements and sources cannot be arranged within the limits.
pub(super) fn crowded(problem: &Problem, solution: &Solution) -> BTreeSet<usize> {
    let slots = solution.slots.iter().enumerate();
    slots
        .filter(|(slot, flows)| arrange_flows(problem, *slot, flows).is_none())
        .map(|(slot, _)| slot)
        .collect()
}

/// Slots in which there would be no room for everything at once.
pub(super) fn narrow(problem: &Problem, solution: &Solution) -> BTreeSet<usize> {
    let all: Vec<Source> = solution.routes.iter().map(|route| route.source).collect();
    let elements: Vec<Lanes> = problem
        .heaters()
        .enumerate()
        .map(|(heater, id)| {
            let kw = problem.site.stores[id.store].elements[id.element].power.kw();
            heater_shares(problem, heater).map(|share| share * kw)
        })
        .collect();
    let charge = problem.site.battery.map_or(0.0, |battery| battery.charge_limit.kw());
    (0..solution.slots.len())
        .filter(|&slot| {
            let battery = charge * problem.horizon.slots()[slot].hours();
            let beside = Beside { base: problem.base_load[slot].kwh(), pv: 0.0, battery };
            let room = room(problem, slot, beside, all.iter().copied());
            room.is_crowded || !fits(elements.iter(), &room.kw)
        })
        .collect()
}

/// Sources that rest in a slot because they do not fit beside others that an answer
/// has there, without help of the battery: those that it has come first, in the order
/// of the site.
pub(super) fn without_room(problem: &Problem, solution: &Solution, slot: usize) -> Vec<Source> {
    let flows = &solution.slots[slot];
    let base = problem.base_load[slot].kwh() + flows.circulation;
    let beside = Beside { base, pv: problem.pv[slot].kwh(), battery: 0.0 };
    let mut kept: Vec<Source> = Vec::new();
    let mut all: Vec<Source> = solution.routes.iter().map(|route| route.source).collect();
    all.dedup();
    all.retain(|&source| {
        if peak_kw(problem, slot, std::iter::once(source))[0] <= 0.0 {
            return false;
        }
        let own = solution.routes.iter().zip(&flows.routes);
        let works = own.filter(|(route, _)| route.source == source).any(|(_, f)| f.heat > NOTHING);
        let together = kept.iter().copied().chain([source]);
        let fits = works && !room(problem, slot, beside, together).is_crowded;
        if fits {
            kept.push(source);
        }
        !fits
    });
    all
}

/// What is left beside the house and the sources of an answer.
fn room_of(problem: &Problem, slot: usize, flows: &SlotFlows) -> Room {
    let jobs = problem.site.plant_room.routes();
    let busy = jobs.iter().zip(&flows.routes).filter(|(_, flow)| flow.electricity > NOTHING);
    let base = problem.base_load[slot].kwh() + flows.circulation;
    let beside = Beside { base, pv: flows.pv, battery: flows.charge - flows.discharge };
    room(problem, slot, beside, busy.map(|(route, _)| route.source))
}

fn runs_at(problem: &Problem, slot: usize, energies: &[f64], stage: Stage) -> Vec<Run> {
    let hours = problem.horizon.slots()[slot].hours();
    let heaters = problem.heaters().zip(energies);
    heaters.map(|(id, &energy)| run(problem, id, energy, hours, stage)).collect()
}

/// Sets the minutes of all heaters for an answer's flows in a slot.
pub(super) fn arrange_flows(problem: &Problem, slot: usize, flows: &SlotFlows) -> Option<Vec<Run>> {
    let room = room_of(problem, slot, flows);
    let lowest = runs_at(problem, slot, &flows.heaters, Stage::Lowest);
    let counts_on_more = flows.import.min(flows.export) > swing(problem, slot, &lowest) + NOTHING;
    let stage = if counts_on_more { Stage::Full } else { Stage::Lowest };
    let arranged = |stage| arrange(problem, slot, &flows.heaters, &room, stage);
    // At full power there is more time to take turns in.
    arranged(stage).or_else(|| arranged(Stage::Full))
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
fn first_fit(
    placed: &[(Run, Lanes)],
    (run, load): (Run, Lanes),
    slot_minutes: f64,
    room: &Lanes,
) -> Option<f64> {
    let mut starts: Vec<f64> = placed.iter().map(|(p, _)| p.delay + p.minutes).collect();
    starts.push(0.0);
    starts.sort_by(f64::total_cmp);
    starts.into_iter().find(|&start| {
        let end = start + run.minutes;
        let fits_at = |at: f64| {
            let on = placed
                .iter()
                .filter(|(p, _)| p.delay <= at + 1e-9 && at + 1e-9 < p.delay + p.minutes);
            fits(on.map(|(_, load)| load).chain([&load]), room)
        };
        let inside = placed.iter().map(|(p, _)| p.delay).filter(|&d| d >= start && d < end - 1e-9);
        end <= slot_minutes + 1e-6 && inside.chain([start]).all(fits_at)
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
