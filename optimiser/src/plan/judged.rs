//! A plan judged by the simulated plant: cuts, polish, and the best candidate.

use std::collections::BTreeSet;

use crate::check::violations;
use crate::judge::{
    Candidate, Draft, Duals, Judge, Search, Vain, fails, judged_solution, keep, next_cuts, polish,
    polish_jobs, settled,
};
use crate::plant::Commands;
use crate::problem::{Problem, ProblemError};
use crate::schedule::{BatteryMode, Evidence, Schedule};
use crate::solution::Solution;
use crate::solve::{SolveError, SolveLimits};

use super::jobs::{commanded, wishes};
use super::memory::{Memory, Word};
use super::{Attempt, Planned, Planner, Publisher, Refined, Settled, Wish};

/// How often a battery may be told otherwise where it breaks a limit.
const MENDS: usize = 3;

/// How much a plan that goes on is touched up, in multiples of the effort: more where it
/// leaves more undone, in a plant room, whose program takes a hundred times as long.
const TOUCHES: [usize; 2] = [1, 2];

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
        // The program of a plant room is asked so seldom that its plan may be searched as
        // long as one after news.
        let afresh = !goes_on || !problem.site.plant_room.is_empty();
        let effort = if afresh { self.effort.afresh() } else { self.effort };
        let energies = wished(&fresh);
        let carried =
            memory.map(|memory| carried(&mut judge, &memory, &fresh, &wishes(&answer.solution)));
        let mut latest = judge.candidate(fresh);
        let modelled = latest.score;
        let stays = goes_on && carried.as_ref().is_some_and(|own| own.candidate.score < modelled);
        let mut best = (latest.clone(), answer);
        let mut refinement = best.1.refinement.clone();
        let mut rounds = 0;
        // In a plant room the search lifts what is cold as a whole, and cuts bring nothing.
        let most = if problem.site.plant_room.is_empty() { effort.rounds } else { 0 };
        while rounds < most && !stays {
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
        let worths = Worths::of(&answer.solution);
        let search = worths.search(effort.simulations, steps);
        let mut vain = Vain::default();
        let solution = &answer.solution;
        let mut polished = |draft: Draft| {
            vain = Vain::default();
            let Draft { candidate, wishes } =
                polish_jobs(&mut judge, draft, solution, search, &mut vain);
            Draft { candidate: polish(&mut judge, candidate, search, &mut vain), wishes }
        };
        let own = Draft { candidate, wishes: wishes(&answer.solution) };
        let draft = match carried {
            Some(carried) if stays => polished(carried),
            Some(carried) => {
                let (other, own) = (polished(carried), polished(own));
                if other.candidate.score < own.candidate.score { other } else { own }
            }
            None => polished(own),
        };
        let gain = before - draft.candidate.score;
        let evidence = Evidence::Simulated { rounds, polish_gain: gain };
        let word = Word { answer, energies, asked: problem.horizon.start() };
        Ok(self.told(&mut judge, draft, word, evidence, (vain, steps)))
    }

    /// The last plan a little later, touched up on the plant, without asking the program
    /// again; `None` where there is none, or news, or where it does not serve any more.
    pub(super) fn onward(&mut self, problem: &Problem) -> Result<Option<Planned>, JudgeError> {
        let goes_on = |memory: &&Memory| {
            memory.follows(problem) && !memory.is_outdated(problem) && !memory.is_old(problem)
        };
        let Some(memory) = self.memory.as_ref().filter(|_| self.effort.rolling).filter(goes_on)
        else {
            return Ok(None);
        };
        let steps = memory.steps + 1;
        let (was_undone, was_cold) = (memory.shortfall - memory.discomfort, memory.discomfort);
        let lately = memory.asked_lately(problem);
        let mut vain = memory.vain.at(steps);
        let mut judge = Judge::new(problem, &memory.holds(problem))?;
        let word = memory.placed(problem);
        let answer = &word.answer.solution;
        let wishes = memory.wishes(problem);
        let jobs = commanded(problem, &answer.routes, &wishes);
        let carried = judge.candidate(Commands { jobs, ..memory.onward(problem) });
        let before = carried.score;
        let worths = Worths::of(answer);
        let mut draft = Draft { candidate: carried, wishes };
        let touches: &[usize] =
            if problem.site.plant_room.is_empty() { &TOUCHES[..1] } else { &TOUCHES };
        let mut serves = false;
        for times in touches {
            let search = worths.search(times * self.effort.simulations, steps);
            draft = polish_jobs(&mut judge, draft, answer, search, &mut vain);
            draft.candidate = polish(&mut judge, draft.candidate, search, &mut vain);
            let cold = judge.discomfort(&draft.candidate.outcome);
            let undone = draft.candidate.shortfall - cold;
            serves = !fails(problem, cold - was_cold) && !fails(problem, undone - was_undone);
            if serves {
                break;
            }
            vain = Vain::default();
        }
        if !serves && !lately {
            return Ok(None);
        }
        let gain = before - draft.candidate.score;
        let evidence = Evidence::Simulated { rounds: 0, polish_gain: gain };
        let planned = self.told(&mut judge, draft, word, evidence, (vain, steps));
        if let Some(memory) = self.memory.as_mut().filter(|_| !serves) {
            // It is still to be mended, and a reason to ask once that may help.
            (memory.shortfall, memory.discomfort) = (was_undone + was_cold, was_cold);
        }
        Ok(Some(planned))
    }

    /// The plan as it is published, and kept for the next one.
    fn told(
        &mut self,
        judge: &mut Judge<'_>,
        draft: Draft,
        word: Word,
        evidence: Evidence,
        turn: (Vain, usize),
    ) -> Planned {
        let problem = judge.problem();
        let candidate = keep(judge, draft.candidate);
        let candidate = settled(judge, candidate);
        let Word { answer, .. } = &word;
        let tell = |judge: &Judge<'_>, candidate: &Candidate| {
            let solution = judged_solution(judge, &answer.solution, candidate);
            let publisher =
                Publisher::new(problem, &solution, &answer.refinement).judged(candidate);
            let schedule = Schedule { evidence, ..publisher.schedule(answer.origin()) };
            (solution, schedule)
        };
        let (candidate, (solution, schedule)) = mended(judge, candidate, tell);
        let draft = Draft { candidate, wishes: draft.wishes };
        let discomfort = judge.discomfort(&draft.candidate.outcome);
        let memory = Memory::new(problem, (draft, discomfort), word, &schedule.hygiene, turn);
        self.memory = Some(memory);
        Planned { schedule, solution }
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
fn carried(
    judge: &mut Judge<'_>,
    memory: &Memory,
    fresh: &Commands,
    answer: &[Vec<Wish>],
) -> Draft {
    let problem = judge.problem();
    let wishes = memory.wishes(problem);
    let jobs = commanded(problem, &problem.site.plant_room.routes(), &wishes);
    let stayed = Commands { jobs, ..memory.carried(problem, fresh, false) };
    let stayed = judge.candidate(stayed);
    let moved = judge.candidate(memory.carried(problem, fresh, true));
    if moved.score < stayed.score {
        Draft { candidate: moved, wishes: answer.to_vec() }
    } else {
        Draft { candidate: stayed, wishes }
    }
}

