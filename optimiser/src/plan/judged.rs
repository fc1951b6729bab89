//! A plan judged by the simulated plant: cuts, polish, and the best candidate.

use std::collections::BTreeSet;

use crate::check::violations;
use crate::judge::{
    Candidate, Duals, Judge, Search, judged_solution, keep, next_cuts, polish, polish_jobs, settled,
};
use crate::plant::Commands;
use crate::problem::{Problem, ProblemError};
use crate::schedule::{BatteryMode, Evidence, Schedule};
use crate::solve::{SolveError, SolveLimits};

use super::memory::Memory;
use super::{Attempt, Planned, Planner, Publisher, Refined, Settled};

/// How often a battery may be told otherwise where it breaks a limit.
const MENDS: usize = 3;

/// Why a plan could not be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum JudgeError {
    #[error(transparent)]
    Problem(#[from] ProblemError),
    #[error(transparent)]
    Solve(#[from] SolveError),
}

impl Planner {
    /// Runs a plan through the simulated plant, cuts where draws fail, polishes
    /// the best candidate, and tells it with simulated numbers.
    pub(super) fn judged(
        &mut self,
        problem: &Problem,
        answer: Settled,
        modelled: &Schedule,
    ) -> Result<Planned, JudgeError> {
        let mut judge = Judge::new(problem, &modelled.hygiene)?;
        let fresh = Commands::of(problem, modelled);
        let rolling = self.effort.rolling;
        let memory = self.memory.take().filter(|memory| rolling && memory.follows(problem));
        let goes_on = memory.as_ref().is_some_and(|memory| !memory.is_outdated(problem));
        let steps = memory.as_ref().map_or(0, |memory| memory.steps + 1);
        let effort = if goes_on { self.effort } else { self.effort.afresh() };
        let wished = wished(&fresh);
        let carried = memory.map(|memory| carried(&mut judge, &memory, &fresh));
        let mut latest = judge.candidate(fresh);
        let modelled = latest.score;
        let stays = goes_on && carried.as_ref().is_some_and(|c| c.score < modelled);
        let mut best = (latest.clone(), answer);
        let mut refinement = best.1.refinement.clone();
        let mut rounds = 0;
        while rounds < effort.rounds && !stays {
            let cuts = next_cuts(problem, &latest.outcome, &refinement.completions);
            if cuts.is_empty() {
                break;
            }
            rounds += 1;
            refinement.completions.extend(cuts);
            let Some(settled) = self.cut(problem, &refinement)? else { break };
            refinement = settled.refinement.clone();
            latest = judge.candidate(Commands::of(problem, &settled.schedule(problem)));
            if latest.score < best.0.score {
                best = (latest.clone(), settled);
            }
        }
        let (candidate, answer) = best;
        let before = candidate.score;
        let slots = &answer.solution.slots;
        let heat: Vec<Vec<f64>> = slots.iter().map(|s| s.heat_value.clone()).collect();
        let battery: Vec<f64> = slots.iter().map(|s| s.battery_value).collect();
        let duals = Duals { heat: &heat, battery: &battery };
        let values: Vec<f64> = slots.iter().map(|s| s.electricity_value).collect();
        let search =
            Search { duals, values: &values, simulations: effort.simulations, turn: steps };
        let candidate = match carried {
            Some(carried) if stays => polish(&mut judge, carried, search),
            Some(carried) => {
                let other = polish(&mut judge, carried, search);
                let own = polish(&mut judge, candidate, search);
                if other.score < own.score { other } else { own }
            }
            None => polish(&mut judge, candidate, search),
        };
        let candidate = polish_jobs(&mut judge, candidate, &answer.solution, search);
        let evidence = Evidence::Simulated { rounds, polish_gain: before - candidate.score };
        let candidate = keep(&mut judge, candidate);
        let candidate = settled(&mut judge, candidate);
        let (candidate, planned) = mended(problem, &mut judge, candidate, |judge, candidate| {
            told(problem, judge, &answer, candidate, evidence)
        });
        let holds = &planned.schedule.hygiene;
        self.memory = Some(Memory::new(problem, &candidate, wished, holds, steps));
        Ok(planned)
    }

    /// Solves with cuts, without a search for other directions; `None` if there
    /// is no answer.
    fn cut(
        &mut self,
        problem: &Problem,
        refinement: &crate::model::Refinement,
    ) -> Result<Option<Settled>, SolveError> {
        let Attempt::Solved(root) = self.solved(problem, refinement)? else { return Ok(None) };
        let limits = SolveLimits { branches: 0, ..self.limits };
        Ok(match self.one_way(problem, refinement.clone(), root, limits)? {
            Refined::Solved(settled) => Some(*settled),
            Refined::Infeasible | Refined::Failed(_) => None,
        })
    }
}

/// The last plan on the slots of now, as it was or as the program's answer has
/// moved since, whichever the plant scores better.
fn carried(judge: &mut Judge<'_>, memory: &Memory, fresh: &Commands) -> Candidate {
    let problem = judge.problem();
    let [stayed, moved] = [false, true]
        .map(|follows_program| judge.candidate(memory.carried(problem, fresh, follows_program)));
    if moved.score < stayed.score { moved } else { stayed }
}

/// The candidate and its schedule; where a battery that charges breaks a limit because
/// something else ran on, it does not charge in that slot.
fn mended(
    problem: &Problem,
    judge: &mut Judge<'_>,
    mut candidate: Candidate,
    told: impl Fn(&Judge<'_>, &Candidate) -> Planned,
) -> (Candidate, Planned) {
    let mut planned = told(judge, &candidate);
    for _ in 0..MENDS {
        let found = violations(problem, &planned.schedule, None);
        let slots = found.iter().filter_map(|violation| violation.slot);
        let slots = slots.filter_map(|slot| {
            planned.schedule.slots.iter().position(|plan| {
                plan.slot == slot && plan.battery_mode == Some(BatteryMode::Charge)
            })
        });
        let slots: BTreeSet<usize> = slots.collect();
        if slots.is_empty() {
            break;
        }
        let mut commands = candidate.commands.clone();
        for slot in slots {
            commands.battery[slot].mode = BatteryMode::Hold;
        }
        candidate = judge.exactly(commands);
        planned = told(judge, &candidate);
    }
    (candidate, planned)
}

/// Energies that commands ask for, `[heater][slot]` [kWh].
fn wished(commands: &Commands) -> Vec<Vec<f64>> {
    let row = |row: &Vec<crate::plant::HeaterCommand>| {
        row.iter().map(|command| command.energy().kwh()).collect()
    };
    commands.heaters.iter().map(row).collect()
}

fn told(
    problem: &Problem,
    judge: &Judge<'_>,
    answer: &Settled,
    candidate: &Candidate,
    evidence: Evidence,
) -> Planned {
    let solution = judged_solution(judge, &answer.solution, candidate);
    let publisher = Publisher::new(problem, &solution, &answer.refinement).judged(candidate);
    let schedule = Schedule { evidence, ..publisher.schedule(answer.origin()) };
    Planned { schedule, solution, jobs: candidate.commands.jobs.clone() }
}
