//! What a simulated outcome is worth.

use crate::plant::{Commands, HeaterCommand, Outcome, Plant, Scene};
use crate::problem::{Problem, ProblemError, ValueStep};
use crate::schedule::Cost;
use crate::time::Instant;
use crate::water::heat_kwh;

use super::candidate::{Candidate, command_slot};
use super::comfort::{discomfort, room_worth};
use super::dispatch::Dispatch;

/// Judges plans of one problem on its simulated plant.
#[derive(Debug, Clone)]
pub struct Judge<'a> {
    pub(super) problem: &'a Problem,
    pub(super) plant: Plant,
    pub(super) scene: Scene,
    /// Least and most energy, `[heater][slot]` [kWh].
    ranges: Vec<Vec<(f64, f64)>>,
    /// For each promise, the slot at whose end it must stand, if in the plan.
    ready_slots: Vec<Option<usize>>,
    /// For each pasteurisation, whether the plan holds it and is to keep it.
    holds: Vec<bool>,
    /// What the battery does, where there is one.
    dispatch: Option<Dispatch>,
    /// Candidates judged so far.
    judged: usize,
}

impl<'a> Judge<'a> {
    /// A judge of plans of a problem. `holds` are the pasteurisations in the plan.
    ///
    /// # Errors
    /// If the problem does not fit its own site, which a validated one does.
    pub fn new(problem: &'a Problem, holds: &[Option<Instant>]) -> Result<Self, ProblemError> {
        let plant = Plant::new(&problem.site);
        let scene = plant.scene(&problem.into())?;
        let slots = problem.horizon.slots();
        let ready_slots = problem
            .ready
            .iter()
            .map(|ready| {
                let inside = ready.by <= problem.horizon.end();
                let before = slots.partition_point(|slot| slot.end() <= ready.by);
                before.checked_sub(1).filter(|_| inside)
            })
            .collect();
        let holds = holds.iter().map(Option::is_some).collect();
        let all = 0..slots.len();
        let range = |id| all.clone().map(|slot| problem.range_kwh(id, slot)).collect();
        let ranges = problem.heaters().map(range).collect();
        let dispatch = problem.site.battery.map(|battery| Dispatch::new(problem, battery));
        Ok(Self { problem, plant, scene, ranges, ready_slots, holds, dispatch, judged: 0 })
    }