/// The candidate and its schedule; where a battery that charges breaks a limit because
/// something else ran on, it does not charge in that slot.
fn mended(
    judge: &mut Judge<'_>,
    mut candidate: Candidate,
    tell: impl Fn(&Judge<'_>, &Candidate) -> (Solution, Schedule),
) -> (Candidate, (Solution, Schedule)) {
    let problem = judge.problem();
    let mut told = tell(judge, &candidate);
    for _ in 0..MENDS {
        let found = violations(problem, &told.1, None);
        let slots = found.iter().filter_map(|violation| violation.slot);
        let slots = slots.filter_map(|slot| {
            let plans = told.1.slots.iter();
            let charges = Some(BatteryMode::Charge);
            plans.clone().position(|plan| plan.slot == slot && plan.battery_mode == charges)
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
        told = tell(judge, &candidate);
    }
    (candidate, told)
}

/// Energies that commands ask for, `[heater][slot]` [kWh].
fn wished(commands: &Commands) -> Vec<Vec<f64>> {
    let row = |row: &Vec<crate::plant::HeaterCommand>| {
        row.iter().map(|command| command.energy().kwh()).collect()
    };
    commands.heaters.iter().map(row).collect()
}

/// The program's values, as the search reads them.
struct Worths {
    heat: Vec<Vec<f64>>,
    battery: Vec<f64>,
    electricity: Vec<f64>,
}

impl Worths {
    fn of(solution: &Solution) -> Self {
        let slots = &solution.slots;
        Self {
            heat: slots.iter().map(|s| s.heat_value.clone()).collect(),
            battery: slots.iter().map(|s| s.battery_value).collect(),
            electricity: slots.iter().map(|s| s.electricity_value).collect(),
        }
    }

    fn search(&self, simulations: usize, turn: usize) -> Search<'_> {
        let duals = Duals { heat: &self.heat, battery: &self.battery };
        Search { duals, values: &self.electricity, simulations, turn }
    }
}
