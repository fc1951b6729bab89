//! Whether a new plan is worth a change from the published one.

use crate::plant::{BatteryCommand, HeaterCommand};
use crate::problem::Problem;

use super::candidate::Candidate;
use super::score::Judge;

/// A change must save so much, whatever its share [minor].
const LEAST_GAIN: f64 = 1.0;

/// A plan that leaves so much more undone than another does not serve any more [kWh].
const FAILS_KWH: f64 = 0.02;

/// Whether a plan that leaves more undone, by its price [minor], does not serve any more.
pub(crate) fn fails(problem: &Problem, more: f64) -> bool {
    more > FAILS_KWH * problem.weights.unmet_per_kwh
}

/// The published plan as the plant judges it from the present state, if it serves
/// and the new one saves too little; else the new one.
pub(crate) fn keep(judge: &mut Judge<'_>, new: Candidate) -> Candidate {
    let problem = judge.problem;
    let Some(published) = &problem.published else { return new };
    let mut commands = new.commands.clone();
    for (slot, span) in problem.horizon.slots().iter().enumerate().take(published.slots) {
        let rows = commands.heaters.iter_mut().zip(&published.heaters);
        for ((row, energies), id) in rows.zip(problem.heaters()) {
            let element = &problem.site.stores[id.store].elements[id.element];
            row[slot] = HeaterCommand::using(element, energies[slot], *span);
        }
        let (mode, power) = published.battery[slot];
        commands.battery[slot] = BatteryCommand { mode, power };
    }
    let old = judge.candidate(commands);
    let undone = judge.shortfall(&old.outcome) - judge.shortfall(&new.outcome);
    let serves = !fails(problem, undone);
    let import = judge.money(&new.outcome).import.max(0.0);
    let needed = LEAST_GAIN.max(problem.weights.change_share * import);
    if serves && old.score - new.score <= needed { old } else { new }
}