    /// The problem whose plans are judged.
    pub(crate) fn problem(&self) -> &'a Problem {
        self.problem
    }

    /// The least and the most energy of a heater in a slot [kWh].
    pub(super) fn range_kwh(&self, heater: usize, slot: usize) -> (f64, f64) {
        self.ranges[heater][slot]
    }

    pub(super) fn most_kwh(&self, heater: usize, slot: usize) -> f64 {
        self.ranges[heater][slot].1
    }

    /// Runs the heat of commands from the start, with the battery that suits it.
    pub fn candidate(&mut self, mut commands: Commands) -> Candidate {
        let mut energies: Vec<Vec<f64>> = commands
            .heaters
            .iter()
            .map(|row| row.iter().map(|command| command.energy().kwh()).collect())
            .collect();
        for slot in 0..self.problem.horizon.len() {
            let arranged: Vec<f64> = energies.iter().map(|row| row[slot]).collect();
            for (row, id) in energies.iter_mut().zip(self.problem.heaters()) {
                // What is held by hand is told so; a thermostat may cut it short.
                let (least, most) = self.problem.range_kwh(id, slot);
                row[slot] = row[slot].clamp(least, most.max(least));
            }
            if !command_slot(self.problem, slot, &energies, &mut commands) {
                // What the program arranged can be arranged again.
                energies.iter_mut().zip(arranged).for_each(|(row, kwh)| row[slot] = kwh);
                let _ = command_slot(self.problem, slot, &energies, &mut commands);
            }
        }
        let outcome = self.plant.outset(&self.scene);
        let mut candidate =
            Candidate { energies, commands, outcome, score: 0.0, shortfall: 0.0, token: 0 };
        self.run(&mut candidate, 0);
        candidate
    }

    /// Runs commands from the start as they are.
    pub fn exactly(&mut self, commands: Commands) -> Candidate {
        let row = |row: &Vec<HeaterCommand>| row.iter().map(|c| c.energy().kwh()).collect();
        let energies = commands.heaters.iter().map(row).collect();
        let outcome = self.plant.simulate(&self.scene, &commands);
        let token = self.next_token();
        let mut candidate =
            Candidate { energies, commands, outcome, score: 0.0, shortfall: 0.0, token };
        self.value(&mut candidate);
        candidate
    }

    /// Runs a candidate again that is a copy of another but for its energies in some
    /// slots; false if they cannot be commanded.
    pub fn rerun(
        &mut self,
        base: &Candidate,
        candidate: &mut Candidate,
        changed: &[usize],
    ) -> bool {
        let commanded = self.commanded(candidate, changed);
        if commanded {
            let first = changed.iter().copied().min().unwrap_or(0);
            let told = (&base.commands, &candidate.commands);
            let outcome = &mut candidate.outcome;
            let reheated = self.plant.vary_heat(&self.scene, told, outcome, changed);
            let first = self.vary_battery(base, candidate, first);
            candidate.token = self.next_token();
            let told = (&base.commands, &candidate.commands);
            let outcomes = (&base.outcome, &mut candidate.outcome);
            self.plant.vary_house(&self.scene, told, outcomes, &reheated, first);
            self.value(candidate);
        }
        commanded
    }

    /// Runs a candidate again from the first of some changed slots on.
    pub(super) fn rerun_whole(&mut self, candidate: &mut Candidate, changed: &[usize]) -> bool {
        let Some(&first) = changed.iter().min() else { return true };
        let commanded = self.commanded(candidate, changed);
        if commanded {
            self.run(candidate, first);
        }
        commanded
    }

    /// Runs the plant from a slot on, with the battery as it suits the heat.
    fn run(&mut self, candidate: &mut Candidate, first: usize) {
        let slots = self.problem.horizon.len();
        candidate.token = self.next_token();
        let Candidate { commands, outcome, .. } = candidate;
        self.plant.resume_heat(&self.scene, commands, outcome, first..slots);
        let first = if self.dispatch.is_some() {
            self.settle_battery(candidate);
            0
        } else {
            first
        };
        let Candidate { commands, outcome, .. } = candidate;
        self.plant.resume_house(&self.scene, commands, outcome, first..slots);
        self.value(candidate);
    }

    /// Tells the battery what suits the heat of a candidate.
    fn settle_battery(&mut self, candidate: &mut Candidate) {
        let Some(dispatch) = &mut self.dispatch else { return };
        let Candidate { commands, outcome, token, .. } = candidate;
        let mut balance = |slot, pv| self.plant.balance(&self.scene, outcome, slot, pv);
        let told = dispatch.settle(self.problem, *token, &mut balance, &commands.pv);
        commands.battery.copy_from_slice(told);
    }

    /// Tells the battery what suits heat that differs from another candidate's from a
    /// slot on; the first slot in which that or the heat has changed.
    fn vary_battery(&mut self, base: &Candidate, candidate: &mut Candidate, first: usize) -> usize {
        let Some(dispatch) = &mut self.dispatch else { return first };
        if !dispatch.is_anchored(base.token) {
            let mut balance = |slot, pv| self.plant.balance(&self.scene, &base.outcome, slot, pv);
            dispatch.settle(self.problem, base.token, &mut balance, &base.commands.pv);
        }
        let Candidate { commands, outcome, .. } = candidate;
        let mut balance = |slot, pv| self.plant.balance(&self.scene, outcome, slot, pv);
        let told = dispatch.vary(self.problem, first, &mut balance, commands);
        told.unwrap_or(first).min(first)
    }

    fn next_token(&mut self) -> usize {
        self.judged += 1;
        self.judged
    }

    fn commanded(&self, candidate: &mut Candidate, changed: &[usize]) -> bool {
        changed.iter().all(|&slot| {
            command_slot(self.problem, slot, &candidate.energies, &mut candidate.commands)
        })
    }

    /// Scores a candidate whose outcome is new.
    fn value(&self, candidate: &mut Candidate) {
        candidate.shortfall = self.shortfall(&candidate.outcome);
        candidate.score = self.score(&candidate.outcome, candidate.shortfall);
    }

    /// Cost of an outcome with everything that counts [minor].
    fn score(&self, outcome: &Outcome, shortfall: f64) -> f64 {
        self.money(outcome).net() - end_worth(self.problem, outcome) + shortfall
    }

    /// Money of an outcome [minor].
    pub(super) fn money(&self, outcome: &Outcome) -> Cost {
        outcome.cost(&self.problem.site, &self.scene)
    }

    /// Part of that price for rooms and pool [minor].
    pub(crate) fn discomfort(&self, outcome: &Outcome) -> f64 {
        discomfort(self.problem, outcome)
    }

    /// Price of what an outcome leaves undone [minor].
    pub(super) fn shortfall(&self, outcome: &Outcome) -> f64 {
        let problem = self.problem;
        let weights = &problem.weights;
        let overload: f64 = outcome.house.iter().map(|slot| slot.overload_kwh).sum();
        discomfort(problem, outcome)
            + weights.unmet_per_kwh * (outcome.unmet_kwh() + overload)
            + weights.short_per_kwh * (self.promised_short(outcome) + self.hygiene_short(outcome))
            + weights.short_per_kwh
                * reserve_short(problem, outcome)
                    .iter()
                    .map(|(kwh, hours)| kwh * hours)
                    .sum::<f64>()
    }

    /// Heat missing from all promises, as urgent as each is [kWh].
    fn promised_short(&self, outcome: &Outcome) -> f64 {
        let short = self.ready_short(outcome);
        let promises = self.problem.ready.iter().zip(short);
        promises.map(|(ready, kwh)| ready.urgency * kwh).sum()
    }

    /// Heat missing from each promise [kWh].
    pub(super) fn ready_short(&self, outcome: &Outcome) -> Vec<f64> {
        let ready = self.problem.ready.iter().zip(&self.ready_slots);
        ready
            .map(|(ready, slot)| {
                let Some(slot) = slot else { return 0.0 };
                let store = &self.problem.site.stores[ready.store];
                let asked = heat_kwh(ready.volume.litres(), ready.temperature.above(store.mains));
                if asked <= 0.0 {
                    return 0.0;
                }
                let layers = outcome.stores[ready.store].layers(slot + 1);
                let litres = store.volume.litres() / layers.len() as f64;
                let hot =
                    layers.iter().rev().take_while(|&&t| t >= ready.temperature.celsius() - 1e-3);
                let held: f64 = hot.map(|t| heat_kwh(litres, t - store.mains.celsius())).sum();
                (asked - held).max(0.0)
            })
            .collect()
    }

    /// Heat missing from pasteurisations that the plan holds, at their best [kWh].
    fn hygiene_short(&self, outcome: &Outcome) -> f64 {
        let slots = self.problem.horizon.slots();
        let rules = self.problem.hygiene.iter().zip(&self.holds).filter(|(_, held)| **held);
        rules
            .map(|(rule, _)| {
                let trace = outcome.stores[rule.store].slots();
                let hold_hours = rule.hold_seconds as f64 / 3_600.0;
                let mut warmest = f64::NEG_INFINITY;
                for first in 0..slots.len() {
                    let mut coldest = f64::INFINITY;
                    let mut hours = 0.0;
                    for (slot, record) in slots.iter().zip(trace).skip(first) {
                        coldest = coldest.min(record.coldest);
                        hours += slot.hours();
                        if hours >= hold_hours || coldest < warmest {
                            break;
                        }
                    }
                    if hours >= hold_hours {
                        warmest = warmest.max(coldest);
                    }
                }
                let volume = self.problem.site.stores[rule.store].volume.litres();
                heat_kwh(volume, (rule.temperature.celsius() - warmest).max(0.0))
            })
            .sum()
    }
}

