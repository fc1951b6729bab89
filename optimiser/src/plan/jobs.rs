//! How the heat that sources give in each slot becomes jobs: which source serves
//! which sink from which minute on.
//!
//! A source does its jobs one after the other in the order of its routes, hot
//! water first where the site names it first. Into a coil it gives all that it
//! can. Buffer, rooms and pool take it over as much of the slot as a unit that
//! modulates can be stretched, so that its run is long and its flow is cool. Runs
//! that touch are one run; a rest that is too short is run through.

use std::collections::BTreeSet;

use crate::lanes::source_celsius;
use crate::plant::JobCommand;
use crate::problem::Problem;
use crate::site::{Route, Sink, Source};
use crate::solution::Solution;
use crate::units::Energy;

use super::sharing::minutes;

/// Less heat than this is rounding, not a job [kWh].
const NOTHING: f64 = 1e-5;

/// Heat of a route in a slot, and the time that it takes at full capacity.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Wish {
    /// Heat [kWh].
    pub(crate) heat: f64,
    /// Time at full capacity [h].
    pub(crate) hours: f64,
}

/// A job with its place in the slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placed {
    /// Index of the route.
    pub(super) route: usize,
    pub(super) delay: f64,
    pub(super) minutes: f64,
    /// Heat that is wished for [kWh].
    pub(super) heat: f64,
}

/// What a solution wishes of each route, `[route][slot]`.
pub(super) fn wishes(solution: &Solution) -> Vec<Vec<Wish>> {
    let of = |route: usize| {
        let flows = solution.slots.iter().map(|flows| flows.routes[route]);
        flows.map(|flow| Wish { heat: flow.heat, hours: flow.hours }).collect()
    };
    (0..solution.routes.len()).map(of).collect()
}

/// The jobs of every slot.
pub(super) fn placed(
    problem: &Problem,
    routes: &[Route],
    wishes: &[Vec<Wish>],
) -> Vec<Vec<Placed>> {
    let mut jobs = vec![Vec::new(); problem.horizon.len()];
    let mut first = 0;
    while first < routes.len() {
        let source = routes[first].source;
        let count = routes[first..].iter().take_while(|route| route.source == source).count();
        let own = Own { problem, routes, wishes, source, range: first..first + count };
        own.place(&mut jobs);
        first += count;
    }
    jobs
}

/// The commands for what is wished of each route, slot by slot.
pub(crate) fn commanded(
    problem: &Problem,
    routes: &[Route],
    wishes: &[Vec<Wish>],
) -> Vec<Vec<JobCommand>> {
    placed(problem, routes, wishes).iter().map(|own| job_commands(routes, own)).collect()
}

/// The commands for the jobs of a slot.
pub(super) fn job_commands(routes: &[Route], jobs: &[Placed]) -> Vec<JobCommand> {
    let command = |job: &Placed| {
        JobCommand::giving(routes[job.route], job.delay, job.minutes, Energy::clamped(job.heat))
    };
    jobs.iter().map(command).collect()
}

/// Slots in which a heat pump would run for less than its least time.
pub(super) fn short_runs(problem: &Problem, solution: &Solution) -> BTreeSet<(Source, usize)> {
    let mut found = BTreeSet::new();
    for (index, pump) in problem.site.plant_room.heat_pumps.iter().enumerate() {
        let least = pump.least_run_seconds as f64 / 60.0;
        let own: Vec<usize> = (0..solution.routes.len())
            .filter(|&route| solution.routes[route].source == Source::HeatPump(index))
            .collect();
        let state = problem.state.plant_room.heat_pumps.get(index).copied().unwrap_or_default();
        let mut run: Vec<usize> = Vec::new();
        let mut length = if state.serves.is_some() { state.seconds / 60.0 } else { 0.0 };
        for slot in 0..=solution.slots.len() {
            let on = solution.slots.get(slot).map_or(0.0, |flows| {
                own.iter().map(|&route| flows.routes[route].hours * 60.0).sum::<f64>()
            });
            if on > 60.0 * NOTHING {
                run.push(slot);
                length += on;
                continue;
            }
            // What goes on beyond the horizon may become longer.
            if length < least - 1e-6 && slot < solution.slots.len() {
                found.extend(run.iter().map(|&slot| (Source::HeatPump(index), slot)));
            }
            run.clear();
            length = 0.0;
        }
    }
    found
}

/// The routes of one source.
struct Own<'a> {
    problem: &'a Problem,
    routes: &'a [Route],
    wishes: &'a [Vec<Wish>],
    source: Source,
    range: std::ops::Range<usize>,
}

