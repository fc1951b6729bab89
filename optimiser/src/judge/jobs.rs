//! Direct search over the jobs of heat pumps and boiler: take heat out of a slot,
//! carry it to a cheaper or a later one, add it before what is short, or let a
//! source give what an element gave. As with elements, moves that save most by the
//! program's values come first and only the plant decides.

use crate::model::{Duties, Ladder};
use crate::plan::{Wish, job_commands, placed, wishes};
use crate::problem::Problem;
use crate::site::{Route, Sink, Source};
use crate::solution::Solution;

use super::candidate::Candidate;
use super::moves::short_slots;
use super::polish::Search;
use super::score::Judge;

/// Quanta of the search, as shares of what a source makes in half an hour.
const QUANTA: [f64; 3] = [1.0, 0.4, 0.15];

/// Slots that heat is carried to, at most, for each slot it is taken from.
const TARGETS: usize = 3;

/// Slots before something short that heat is added in.
const LEAD_SLOTS: usize = 24;

/// A better score than this is worth a change [minor].
const GAIN: f64 = 1e-3;

/// Less heat than this is not worth a run [kWh].
const NOTHING: f64 = 1e-3;

/// Shares of the simulations that a plan of elements has.
const SHARE: usize = 8;

/// Heat added to a route in a slot, or to an element; negative if taken [kWh].
#[derive(Debug, Clone, Copy, PartialEq)]
enum Change {
    Route(usize, usize, f64),
    Element(usize, usize, f64),
}

/// Changes that belong together, and what they promise to save [minor].
struct Move {
    changes: Vec<Change>,
    promise: f64,
}

/// A candidate with the heat that its jobs are made of.
#[derive(Clone)]
struct Plan {
    candidate: Candidate,
    wishes: Vec<Vec<Wish>>,
}

/// Improves the jobs of a candidate, from those of the program's answer.
pub(crate) fn polish_jobs(
    judge: &mut Judge<'_>,
    best: Candidate,
    solution: &Solution,
    search: Search<'_>,
) -> Candidate {
    let own = Jobs::new(judge.problem(), solution, search.values);
    if own.routes.is_empty() {
        return best;
    }
    let mut plan = Plan { candidate: best.clone(), wishes: wishes(solution) };
    let all: Vec<usize> = (0..search.values.len()).collect();
    // A plan carried on from another has jobs that the answer knows nothing of.
    if !own.run(judge, &mut plan, &all) || plan.candidate.score > best.score + GAIN {
        return best;
    }
    let mut simulations = search.simulations / SHARE;
    for quantum in QUANTA {
        loop {
            let before = plan.candidate.score;
            for change in own.moves(judge, &plan, quantum) {
                if simulations == 0 {
                    return plan.candidate;
                }
                simulations -= 1;
                own.attempt(judge, &mut plan, &change);
            }
            if plan.candidate.score > before - GAIN {
                break;
            }
        }
    }
    plan.candidate
}

/// What the search knows of the sources.
struct Jobs<'a> {
    all: &'a [Route],
    /// Routes whose heat is moved.
    routes: Vec<usize>,
    /// Heat of each route at full capacity [kW], and electricity for each kWh, in the
    /// mean of all slots.
    rates: Vec<(f64, f64)>,
    values: &'a [f64],
}

impl<'a> Jobs<'a> {
    fn new(problem: &Problem, solution: &'a Solution, values: &'a [f64]) -> Self {
        let all = solution.routes.as_slice();
        let ladders: Vec<Ladder> = problem.site.stores.iter().map(Ladder::new).collect();
        let duties = Duties::new(problem, &ladders);
        let rates: Vec<(f64, f64)> = (0..all.len()).map(|route| duties.mean(route)).collect();
        let back_up = problem.site.plant_room.boiler.as_ref().is_some_and(|b| b.back_up_only);
        let movable = |route: usize| match all[route].source {
            Source::HeatPump(_) => rates[route].0 > 0.0,
            Source::Boiler => rates[route].0 > 0.0 && !back_up,
            Source::Collectors | Source::Immersion | Source::Buffer => false,
        };
        Self { all, routes: (0..all.len()).filter(|&r| movable(r)).collect(), rates, values }
    }

    /// The moves worth trying at a quantum, the most promising first.
    fn moves(&self, judge: &Judge<'_>, plan: &Plan, quantum: f64) -> Vec<Move> {
        let mut found = Vec::new();
        for &route in &self.routes {
            let (kw, _) = self.rates[route];
            let step = quantum * kw * 0.5;
            for slot in 0..self.values.len() {
                let has = plan.wishes[route][slot].heat;
                if has < NOTHING {
                    continue;
                }
                let kwh = step.min(has);
                let less = Change::Route(route, slot, -kwh);
                found.push(vec![less]);
                let cheaper = self.targets(judge, plan, route, kwh, |other| {
                    other != slot && self.values[other] <= self.values[slot]
                });
                let later = (slot + 1..self.values.len())
                    .take(LEAD_SLOTS)
                    .find(|&other| self.has_room(judge, plan, route, other, kwh));
                let targets = cheaper.into_iter().chain(later);
                found.extend(targets.map(|other| vec![less, Change::Route(route, other, kwh)]));
            }
            if let Sink::Coil { store, .. } = self.all[route].sink {
                found.extend(self.additions(judge, plan, (route, store), step));
            }
        }
        let mut moves: Vec<Move> = found
            .into_iter()
            .map(|changes| Move { promise: self.promise(judge, &changes), changes })
            .collect();
        moves.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        moves
    }

