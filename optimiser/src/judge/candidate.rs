//! A plan as the search sees it: energies, commands, and what they lead to.

use crate::plan::{Stage, arrange, peak_kw};
use crate::plant::{Commands, HeaterCommand, Outcome, PvUse};
use crate::problem::Problem;
use crate::schedule::BatteryMode;
use crate::units::Power;

/// A plan with its simulated outcome and score.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Energy of each heater in each slot [kWh].
    pub energies: Vec<Vec<f64>>,
    /// What the devices are told.
    pub commands: Commands,
    /// What the plant makes of it.
    pub outcome: Outcome,
    /// Cost with everything that counts, less what is left [minor].
    pub score: f64,
}

/// Sets the commands of one slot to what the energies ask for. False if the
/// elements cannot be put beside each other within the import limit.
pub(super) fn command_slot(
    problem: &Problem,
    slot: usize,
    energies: &[Vec<f64>],
    commands: &mut Commands,
) -> bool {
    let hours = problem.horizon.slots()[slot].hours();
    let battery = commands.battery[slot];
    let battery_kw = match battery.mode {
        BatteryMode::Charge => battery.power.kw(),
        BatteryMode::Discharge => -battery.power.kw(),
        BatteryMode::Hold | BatteryMode::Follow | BatteryMode::Absorb | BatteryMode::Supply => 0.0,
    };
    let jobs = commands.jobs[slot].iter().map(|job| job.route.source);
    let steady = (problem.base_load[slot].kwh() - problem.pv[slot].kwh()) / hours
        + battery_kw
        + peak_kw(problem, slot, jobs);
    let wishes: Vec<f64> = energies.iter().map(|row| row[slot]).collect();
    let Some(runs) = arrange(problem, slot, &wishes, steady, Stage::Lowest) else { return false };
    for (row, run) in commands.heaters.iter_mut().zip(&runs) {
        row[slot] = HeaterCommand {
            power: Power::clamped(run.kw),
            minutes: run.minutes,
            delay_minutes: run.delay,
        };
    }
    if commands.pv[slot] == PvUse::LastResort && problem.import_price[slot].per_kwh() >= 0.0 {
        commands.pv[slot] = PvUse::Free;
    }
    true
}
