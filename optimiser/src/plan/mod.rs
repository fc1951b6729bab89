//! From a problem to a checked schedule.
//!
//! Solve, look for what the plain program got away with, refine, solve again
//! from the last basis; then publish and check.

mod bound;
mod branch;
mod cheats;
mod flow;
mod holds;
mod jobs;
mod judged;
mod memory;
mod publish;
mod reasons;
mod sharing;

use crate::check::{Violation, violations};
use crate::judge::Effort;
use crate::model::{Formulation, Refinement};
use crate::problem::Problem;
use crate::schedule::{Origin, Schedule};
use crate::solution::Solution;
use crate::solve::{Answer, Live, SolveError, SolveLimits, Verdict};
use crate::time::Slot;
use memory::Memory;

pub use crate::lanes::source_kw;
pub use flow::flow_for;
pub(crate) use jobs::{Wish, commanded};
pub(crate) use publish::Publisher;
pub(crate) use sharing::{Stage, arrange};

/// How planning ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A schedule that passed the check; its origin says whether it is optimal.
    Planned(Box<Planned>),
    /// Nothing satisfies the hard limits; what is missing to do so.
    Infeasible(Vec<Missing>),
    /// An answer that the independent check refused.
    Refused(Vec<Violation>),
    /// The solver gave no answer.
    Failed(String),
}

/// A checked schedule and the answer behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// What is published.
    pub schedule: Schedule,
    /// The linear program's answer.
    pub solution: Solution,
}

/// Energy that is missing in a slot to serve the house within its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Missing {
    /// The slot.
    pub slot: Slot,
    /// Missing energy [kWh].
    pub kwh: f64,
}

/// How often what does not fit beside each other may be put in turn.
const MOST_ROUNDS: usize = 8;

/// How often only where it was seen not to fit.
const FEW_ROUNDS: usize = 3;

/// How often runs that are too short may be moved.
const SHORT_RUN_ROUNDS: usize = 4;

/// What it may cost to avoid short runs, round by round [minor].
const SHORT_RUN_WORTH: f64 = 5.0;

/// Plans, and keeps the last program in the solver and the last plan, so that the
/// next plan of the same house starts from them. To be used from one thread.
pub struct Planner {
    live: Option<Live>,
    limits: SolveLimits,
    effort: Effort,
    memory: Option<Memory>,
}

impl std::fmt::Debug for Planner {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Planner").field("limits", &self.limits).finish_non_exhaustive()
    }
}

impl Default for Planner {
    fn default() -> Self {
        Self::with_limits(SolveLimits::default())
    }
}

impl Planner {
    /// A planner with other than the usual limits.
    pub fn with_limits(limits: SolveLimits) -> Self {
        Self { live: None, limits, effort: Effort::COLD, memory: None }
    }

    /// A planner with other than the usual effort of judging.
    #[must_use]
    pub fn with_effort(mut self, effort: Effort) -> Self {
        self.effort = effort;
        self
    }

    /// Plans a problem that was validated.
    pub fn plan(&mut self, problem: &Problem) -> Outcome {
        match self.onward(problem) {
            Ok(Some(planned)) if violations(problem, &planned.schedule, None).is_empty() => {
                return Outcome::Planned(Box::new(planned));
            }
            _ => {}
        }
        match self.refined(problem) {
            Ok(Refined::Solved(answer)) => self.published(problem, *answer),
            Ok(Refined::Infeasible) => self.missing(problem),
            Ok(Refined::Failed(why)) => Outcome::Failed(why.to_owned()),
            Err(error) => Outcome::Failed(error.to_string()),
        }
    }

    /// The program's answer as a checked schedule, judged if that was asked for.
    fn published(&mut self, problem: &Problem, answer: Settled) -> Outcome {
        let modelled = answer.schedule(problem);
        let found = violations(problem, &modelled, Some(&answer.solution));
        // In a loop it is only where the judged schedule comes from.
        if !found.is_empty() && !self.effort.rolling {
            return Outcome::Refused(found);
        }
        let plain = Planned { solution: answer.solution.clone(), schedule: modelled };
        if self.effort == Effort::NONE {
            return Outcome::Planned(Box::new(plain));
        }
        let judged = match self.judged(problem, answer, &plain.schedule) {
            Ok(planned) => planned,
            Err(error) => return Outcome::Failed(error.to_string()),
        };
        // A machine that runs on, or a guard that wakes, may meet in the plant what was
        // planned apart: then the plan stands as the program made it.
        let beyond = violations(problem, &judged.schedule, None);
        if beyond.is_empty() {
            return Outcome::Planned(Box::new(judged));
        }
        if found.is_empty() { Outcome::Planned(Box::new(plain)) } else { Outcome::Refused(beyond) }
    }