impl Own<'_> {
    fn place(&self, jobs: &mut [Vec<Placed>]) {
        let mut slots: Vec<Vec<Placed>> = (0..jobs.len()).map(|slot| self.lasting(slot)).collect();
        let (least_run, least_rest, runs_already) = self.times();
        let rests = self.rests();
        let on = |slots: &[Vec<Placed>], slot: usize| !slots[slot].is_empty();
        // Its circuits run all of the slot, beside each other.
        let in_turn = if self.source == Source::Buffer { 0..0 } else { 0..slots.len() };
        for slot in in_turn {
            let length = minutes(self.problem.horizon.slots()[slot]);
            let before = slot.checked_sub(1).map_or(runs_already, |s| on(&slots, s));
            let behind = slot + 1 < slots.len() && on(&slots, slot + 1);
            let own = &mut slots[slot];
            let Some(last) = own.len().checked_sub(1) else { continue };
            let total: f64 = own.iter().map(|job| job.minutes).sum();
            if !before && !behind && total < least_run {
                own[last].minutes += least_run.min(length) - total;
            } else if before && behind && length - total < least_rest {
                own[last].minutes += length - total;
            }
            let total: f64 = own.iter().map(|job| job.minutes).sum();
            let spare = (length - total).max(0.0);
            let mut at = if behind && !before { spare } else { 0.0 };
            if slot == 0 {
                at = at.max(rests.min(spare));
            }
            for job in own {
                job.delay = at;
                at += job.minutes;
            }
        }
        for (all, own) in jobs.iter_mut().zip(slots) {
            all.extend(own);
        }
    }

    /// The jobs of a slot with their minutes, not yet placed.
    fn lasting(&self, slot: usize) -> Vec<Placed> {
        let length = minutes(self.problem.horizon.slots()[slot]);
        let wished = self.range.clone().filter(|&route| self.wishes[route][slot].heat > NOTHING);
        let mut own: Vec<Placed> = wished
            .map(|route| {
                let wish = self.wishes[route][slot];
                let minutes = (wish.hours * 60.0).min(length);
                Placed { route, delay: 0.0, minutes, heat: wish.heat }
            })
            .collect();
        if self.source == Source::Buffer {
            for job in &mut own {
                job.minutes = length;
            }
            return own;
        }
        let least_kw = self.least_kw(slot);
        let stretched = |job: &Placed| {
            let coil = matches!(self.routes[job.route].sink, Sink::Coil { .. });
            let longest = if coil { job.minutes } else { 60.0 * job.heat / least_kw };
            longest.max(job.minutes)
        };
        let total: f64 = own.iter().map(|job| job.minutes).sum();
        let room: f64 = own.iter().map(|job| stretched(job) - job.minutes).sum();
        if room > 0.0 && total < length {
            let share = ((length - total) / room).min(1.0);
            for job in &mut own {
                job.minutes += share * (stretched(job) - job.minutes);
            }
        }
        own
    }

    /// The least that the source can run at [kW]; infinite for what is on or off.
    fn least_kw(&self, slot: usize) -> f64 {
        let room = &self.problem.site.plant_room;
        match self.source {
            Source::HeatPump(index) => {
                let pump = &room.heat_pumps[index];
                let celsius = source_celsius(self.problem, pump, slot);
                let flow = MILD_FLOW.min(pump.flow_limit.celsius());
                pump.least_share.value() * pump.at(celsius, flow).capacity_kw
            }
            Source::Boiler => room
                .boiler
                .as_ref()
                .map_or(f64::INFINITY, |own| own.least_share.value() * own.power.kw()),
            Source::Collectors | Source::Immersion | Source::Buffer => f64::INFINITY,
        }
    }

    /// Least run and rest [min], and whether it runs when the plan begins.
    fn times(&self) -> (f64, f64, bool) {
        let room = &self.problem.site.plant_room;
        let here = &self.problem.state.plant_room;
        let in_minutes = |seconds: i64| seconds as f64 / 60.0;
        match self.source {
            Source::HeatPump(index) => {
                let pump = &room.heat_pumps[index];
                let state = here.heat_pumps.get(index).copied().unwrap_or_default();
                let rest = in_minutes(pump.least_rest_seconds);
                (in_minutes(pump.least_run_seconds), rest, state.serves.is_some())
            }
            Source::Boiler => {
                let run = room.boiler.as_ref().map_or(0.0, |b| in_minutes(b.least_run_seconds));
                (run, 0.0, here.boiler.serves.is_some())
            }
            Source::Collectors | Source::Immersion | Source::Buffer => (0.0, 0.0, false),
        }
    }

    /// Minutes that a machine must still rest when the plan begins.
    fn rests(&self) -> f64 {
        let Source::HeatPump(index) = self.source else { return 0.0 };
        let state = self.problem.state.plant_room.heat_pumps.get(index).copied();
        let state = state.unwrap_or_default();
        let least = self.problem.site.plant_room.heat_pumps[index].least_rest_seconds as f64;
        if state.serves.is_some() { 0.0 } else { (least - state.seconds).max(0.0) / 60.0 }
    }
}

/// A flow at which the least power of a heat pump is taken [°C].
const MILD_FLOW: f64 = 35.0;
