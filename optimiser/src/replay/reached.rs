//! What somebody who knows everything has been seen to reach on the simulated plant.
//!
//! The [bound](super::bound) is kinder than the plant. Here the same problem is planned
//! as a whole, searched on the plant for as long as one likes, and run like any
//! controller. Its cost is no bound, but it can be reached: what lies between it and the
//! bound is the bound's kindness or the search's failure, what lies between it and a
//! controller that knew everything is what that controller gave away.

use super::bound::{self, Comfort};
use super::{Controller, Run, SlotCommands, Stage, StoredWorth, View};
use crate::forecast::Knowledge;
use crate::judge::Effort;
use crate::plan::{Outcome, Planner};
use crate::plant::Commands;
use crate::problem::Problem;
use crate::solve::SolveLimits;

/// The period under one plan that knew all of it and leaves at its end what a run left.
///
/// # Errors
/// Why there is no plan, in words.
pub fn reached(
    stage: &Stage<'_>,
    worth: StoredWorth,
    like: &Run,
    limits: SolveLimits,
    effort: Effort,
) -> Result<Run, String> {
    let problem = bound::problem(stage, worth, Comfort::Draws)?;
    let end_value = bound::left_like(stage, like, &problem);
    let problem = Problem { end_value, ..problem };
    let schedule = match Planner::with_limits(limits).with_effort(effort).plan(&problem) {
        Outcome::Planned(planned) => planned.schedule,
        Outcome::Infeasible(_) => return Err("the limits leave load unserved".to_owned()),
        Outcome::Refused(found) => {
            return Err(format!("the check refused it: {:?}", found.first()));
        }
        Outcome::Failed(why) => return Err(why),
    };
    let mut script = Script {
        first: stage.timeline().judged().start,
        commands: Commands::of(&problem, &schedule),
    };
    Ok(stage.run(&mut script, &mut |_| {}))
}

/// Commands that were all written down before.
struct Script {
    first: usize,
    commands: Commands,
}

impl Controller for Script {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let slot = view.now() - self.first;
        let commands = &self.commands;
        SlotCommands {
            jobs: Vec::new(),
            heaters: commands.heaters.iter().map(|row| row[slot]).collect(),
            battery: commands.battery[slot],
            pv: commands.pv[slot],
            pumps: commands.pumps.iter().map(|row| row[slot]).collect(),
            guards: commands.guards.iter().map(|row| row[slot]).collect(),
            dials_up: true,
        }
    }
}