/// Worth of what an outcome leaves [minor].
pub fn end_worth(problem: &Problem, outcome: &Outcome) -> f64 {
    let mut worth = 0.0;
    for (trace, steps) in outcome.stores.iter().zip(&problem.end_value.stores) {
        worth += steps_worth(steps, trace.slots().last().map_or(0.0, |slot| slot.stored_kwh));
    }
    if let (Some(battery), Some(last)) = (&problem.site.battery, outcome.house.last()) {
        let floor = battery.reserve.kwh().min(problem.state.battery.kwh());
        worth += steps_worth(&problem.end_value.battery, last.battery_kwh - floor);
    }
    worth + outcome.plant_room.as_ref().map_or(0.0, |trace| room_worth(problem, trace))
}

pub(super) fn steps_worth(steps: &[ValueStep], kwh: f64) -> f64 {
    let mut left = kwh.max(0.0);
    let mut worth = 0.0;
    for step in steps {
        let part = left.min(step.width.kwh());
        worth += part * step.value.per_kwh();
        left -= part;
    }
    worth
}

/// Heat missing from the reserve at the end of each slot [kWh], all stores
/// together, and the length of the slot [h].
pub(super) fn reserve_short(problem: &Problem, outcome: &Outcome) -> Vec<(f64, f64)> {
    let slots = problem.horizon.slots().iter().enumerate();
    slots
        .map(|(index, slot)| {
            let short = problem.site.stores.iter().zip(&outcome.stores).map(|(store, trace)| {
                let litres = store.held_back.litres() - trace.slots()[index].usable_litres;
                heat_kwh(litres.max(0.0), store.use_temperature.above(store.mains))
            });
            (short.sum(), slot.hours())
        })
        .collect()
}