    /// Solves and refines until the answer cheats nowhere.
    fn refined(&mut self, problem: &Problem) -> Result<Refined, SolveError> {
        let mut refinement =
            Refinement { hygiene: vec![None; problem.hygiene.len()], ..Refinement::default() };
        // In a loop a pasteurisation stays where it was until there is news.
        let known = self.known_holds(problem);
        refinement.hygiene.clone_from(&known);
        let mut first = self.solved(problem, &refinement)?;
        if !matches!(first, Attempt::Solved(_)) && known.iter().any(Option::is_some) {
            refinement.hygiene.fill(None);
            first = self.solved(problem, &refinement)?;
        }
        let mut best = match first {
            Attempt::Solved(best) => best,
            Attempt::Infeasible => return Ok(Refined::Infeasible),
            Attempt::Failed(why) => return Ok(Refined::Failed(why)),
        };
        for rule in 0..problem.hygiene.len() {
            if refinement.hygiene[rule].is_some() {
                continue;
            }
            if let Some(hold) = holds::already_met(problem, &best.solution, rule) {
                refinement.hygiene[rule] = Some(hold);
                continue;
            }
            best = self.cheapest_hold(problem, &mut refinement, rule, best)?;
        }
        let best = self.long_runs(problem, &mut refinement, best)?;
        self.one_way(problem, refinement, best, self.turns(problem))
    }

    /// The limits of settling directions. In a plant room no turn was seen to pay: what it
    /// moves, the judge moves for less.
    fn turns(&self, problem: &Problem) -> SolveLimits {
        let judged = self.effort != Effort::NONE && !problem.site.plant_room.is_empty();
        let branches = if judged { 0 } else { self.limits.branches };
        SolveLimits { branches, ..self.limits }
    }

    /// Lets heat pumps rest where a run would be too short, as long as an answer
    /// is found that is little dearer.
    fn long_runs(
        &mut self,
        problem: &Problem,
        refinement: &mut Refinement,
        mut best: Box<Solved>,
    ) -> Result<Box<Solved>, SolveError> {
        for _ in 0..SHORT_RUN_ROUNDS {
            let short = jobs::short_runs(problem, &best.solution);
            if short.is_empty() {
                break;
            }
            let mut other = refinement.clone();
            other.rests.extend(short);
            let Attempt::Solved(solved) = self.solved(problem, &other)? else { break };
            let dearer = solved.solution.objective - best.solution.objective;
            if dearer > SHORT_RUN_WORTH {
                break;
            }
            (*refinement, best) = (other, solved);
        }
        Ok(best)
    }

