//! A candidate in the form in which it is published.
//!
//! A schedule says for each slot when an element goes on and for how long, and at
//! what mean power the battery charges or discharges. Where a thermostat has cut a
//! run or the battery has met a limit, the search's own commands ask for more. So
//! commands are told as they came out and simulated again, until both agree.

use super::candidate::Candidate;
use super::score::Judge;
use crate::plant::HeaterCommand;
use crate::schedule::BatteryMode;
use crate::units::Power;

/// Energies that differ by less are the same [kWh].
const SAME_KWH: f64 = 1e-6;

/// Most rounds; what is left then is small.
const MOST_ROUNDS: usize = 6;

/// The candidate with commands that say what happens.
pub(crate) fn settled(judge: &mut Judge<'_>, mut candidate: Candidate) -> Candidate {
    for _ in 0..MOST_ROUNDS {
        let told = told(judge, &candidate);
        let apart = told
            .energies
            .iter()
            .flatten()
            .zip(candidate.energies.iter().flatten())
            .any(|(new, old)| (new - old).abs() > SAME_KWH);
        if !apart && told.commands.battery == candidate.commands.battery {
            break;
        }
        candidate = judge.exactly_like(&candidate, told.commands);
    }
    candidate
}

/// A candidate's commands as they came out.
fn told(judge: &Judge<'_>, candidate: &Candidate) -> Candidate {
    let problem = judge.problem();
    let mut told = candidate.clone();
    for (slot, span) in problem.horizon.slots().iter().enumerate() {
        let begin = (span.start() - problem.horizon.start()) as f64;
        for (heater, id) in problem.heaters().enumerate() {
            // What is held by hand is told so, whatever comes of it.
            if judge.range_kwh(heater, slot).0 > 0.0 {
                continue;
            }
            let trace = &candidate.outcome.stores[id.store];
            let command = &mut told.commands.heaters[heater][slot];
            // What it heats outside of its run it heats because it stands guard.
            let on = begin + 60.0 * command.delay_minutes;
            let off = on + 60.0 * command.minutes;
            let runs = trace.spans(slot).iter().filter(|span| span.element == id.element);
            let mut runs = runs
                .map(|span| (span.start.max(on), span.end.min(off)))
                .filter(|(start, end)| end > start)
                .peekable();
            let first = runs.peek().map_or(on, |(start, _)| *start);
            let seconds: f64 = runs.map(|(start, end)| end - start).sum();
            *command = if command.power.kw() * seconds / 3_600.0 > SAME_KWH {
                HeaterCommand {
                    minutes: seconds / 60.0,
                    delay_minutes: (first - begin) / 60.0,
                    ..*command
                }
            } else {
                HeaterCommand::OFF
            };
            told.energies[heater][slot] = command.energy().kwh();
        }
        let house = &candidate.outcome.house[slot];
        let battery = &mut told.commands.battery[slot];
        let kwh = match battery.mode {
            // No more than there is room for all the while.
            BatteryMode::Charge => house.charge_kwh.min(house.charge_room_kw * span.hours()),
            BatteryMode::Discharge => house.discharge_kwh,
            // Those set their own power.
            BatteryMode::Hold | BatteryMode::Follow | BatteryMode::Absorb | BatteryMode::Supply => {
                0.0
            }
        };
        battery.power = Power::clamped(kwh / span.hours());
    }
    told
}
