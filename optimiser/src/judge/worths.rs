//! What heat and charge cost, slot by slot, at the meter as the plant has it.
//!
//! A program with linear flows cannot say what an element at full power costs in
//! a slot with half as much sun, or beside a battery that is told to charge. So
//! each slot is metered with a quantum more and a quantum less; what the battery
//! gains or loses by that, and what the heat is worth, the program's duals say.

use super::candidate::{Candidate, slot_orders};
use super::score::Judge;
use crate::plant::{BatteryCommand, HouseSlot};

/// Worth of heat and charge by the program.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Duals<'a> {
    /// Worth of one more kWh through each heater, `[slot][heater]` [minor/kWh].
    pub(crate) heat: &'a [Vec<f64>],
    /// Worth of one more kWh in the battery at the end of each slot [minor/kWh].
    pub(crate) battery: &'a [f64],
}

/// Prices around a candidate.
#[derive(Debug, Clone)]
pub(super) struct Worths {
    /// Cost of one more kWh, `[heater][slot]`, where a quantum is added [minor/kWh].
    dearer: Vec<Vec<f64>>,
    /// Saving of one kWh less, where a quantum is taken [minor/kWh].
    saved: Vec<Vec<f64>>,
    /// Worth of heat [minor/kWh].
    heat: Vec<Vec<f64>>,
}

impl Worths {
    /// Meters every slot with a quantum of each heater more and less; a quantum is a
    /// share of what it can use in half an hour.
    pub(super) fn new(
        judge: &mut Judge<'_>,
        best: &Candidate,
        duals: Duals<'_>,
        quantum: f64,
    ) -> Self {
        let problem = judge.problem();
        let heaters: Vec<_> = problem.heaters().collect();
        let slots = problem.horizon.len();
        let rows = || vec![vec![0.0; slots]; heaters.len()];
        let mut worths = Self { dearer: rows(), saved: rows(), heat: rows() };
        for slot in 0..slots {
            let mut wishes: Vec<f64> = best.energies.iter().map(|row| row[slot]).collect();
            let told = best.commands.battery[slot];
            let before = judge.metered(best, slot, &best.outcome.house[slot], duals.battery[slot]);
            for (heater, id) in heaters.iter().enumerate() {
                let kw = problem.site.stores[id.store].elements[id.element].power.kw();
                let own = wishes[heater];
                let more = (own + quantum * kw * 0.5).min(judge.most_kwh(heater, slot)) - own;
                let less = own.min(quantum * kw * 0.5);
                let mut cost = |kwh: f64| {
                    wishes[heater] = own + kwh;
                    let cost = judge.slot_cost(best, slot, &wishes, told, duals.battery[slot]);
                    wishes[heater] = own;
                    cost
                };
                if more > 1e-6 {
                    worths.dearer[heater][slot] =
                        cost(more).map_or(f64::INFINITY, |cost| (cost - before) / more);
                }
                let dearer = worths.dearer[heater][slot];
                worths.saved[heater][slot] = if less > 1e-6 {
                    cost(-less).map_or(dearer, |cost| (before - cost) / less)
                } else {
                    dearer
                };
                if more <= 1e-6 {
                    worths.dearer[heater][slot] = worths.saved[heater][slot];
                }
                worths.heat[heater][slot] = duals.heat[slot][heater];
            }
        }
        worths
    }

    /// What one more kWh of a heater costs in a slot [minor/kWh].
    pub(super) fn price(&self, heater: usize, slot: usize) -> f64 {
        self.dearer[heater][slot]
    }

    /// What changes of heat promise to save [minor].
    pub(super) fn promise(&self, changes: &[(usize, usize, f64)]) -> f64 {
        changes
            .iter()
            .map(|&(heater, slot, kwh)| {
                let price =
                    if kwh > 0.0 { self.dearer[heater][slot] } else { self.saved[heater][slot] };
                kwh * (self.heat[heater][slot] - price)
            })
            .sum()
    }
}

impl Judge<'_> {
    /// Cost of one slot with energies and a battery told so, from the level that
    /// the candidate has there [minor]; `None` if it cannot be commanded.
    pub(super) fn slot_cost(
        &mut self,
        best: &Candidate,
        slot: usize,
        wishes: &[f64],
        battery: BatteryCommand,
        stored_value: f64,
    ) -> Option<f64> {
        let told = (battery, best.commands.pv[slot]);
        let orders = slot_orders(self.problem, slot, wishes, &best.commands.jobs[slot], told)?;
        let level = best.outcome.battery_before(slot);
        let told = (&orders.battery, orders.pv);
        let house = self.plant.meter_slot(&self.scene, slot, &orders.heaters, told, level);
        Some(self.metered(best, slot, &house, stored_value))
    }

    /// Cost of a slot's flows less the worth of what the battery gains [minor].
    pub(super) fn metered(
        &self,
        best: &Candidate,
        slot: usize,
        house: &HouseSlot,
        stored_value: f64,
    ) -> f64 {
        let problem = self.problem;
        let wear = problem.site.battery.as_ref().map_or(0.0, |b| b.wear.per_kwh());
        house.import_kwh * problem.import_price[slot].per_kwh()
            - house.export_kwh * problem.export_price[slot].per_kwh()
            + house.discharge_kwh * wear
            + house.overload_kwh * problem.weights.unmet_per_kwh
            - stored_value * (house.battery_kwh - best.outcome.battery_before(slot))
    }
}