    /// Heat in place of an element's, and heat before what is short.
    fn additions(
        &self,
        judge: &Judge<'_>,
        plan: &Plan,
        (route, store): (usize, usize),
        step: f64,
    ) -> Vec<Vec<Change>> {
        let mut found = Vec::new();
        for (heater, id) in judge.problem().heaters().enumerate() {
            let row = &plan.candidate.energies[heater];
            for slot in (0..row.len()).filter(|&slot| id.store == store && row[slot] > NOTHING) {
                let kwh = step.min(row[slot]);
                let before = self.targets(judge, plan, route, kwh, |other| {
                    other <= slot && other + LEAD_SLOTS > slot
                });
                found.extend(before.into_iter().map(|other| {
                    vec![Change::Element(heater, slot, -kwh), Change::Route(route, other, kwh)]
                }));
            }
        }
        for until in short_slots(judge, &plan.candidate, store) {
            let before = self.targets(judge, plan, route, step, |other| {
                other < until && other + LEAD_SLOTS >= until
            });
            found.extend(before.into_iter().map(|other| vec![Change::Route(route, other, step)]));
        }
        found
    }

    /// The cheapest slots of those wanted that have room for so much more heat.
    fn targets(
        &self,
        judge: &Judge<'_>,
        plan: &Plan,
        route: usize,
        kwh: f64,
        wanted: impl Fn(usize) -> bool,
    ) -> Vec<usize> {
        let mut slots: Vec<usize> = (0..self.values.len())
            .filter(|&slot| wanted(slot) && self.has_room(judge, plan, route, slot, kwh))
            .collect();
        slots.sort_by(|&a, &b| self.values[a].total_cmp(&self.values[b]).then(b.cmp(&a)));
        slots.truncate(TARGETS);
        slots
    }

    /// Whether the source of a route has the time for so much more heat in a slot.
    fn has_room(
        &self,
        judge: &Judge<'_>,
        plan: &Plan,
        route: usize,
        slot: usize,
        kwh: f64,
    ) -> bool {
        let same = |other: &usize| self.all[*other].source == self.all[route].source;
        let busy = (0..self.all.len()).filter(same).map(|other| plan.wishes[other][slot].hours);
        let span = judge.problem().horizon.slots()[slot];
        !judge.problem().ambient.holds_off(self.all[route], span)
            && busy.sum::<f64>() + kwh / self.rates[route].0 <= span.hours() + 1e-9
    }

    fn promise(&self, judge: &Judge<'_>, changes: &[Change]) -> f64 {
        let saved = changes.iter().map(|change| match *change {
            Change::Route(route, slot, kwh) => -kwh * self.rates[route].1 * self.values[slot],
            Change::Element(_, slot, kwh) => -kwh * self.values[slot],
        });
        let saved: f64 = saved.sum();
        // Heat that is only added is for something that is short.
        let added = changes.iter().all(|change| match *change {
            Change::Route(.., kwh) | Change::Element(.., kwh) => kwh > 0.0,
        });
        if added { judge.problem().weights.unmet_per_kwh } else { saved }
    }

    /// Tries a change and keeps it if the plant scores it better.
    fn attempt(&self, judge: &mut Judge<'_>, plan: &mut Plan, change: &Move) {
        let mut trial = plan.clone();
        let mut changed = Vec::with_capacity(2 * change.changes.len());
        for change in &change.changes {
            match *change {
                Change::Route(route, slot, kwh) => {
                    if kwh > 0.0 && !self.has_room(judge, &trial, route, slot, kwh) {
                        return;
                    }
                    let own = &mut trial.wishes[route][slot];
                    if kwh < 0.0 && own.heat < -kwh - 1e-9 {
                        return;
                    }
                    own.heat = (own.heat + kwh).max(0.0);
                    own.hours = (own.hours + kwh / self.rates[route].0).max(0.0);
                    changed.extend([slot.saturating_sub(1), slot]);
                }
                Change::Element(heater, slot, kwh) => {
                    let own = &mut trial.candidate.energies[heater][slot];
                    if *own < -kwh - 1e-9 {
                        return;
                    }
                    *own = (*own + kwh).max(0.0);
                    changed.push(slot);
                }
            }
        }
        if self.run(judge, &mut trial, &changed)
            && trial.candidate.score < plan.candidate.score - GAIN
        {
            *plan = trial;
        }
    }

    /// Places the jobs anew and runs the plant; false if that cannot be commanded.
    fn run(&self, judge: &mut Judge<'_>, plan: &mut Plan, changed: &[usize]) -> bool {
        let problem = judge.problem();
        let jobs = placed(problem, self.all, &plan.wishes);
        plan.candidate.commands.jobs = jobs.iter().map(|own| job_commands(self.all, own)).collect();
        judge.rerun_whole(&mut plan.candidate, changed)
    }
}
