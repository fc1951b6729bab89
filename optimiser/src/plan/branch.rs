//! Choosing directions on hot re-solves.
//!
//! First every cheating slot is settled the way it leans. Then the slots that
//! could gain by another way, by [`super::bound`], are turned one at a time,
//! the most promising first, and what pays is kept. When the bound says that
//! nothing more can be gained the choice is proven; where it cannot say so and
//! the limits allow it, branch and bound goes on from there.

use crate::model::{Direction, Refinement};
use crate::problem::Problem;
use crate::solve::{SolveError, SolveLimits};

use super::bound::possible_gains;
use super::cheats::{Cheat, Device, cheats};
use super::{Attempt, Planner, Solved};

/// A plan that goes one way at a time.
pub(super) struct Directed {
    pub(super) solved: Box<Solved>,
    pub(super) refinement: Refinement,
    /// Whether no other choice could be better by more than the gap.
    pub(super) proven: bool,
}

/// How many turns are tried before branching begins.
const MOST_TURNS: usize = 12;

/// Settles the directions of an answer that may cheat; `None` if there is no
/// choice with an answer.
pub(super) fn directed(
    planner: &mut Planner,
    problem: &Problem,
    refinement: &Refinement,
    root: Box<Solved>,
    limits: SolveLimits,
) -> Result<Option<Directed>, SolveError> {
    let Some(mut best) = dive(planner, problem, refinement, root.clone())? else {
        return Ok(None);
    };
    let mut turns_left = limits.branches.min(MOST_TURNS);
    let mut tried: Vec<Cheat> = Vec::new();
    while !is_proven(problem, &mut best, limits) && turns_left > 0 {
        let gains = possible_gains(problem, &best.solved.formulation, &best.solved.answer);
        let Some(turn) = next_turn(&gains, &best, &tried) else { break };
        tried.push(turn);
        let mut other = best.refinement.clone();
        turn.forbid(turn.leaning, &mut other);
        turns_left -= 1;
        if let Attempt::Solved(solved) = planner.solved(problem, &other)?
            && let Some(found) = dive(planner, problem, &other, solved)?
            && found.solved.solution.objective < best.solved.solution.objective - 1e-6
        {
            best = found;
            tried.clear();
        }
    }
    if !best.proven && limits.branches > MOST_TURNS {
        branch(planner, problem, refinement, root, &mut best, limits)?;
    }
    Ok(Some(best))
}

fn is_proven(problem: &Problem, best: &mut Directed, limits: SolveLimits) -> bool {
    let gains = possible_gains(problem, &best.solved.formulation, &best.solved.answer);
    best.proven = gains.iter().sum::<f64>() <= gap(best, limits);
    best.proven
}

/// By how much another choice must be better to be worth a look.
fn gap(best: &Directed, limits: SolveLimits) -> f64 {
    limits.relative_gap * best.solved.solution.objective.abs().max(1.0)
}

/// Branch and bound, depth first, from the plain answer down; each branch is
/// bounded by its own program.
fn branch(
    planner: &mut Planner,
    problem: &Problem,
    refinement: &Refinement,
    root: Box<Solved>,
    best: &mut Directed,
    limits: SolveLimits,
) -> Result<(), SolveError> {
    let mut left = limits.branches - MOST_TURNS;
    let mut open = vec![(refinement.clone(), root)];
    while let Some((node, solved)) = open.pop() {
        if solved.solution.objective >= best.solved.solution.objective - gap(best, limits) {
            continue;
        }
        let found = cheats(problem, &solved.solution);
        let Some(worst) = found.iter().max_by(|a, b| a.kwh.total_cmp(&b.kwh)) else {
            *best = Directed { solved, refinement: node, proven: false };
            continue;
        };
        // The way that it leans is pushed last and so tried first.
        for direction in [turned(worst.leaning), worst.leaning] {
            if left == 0 {
                return Ok(());
            }
            left -= 1;
            let mut child = node.clone();
            worst.forbid(direction, &mut child);
            if let Attempt::Solved(solved) = planner.solved(problem, &child)? {
                open.push((child, solved));
            }
        }
    }
    best.proven = true;
    Ok(())
}

/// Settles every cheating slot the way it leans, until none is left; `None` if
/// that leaves no answer. Each round settles a device in a slot for good, so it
/// comes to an end.
fn dive(
    planner: &mut Planner,
    problem: &Problem,
    refinement: &Refinement,
    mut solved: Box<Solved>,
) -> Result<Option<Directed>, SolveError> {
    let mut refinement = refinement.clone();
    loop {
        let found = cheats(problem, &solved.solution);
        if found.is_empty() {
            return Ok(Some(Directed { solved, refinement, proven: false }));
        }
        let before = refinement.meter.len() + refinement.battery.len();
        for cheat in &found {
            cheat.forbid(cheat.leaning, &mut refinement);
        }
        if refinement.meter.len() + refinement.battery.len() == before {
            return Ok(None);
        }
        let Attempt::Solved(next) = planner.solved(problem, &refinement)? else { return Ok(None) };
        solved = next;
    }
}

/// The device to turn next: in the slot that could gain most, the way that is
/// forbidden now and was not tried yet.
fn next_turn(gains: &[f64], best: &Directed, tried: &[Cheat]) -> Option<Cheat> {
    let mut order: Vec<usize> = (0..gains.len()).filter(|&slot| gains[slot] > 1e-6).collect();
    order.sort_by(|&a, &b| gains[b].total_cmp(&gains[a]));
    order.into_iter().flat_map(|slot| turns(slot, best)).find(|turn| !tried.contains(turn))
}

fn turns(slot: usize, best: &Directed) -> Vec<Cheat> {
    let settled = [
        (Device::Meter, best.refinement.meter.get(&slot)),
        (Device::Battery, best.refinement.battery.get(&slot)),
    ];
    settled
        .into_iter()
        .filter_map(|(device, direction)| direction.map(|&d| (device, turned(d))))
        .map(|(device, leaning)| Cheat { slot, device, leaning, kwh: 0.0 })
        .collect()
}

fn turned(direction: Direction) -> Direction {
    match direction {
        Direction::In => Direction::Out,
        Direction::Out => Direction::In,
    }
}