    /// Settles directions and the order of elements of an answer.
    fn one_way(
        &mut self,
        problem: &Problem,
        mut refinement: Refinement,
        mut root: Box<Solved>,
        limits: SolveLimits,
    ) -> Result<Refined, SolveError> {
        let mut verdict = root.answer.verdict.clone();
        // In a loop no directions are settled: the simulated plant has one meter and one
        // battery, so what cheats here does not there, and the next plan is near.
        if self.effort.rolling && sharing::crowded(problem, &root.solution).is_empty() {
            let cheats = !cheats::cheats(problem, &root.solution).is_empty();
            let verdict = if cheats { Verdict::Limit } else { verdict };
            return Ok(Refined::Solved(Box::new(Settled {
                solution: root.solution,
                refinement,
                verdict,
            })));
        }
        for round in 0..MOST_ROUNDS {
            let directed = if self.effort.rolling {
                Some(branch::Directed {
                    solved: root,
                    refinement: refinement.clone(),
                    proven: false,
                })
            } else {
                branch::directed(self, problem, &refinement, root, limits)?
            };
            let Some(next) = directed else {
                return Ok(Refined::Failed("no choice of directions has an answer"));
            };
            if !next.proven {
                verdict = Verdict::Limit;
            }
            let mut crowded = sharing::crowded(problem, &next.solved.solution);
            if crowded.is_subset(&next.refinement.idle) {
                return Ok(Refined::Solved(Box::new(Settled {
                    solution: next.solved.solution,
                    refinement: next.refinement,
                    verdict,
                })));
            }
            let mut attempt = {
                let answer = &next.solved.solution;
                if round >= FEW_ROUNDS {
                    // What is moved out of one slot crowds the next.
                    crowded.extend(sharing::narrow(problem, answer));
                }
                for &slot in &crowded {
                    let resting = sharing::without_room(problem, answer, slot);
                    refinement.rests.extend(resting.into_iter().map(|source| (source, slot)));
                    if !refinement.in_turn.insert(slot) {
                        refinement.idle.insert(slot);
                    }
                }
                self.solved(problem, &refinement)?
            };
            if matches!(attempt, Attempt::Infeasible) {
                // Not even one at a time fits beside the rest of the house.
                refinement.idle.extend(&crowded);
                attempt = self.solved(problem, &refinement)?;
            }
            root = match attempt {
                Attempt::Solved(solved) => solved,
                Attempt::Infeasible => return Ok(Refined::Infeasible),
                Attempt::Failed(why) => return Ok(Refined::Failed(why)),
            };
        }
        Ok(Refined::Failed("elements and sources do not fit beside each other"))
    }

    fn solved(
        &mut self,
        problem: &Problem,
        refinement: &Refinement,
    ) -> Result<Attempt, SolveError> {
        let formulation = Formulation::new(problem, refinement);
        let answer = self.answer(&formulation)?;
        Ok(match answer.verdict {
            Verdict::Optimal | Verdict::Limit => Attempt::Solved(Box::new(Solved {
                solution: Solution::new(problem, &formulation, &answer),
                formulation,
                answer,
            })),
            Verdict::Infeasible => Attempt::Infeasible,
            Verdict::Failed(why) => Attempt::Failed(why),
        })
    }

    fn answer(&mut self, formulation: &Formulation) -> Result<Answer, SolveError> {
        let program = formulation.program.clone();
        let live = match self.live.take() {
            Some(mut live) => {
                live.load(program)?;
                live
            }
            None => Live::new(program)?,
        };
        self.live.insert(live).solve(self.limits)
    }

    /// Solves the program with load left unserved at a price, to say what is
    /// missing.
    fn missing(&mut self, problem: &Problem) -> Outcome {
        let softened = Refinement {
            softened: true,
            hygiene: vec![None; problem.hygiene.len()],
            ..Refinement::default()
        };
        let solved = match self.solved(problem, &softened) {
            Ok(Attempt::Solved(solved)) => solved,
            Ok(Attempt::Infeasible | Attempt::Failed(_)) => {
                return Outcome::Failed("not even the softened program has an answer".to_owned());
            }
            Err(error) => return Outcome::Failed(error.to_string()),
        };
        let slots = problem.horizon.slots().iter().zip(&solved.solution.slots);
        Outcome::Infeasible(
            slots
                .filter(|(_, flows)| flows.missing > 1e-6)
                .map(|(&slot, flows)| Missing { slot, kwh: flows.missing })
                .collect(),
        )
    }
}

#[derive(Clone)]
struct Solved {
    formulation: Formulation,
    answer: Answer,
    solution: Solution,
}

enum Attempt {
    Solved(Box<Solved>),
    Infeasible,
    Failed(&'static str),
}

enum Refined {
    Solved(Box<Settled>),
    Infeasible,
    Failed(&'static str),
}

/// An answer that goes one way at a time.
#[derive(Debug, Clone)]
struct Settled {
    solution: Solution,
    refinement: Refinement,
    verdict: Verdict,
}

impl Settled {
    fn origin(&self) -> Origin {
        match self.verdict {
            Verdict::Optimal => Origin::Optimal,
            _ => Origin::LimitReached,
        }
    }

    /// The schedule with the program's own temperatures.
    fn schedule(&self, problem: &Problem) -> Schedule {
        Publisher::new(problem, &self.solution, &self.refinement).schedule(self.origin())
    }
}
