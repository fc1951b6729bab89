//! A plan as the search sees it: energies, commands, and what they lead to.

use crate::lanes::{Beside, room};
use crate::plan::{Stage, arrange};
use crate::plant::{BatteryCommand, Commands, HeaterCommand, JobCommand, Outcome, PvUse};
use crate::problem::Problem;
use crate::schedule::BatteryMode;
use crate::units::Power;

/// A plan with its simulated outcome and score.
#[derive(Debug)]
pub struct Candidate {
    /// Energy of each heater in each slot [kWh].
    pub energies: Vec<Vec<f64>>,
    /// What the devices are told.
    pub commands: Commands,
    /// What the plant makes of it.
    pub outcome: Outcome,
    /// Cost with everything that counts, less what is left [minor].
    pub score: f64,
    /// Part of it for what is left undone [minor].
    pub shortfall: f64,
    /// Tells it from every other that its judge has seen.
    pub(super) token: usize,
}

/// A search makes thousands of candidates that differ from one in a few slots, so what
/// is copied goes into memory that is there.
impl Clone for Candidate {
    fn clone(&self) -> Self {
        Self {
            energies: self.energies.clone(),
            commands: self.commands.clone(),
            outcome: self.outcome.clone(),
            ..*self
        }
    }

    fn clone_from(&mut self, source: &Self) {
        let Self { energies, commands, outcome, score, shortfall, token } = self;
        energies.clone_from(&source.energies);
        commands.clone_from(&source.commands);
        outcome.clone_from(&source.outcome);
        (*score, *shortfall, *token) = (source.score, source.shortfall, source.token);
    }
}

/// What the devices of the electrical node are told in one slot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SlotOrders {
    pub(super) heaters: Vec<HeaterCommand>,
    pub(super) battery: BatteryCommand,
    pub(super) pv: PvUse,
}

/// Sets the commands of one slot to what the energies ask for. False if the
/// elements cannot be put beside each other within the import limit.
pub(super) fn command_slot(
    problem: &Problem,
    slot: usize,
    energies: &[Vec<f64>],
    commands: &mut Commands,
) -> bool {
    let wishes: Vec<f64> = energies.iter().map(|row| row[slot]).collect();
    let told = (commands.battery[slot], commands.pv[slot]);
    let Some(orders) = slot_orders(problem, slot, &wishes, &commands.jobs[slot], told) else {
        return false;
    };
    for (row, command) in commands.heaters.iter_mut().zip(&orders.heaters) {
        row[slot] = *command;
    }
    commands.battery[slot] = orders.battery;
    commands.pv[slot] = orders.pv;
    true
}

/// The commands of one slot for energies [kWh], with the battery and PV told so far.
pub(super) fn slot_orders(
    problem: &Problem,
    slot: usize,
    wishes: &[f64],
    jobs: &[JobCommand],
    (battery, mut pv): (BatteryCommand, PvUse),
) -> Option<SlotOrders> {
    let hours = problem.horizon.slots()[slot].hours();
    let battery_kw = match battery.mode {
        BatteryMode::Charge => battery.power.kw(),
        BatteryMode::Discharge => -battery.power.kw(),
        BatteryMode::Hold | BatteryMode::Follow | BatteryMode::Absorb | BatteryMode::Supply => 0.0,
    };
    let beside = Beside {
        base: problem.base_load[slot].kwh(),
        pv: problem.pv[slot].kwh(),
        battery: battery_kw * hours,
    };
    let room = room(problem, slot, beside, jobs.iter().map(|job| job.route.source));
    let runs = arrange(problem, slot, wishes, &room, Stage::Lowest)?;
    if pv == PvUse::LastResort && problem.import_price[slot].per_kwh() >= 0.0 {
        pv = PvUse::Free;
    }
    let heaters = runs
        .iter()
        .map(|run| HeaterCommand {
            power: Power::clamped(run.kw),
            minutes: run.minutes,
            delay_minutes: run.delay,
        })
        .collect();
    Some(SlotOrders { heaters, battery, pv })
}
