//! What a simulated outcome is worth.

use crate::plant::{Commands, HeaterCommand, Outcome, Plant, Scene};
use crate::problem::{Problem, ProblemError, Ready, ValueStep};
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
    promises: Vec<Promise>,
    /// For each pasteurisation that the plan is to hold, when.
    pub(super) holds: Vec<Option<Instant>>,
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
        let promises = problem.ready.iter().map(|ready| Promise::new(problem, ready)).collect();
        let holds = holds.to_vec();
        let all = 0..slots.len();
        let range = |id| all.clone().map(|slot| problem.range_kwh(id, slot)).collect();
        let ranges = problem.heaters().map(range).collect();
        let dispatch = problem.site.battery.map(|battery| Dispatch::new(problem, battery));
        Ok(Self { problem, plant, scene, ranges, promises, holds, dispatch, judged: 0 })
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

    /// Runs commands as they are that differ little from a candidate's.
    pub(super) fn exactly_like(&mut self, base: &Candidate, commands: Commands) -> Candidate {
        let mut candidate = base.clone();
        for (energies, row) in candidate.energies.iter_mut().zip(&commands.heaters) {
            for (kwh, command) in energies.iter_mut().zip(row) {
                *kwh = command.energy().kwh();
            }
        }
        let told = (&base.commands, &commands);
        let slots = 0..self.problem.horizon.len();
        let differs = |slot: &usize| told.0.heat_differs(told.1, *slot);
        let changed: Vec<usize> = slots.clone().filter(differs).collect();
        let reheated = self.plant.vary_heat(&self.scene, told, &mut candidate.outcome, &changed);
        let outcomes = (&base.outcome, &mut candidate.outcome);
        self.plant.vary_house(&self.scene, told, outcomes, &reheated, slots.start);
        candidate.commands = commands;
        candidate.token = self.next_token();
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

    /// Runs the heat of one slot of a candidate, whose score stays as it was; false if it
    /// cannot be commanded.
    pub(super) fn run_slot(&mut self, candidate: &mut Candidate, slot: usize) -> bool {
        let commanded = self.commanded(candidate, &[slot]);
        if commanded {
            let Candidate { commands, outcome, .. } = candidate;
            self.plant.resume_heat(&self.scene, commands, outcome, slot..slot + 1);
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
        let mut balance = |slot: usize, pv| {
            let alike = base.commands.pv[slot] == pv
                && self.plant.leaves_alike(outcome, &base.outcome, slot);
            (!alike).then(|| self.plant.balance(&self.scene, outcome, slot, pv))
        };
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
        // Water kept in case is promised for the same instants with several prices.
        let mut seen: Vec<Option<(usize, f64, f64)>> = vec![None; self.problem.horizon.len()];
        let short = |promise: &Promise| {
            let Some(slot) = promise.slot else { return 0.0 };
            let held = match seen[slot] {
                Some((store, least, held))
                    if store == promise.store && least.to_bits() == promise.least.to_bits() =>
                {
                    held
                }
                _ => {
                    let held = promise.held(outcome.stores[promise.store].layers(slot + 1));
                    seen[slot] = Some((promise.store, promise.least, held));
                    held
                }
            };
            (promise.asked - held).max(0.0)
        };
        self.promises.iter().map(short).collect()
    }
}

/// Water that is to be ready, as it is looked for in the plant.
#[derive(Debug, Clone)]
struct Promise {
    store: usize,
    /// The slot at whose end it must stand, if in the plan and if it is any.
    slot: Option<usize>,
    /// Its heat [kWh].
    asked: f64,
    /// Water as warm as this counts [°C].
    least: f64,
    mains: f64,
    /// Litres of all of the store.
    litres: f64,
}

impl Promise {
    fn new(problem: &Problem, ready: &Ready) -> Self {
        let store = &problem.site.stores[ready.store];
        let asked = heat_kwh(ready.volume.litres(), ready.temperature.above(store.mains));
        let slots = problem.horizon.slots();
        let inside = ready.by <= problem.horizon.end() && asked > 0.0;
        let before = slots.partition_point(|slot| slot.end() <= ready.by);
        Self {
            store: ready.store,
            slot: before.checked_sub(1).filter(|_| inside),
            asked,
            least: ready.temperature.celsius() - 1e-3,
            mains: store.mains.celsius(),
            litres: store.volume.litres(),
        }
    }

    /// Heat of the water in some layers that is warm enough [kWh].
    fn held(&self, layers: &[f64]) -> f64 {
        let hot = layers.iter().rev().take_while(|&&t| t >= self.least);
        let (count, sum) = hot.fold((0.0, 0.0), |(count, sum), t| (count + 1.0, sum + t));
        heat_kwh(self.litres / layers.len() as f64, sum - count * self.mains)
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
