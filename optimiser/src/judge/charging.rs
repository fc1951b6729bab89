//! Changes of what the battery is told.

use super::candidate::Candidate;
use super::moves::Move;
use super::score::Judge;
use super::worths::Duals;
use crate::plant::BatteryCommand;
use crate::schedule::BatteryMode;
use crate::units::Power;

/// Powers tried, as shares of the limit.
const SHARES: [f64; 3] = [1.0, 0.5, 0.2];

/// A promise worse than this is not tried [minor].
const HOPELESS: f64 = -1.0;

/// Changes of the battery in one slot, each valued by what the slot costs then and
/// by the worth of what the battery holds after it.
pub(super) fn changes(judge: &mut Judge<'_>, best: &Candidate, duals: Duals<'_>) -> Vec<Move> {
    let problem = judge.problem();
    let Some(battery) = &problem.site.battery else { return Vec::new() };
    let mut moves = Vec::new();
    for slot in 0..problem.horizon.len() {
        let wishes: Vec<f64> = best.energies.iter().map(|row| row[slot]).collect();
        let told = best.commands.battery[slot];
        let worth = duals.battery[slot];
        let before = judge.metered(best, slot, &best.outcome.house[slot], worth);
        let powers = |mode, limit: f64| {
            SHARES.map(|share| BatteryCommand { mode, power: Power::clamped(share * limit) })
        };
        let idle = [BatteryMode::Hold, BatteryMode::Follow]
            .map(|mode| BatteryCommand { mode, power: told.power });
        let charge = powers(BatteryMode::Charge, battery.charge_limit.kw());
        let discharge = powers(BatteryMode::Discharge, battery.discharge_limit.kw());
        for command in idle.into_iter().chain(charge).chain(discharge) {
            if command == told {
                continue;
            }
            let Some(cost) = judge.slot_cost(best, slot, &wishes, command, worth) else { continue };
            let promise = before - cost;
            // What comes to the same changes nothing.
            if promise > HOPELESS && promise.abs() > 1e-6 {
                moves.push(Move { battery: vec![(slot, command)], promise, ..Move::default() });
            }
        }
    }
    moves
}
