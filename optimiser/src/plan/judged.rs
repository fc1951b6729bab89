//! A plan judged by the simulated plant: cuts, polish, and the best candidate.

use crate::judge::{Candidate, Judge, judged_solution, keep, next_cuts, polish};
use crate::plant::Commands;
use crate::problem::{Problem, ProblemError};
use crate::schedule::{Evidence, Schedule};
use crate::solve::{SolveError, SolveLimits};

use super::{Attempt, Planned, Planner, Publisher, Refined, Settled};

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
        let mut latest = judge.candidate(Commands::of(problem, modelled));
        let mut best = (latest.clone(), answer);
        let mut refinement = best.1.refinement.clone();
        let mut rounds = 0;
        while rounds < self.effort.rounds {
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
        let values: Vec<f64> = answer.solution.slots.iter().map(|s| s.electricity_value).collect();
        let candidate = polish(&mut judge, candidate, &values, self.effort.simulations);
        let evidence = Evidence::Simulated { rounds, polish_gain: before - candidate.score };
        let candidate = keep(&mut judge, candidate);
        Ok(told(problem, &judge, &answer, &candidate, evidence))
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
    Planned { schedule, solution }
}
