//! From the program's answer to the published schedule.

mod room;

use crate::judge::Candidate;
use crate::model::Refinement;
use crate::problem::{HeaterId, Problem};
use crate::schedule::{
    BatteryMode, Cost, Evidence, HeaterPlan, Origin, Reason, Schedule, SlotPlan, StorePlan,
};
use crate::solution::{SlotFlows, Solution};
use crate::time::Instant;
use crate::units::{Energy, Power, Price, Temperature};
use crate::water::KWH_PER_LITRE_KELVIN;

use super::cheats::most_swing;
use super::jobs::Placed;
use super::reasons::{Reasoner, Situation};
use super::sharing::{Run, arrange_flows, minutes as minutes_of, sources};

/// Less energy than this is rounding, not a flow [kWh].
const NOTHING: f64 = 1e-6;

/// Makes the schedule of an answer.
pub(crate) struct Publisher<'a> {
    problem: &'a Problem,
    solution: &'a Solution,
    holds: Vec<Option<Instant>>,
    judged: Option<&'a Candidate>,
}

impl<'a> Publisher<'a> {
    pub(crate) fn new(
        problem: &'a Problem,
        solution: &'a Solution,
        refinement: &Refinement,
    ) -> Self {
        let slots = problem.horizon.slots();
        let holds =
            refinement.hygiene.iter().map(|hold| hold.map(|h| slots[h.first].start())).collect();
        Self { problem, solution, holds, judged: None }
    }

    /// Tells what the simulated plant makes of a candidate; the solution holds
    /// its flows already.
    pub(crate) fn judged(mut self, candidate: &'a Candidate) -> Self {
        let rules = self.problem.hygiene.iter();
        self.holds = rules
            .map(|rule| {
                let trace = &candidate.outcome.stores[rule.store];
                trace.pasteurised(&self.problem.horizon, rule.temperature, rule.hold_seconds)
            })
            .collect();
        self.judged = Some(candidate);
        self
    }

    /// The schedule, with the program's own temperatures.
    pub(crate) fn schedule(&self, origin: Origin) -> Schedule {
        let reasoner = Reasoner::new(self.problem, self.solution, &self.holds, self.judged);
        let placed = self.placed();
        let slots: Vec<SlotPlan> = (0..self.problem.horizon.len())
            .map(|slot| self.slot(slot, &placed[slot], &reasoner))
            .collect();
        let flows = &self.solution.slots;
        let unmet_kwh: f64 = flows.iter().flat_map(|f| &f.stores).map(|s| s.unmet).sum();
        let reserve = flows.iter().flat_map(|f| &f.stores).map(|s| s.reserve_short);
        // Water that is kept only in case was not promised.
        let promised = self.problem.ready.iter().zip(&self.solution.ready_short);
        let promised = promised.filter(|(ready, _)| ready.is_promised()).map(|(_, &kwh)| kwh);
        let short = reserve.chain(promised).fold(0.0, f64::max);
        Schedule {
            origin,
            evidence: Evidence::Modelled,
            cost: self.cost(),
            unmet_kwh,
            unmet_litres: self.unmet_litres(),
            short_kwh: short,
            hygiene: self.holds.clone(),
            slots,
        }
    }

    fn cost(&self) -> Cost {
        let wear = self.problem.site.battery.map_or(0.0, |b| b.wear.per_kwh());
        let boiler = self.problem.site.plant_room.boiler.as_ref();
        let fuel = boiler.map_or(0.0, |boiler| boiler.fuel_price.per_kwh());
        let mut cost = Cost { end_value: self.solution.end_value, ..Cost::default() };
        for (slot, flows) in self.solution.slots.iter().enumerate() {
            cost.import += flows.import * self.problem.import_price[slot].per_kwh();
            cost.export_income += flows.export * self.problem.export_price[slot].per_kwh();
            cost.wear += flows.discharge * wear;
            cost.fuel += flows.routes.iter().map(|flow| flow.fuel).sum::<f64>() * fuel;
        }
        cost
    }

    fn unmet_litres(&self) -> f64 {
        self.problem
            .site
            .stores
            .iter()
            .enumerate()
            .map(|(index, store)| {
                let unmet: f64 = self.solution.slots.iter().map(|f| f.stores[index].unmet).sum();
                unmet / (KWH_PER_LITRE_KELVIN * store.use_temperature.above(store.mains))
            })
            .sum()
    }

    fn slot(&self, slot: usize, placed: &[Placed], reasoner: &Reasoner<'_>) -> SlotPlan {
        let (problem, flows) = (self.problem, &self.solution.slots[slot]);
        let both = flows.import.min(flows.export);
        // The simulated meter counts; the program's registers may both hold rounding.
        let swing = match self.judged {
            Some(_) => both,
            None => both.min(most_swing(problem, slot, flows)),
        };
        let swing = if swing > NOTHING { swing } else { 0.0 };
        // What is left of the smaller register is rounding of the solver.
        let net = flows.import - flows.export;
        let rounding = if self.judged.is_some() { 0.0 } else { flows.charge.min(flows.discharge) };
        SlotPlan {
            slot: problem.horizon.slots()[slot],
            import_price: problem.import_price[slot],
            export_price: problem.export_price[slot],
            import: Energy::clamped(net.max(0.0)),
            export: Energy::clamped((-net).max(0.0)),
            swing: Energy::clamped(swing),
            pv: Energy::clamped(flows.pv.min(problem.pv[slot].kwh())),
            curtailed: Energy::clamped((problem.pv[slot].kwh() - flows.pv).max(0.0)),
            base_load: problem.base_load[slot],
            charge: Energy::clamped(flows.charge - rounding),
            discharge: Energy::clamped(flows.discharge - rounding),
            battery: Energy::clamped(flows.battery),
            battery_mode: problem.site.battery.map(|_| self.battery_mode(slot)),
            circulation: Energy::clamped(flows.circulation),
            jobs: self.jobs(slot, swing, placed, reasoner),
            told: self.told(slot, placed),
            plant_room: self.plant_room(slot),
            electricity_value: Price::clamped(flows.electricity_value),
            heaters: self.heaters(slot, swing, reasoner),
            stores: self.stores(slot),
        }
    }

    fn heaters(&self, slot: usize, swing: f64, reasoner: &Reasoner<'_>) -> Vec<HeaterPlan> {
        let (problem, flows) = (self.problem, &self.solution.slots[slot]);
        let length = minutes_of(problem.horizon.slots()[slot]);
        let runs = self.runs(slot);
        let whole = sources(problem, slot, flows, swing);
        let total = whole.pv + whole.battery + whole.grid;
        problem
            .heaters()
            .zip(&flows.heaters)
            .zip(runs)
            .enumerate()
            .map(|(index, ((id, &energy), run))| {
                let share = if total > NOTHING { energy / total } else { 0.0 };
                let (pv, battery) = (whole.pv * share, whole.battery * share);
                let energy = if energy > NOTHING { energy } else { 0.0 };
                HeaterPlan {
                    id,
                    power: Power::clamped(run.kw),
                    minutes: run.minutes.min(length),
                    delay_minutes: run.delay,
                    energy: Energy::clamped(energy),
                    pv: Energy::clamped(pv),
                    battery: Energy::clamped(battery),
                    grid: Energy::clamped((energy - pv - battery).max(0.0)),
                    why: if energy > 0.0 && self.only_guards(slot, index) {
                        Reason::Guard
                    } else {
                        reasoner.why(&Situation { slot, index, id, energy, pv, battery })
                    },
                }
            })
            .collect()
    }

    /// What each heater does: as the plant ran it, or as the slot can be shared.
    fn runs(&self, slot: usize) -> Vec<Run> {
        let flows = &self.solution.slots[slot];
        match self.judged {
            None => arrange_flows(self.problem, slot, flows)
                .unwrap_or_else(|| vec![Run::OFF; flows.heaters.len()]),
            Some(candidate) => {
                let used = self.problem.heaters().zip(&flows.heaters).enumerate();
                used.map(|(heater, (id, used))| self.ran(candidate, slot, (heater, id), *used))
                    .collect()
            }
        }
    }

    /// Whether a heater has no run of its own in a slot.
    fn only_guards(&self, slot: usize, heater: usize) -> bool {
        self.judged.is_some_and(|own| own.commands.heaters[heater][slot].minutes <= 0.0)
    }

    /// How a heater used an energy [kWh] in the plant: in one run from its first instant
    /// on, which a thermostat may have cut short.
    fn ran(
        &self,
        candidate: &Candidate,
        slot: usize,
        (heater, id): (usize, HeaterId),
        used: f64,
    ) -> Run {
        if used <= NOTHING {
            return Run::OFF;
        }
        let command = &candidate.commands.heaters[heater][slot];
        let element = &self.problem.site.stores[id.store].elements[id.element];
        let span = self.problem.horizon.slots()[slot];
        let own = if command.minutes > 0.0 { command.power.kw() } else { 0.0 };
        let kw = power_of(used, span.hours(), own, element.power.kw());
        let begin = (span.start() - self.problem.horizon.start()) as f64;
        let mut spans = candidate.outcome.stores[id.store].spans(slot).iter();
        let first = spans.find(|span| span.element == id.element).map_or(begin, |span| span.start);
        let minutes = used / kw * 60.0;
        let delay = ((first - begin) / 60.0).min(minutes_of(span) - minutes).max(0.0);
        Run { kw, minutes, delay }
    }

    fn battery_mode(&self, slot: usize) -> BatteryMode {
        match self.judged {
            None => battery_mode(&self.solution.slots[slot]),
            Some(candidate) => candidate.commands.battery[slot].mode,
        }
    }

    fn stores(&self, slot: usize) -> Vec<StorePlan> {
        let flows = &self.solution.slots[slot];
        (0..self.problem.site.stores.len())
            .map(|index| {
                let store = &self.problem.site.stores[index];
                let (rungs, zones) = (&self.solution.rungs[index], &self.solution.zones[index]);
                let litres = &flows.stores[index].litres;
                let (bottom, top) = end_temperatures(rungs, zones, litres);
                let heat_value = self.solution.heaters.iter().zip(&flows.heat_value);
                let value = heat_value
                    .filter(|(id, _)| id.store == index)
                    .map(|(_, &v)| v)
                    .chain(self.coil_values(slot, index))
                    .fold(f64::NEG_INFINITY, f64::max);
                let modelled = StorePlan {
                    stored: Energy::clamped(stored_kwh(rungs, litres)),
                    top: Temperature::clamped(top),
                    bottom: Temperature::clamped(bottom),
                    usable_litres: usable_litres(rungs, litres, store.use_temperature.celsius()),
                    unmet_kwh: flows.stores[index].unmet,
                    value: Price::clamped(value),
                };
                self.judged.map_or(modelled, |candidate| {
                    let trace = &candidate.outcome.stores[index];
                    let record = &trace.slots()[slot];
                    let layers = trace.layers(slot + 1);
                    StorePlan {
                        stored: Energy::clamped(record.stored_kwh),
                        top: Temperature::clamped(layers[layers.len() - 1]),
                        bottom: Temperature::clamped(layers[0]),
                        usable_litres: record.usable_litres,
                        ..modelled
                    }
                })
            })
            .collect()
    }
}

/// Mean temperatures of the lowest and the highest zone when the water of all
/// zones has found its level: what is warmer is above [°C].
fn end_temperatures(rungs: &[f64], zones: &[f64], litres: &[Vec<f64>]) -> (f64, f64) {
    let total: f64 = zones.iter().sum();
    let (lowest, highest) = (zones[0], zones[zones.len() - 1]);
    let mut ends = (rungs[0], rungs[0]);
    for (k, pair) in rungs.windows(2).enumerate() {
        let warm: f64 = litres.iter().map(|zone| zone[k]).sum();
        let step = pair[1] - pair[0];
        ends.0 += step * (warm - (total - lowest)).max(0.0) / lowest;
        ends.1 += step * warm.min(highest) / highest;
    }
    ends
}

/// Heat above mains that a ladder's litres hold [kWh].
fn stored_kwh(rungs: &[f64], litres: &[Vec<f64>]) -> f64 {
    let zone_kwh = |zone: &Vec<f64>| -> f64 {
        zone.iter().zip(rungs.windows(2)).map(|(l, pair)| l * (pair[1] - pair[0])).sum()
    };
    KWH_PER_LITRE_KELVIN * litres.iter().map(zone_kwh).sum::<f64>()
}

/// Litres mixed at the use temperature from all water at or above it [L].
fn usable_litres(rungs: &[f64], litres: &[Vec<f64>], use_temperature: f64) -> f64 {
    let first = rungs.partition_point(|&t| t < use_temperature - 1e-6);
    let cold = rungs[0];
    litres
        .iter()
        .map(|zone| {
            (first..rungs.len())
                .map(|k| {
                    let step = if k == first { rungs[k] - cold } else { rungs[k] - rungs[k - 1] };
                    zone[k - 1] * step / (use_temperature - cold)
                })
                .sum::<f64>()
        })
        .sum()
}

fn battery_mode(flows: &SlotFlows) -> BatteryMode {
    let (charge, discharge) = (flows.charge - flows.discharge, flows.discharge - flows.charge);
    let grid_idle = flows.import < NOTHING && flows.export < NOTHING;
    if charge > NOTHING {
        if grid_idle { BatteryMode::Follow } else { BatteryMode::Charge }
    } else if discharge > NOTHING {
        if grid_idle { BatteryMode::Follow } else { BatteryMode::Discharge }
    } else {
        BatteryMode::Hold
    }
}

/// The power at which a heater used an energy [kWh] in a slot: its own, or its full power
/// where it had none or used more than that gives, since then it also stood guard [kW].
fn power_of(used: f64, hours: f64, own: f64, full: f64) -> f64 {
    if used <= own * hours + NOTHING { own } else { full }
}

#[cfg(test)]
mod tests {
    use super::power_of;

    // By hand, half an hour of an element of 1 or 3 kW.
    #[test]
    fn who_used_more_than_its_run_gives_stood_guard_at_full_power() {
        let of = |used, own| power_of(used, 0.5, own, 3.0);
        assert!((of(0.5, 1.0) - 1.0).abs() < 1e-12);
        assert!((of(0.2, 1.0) - 1.0).abs() < 1e-12);
        assert!((of(0.9, 1.0) - 3.0).abs() < 1e-12);
        assert!((of(0.2, 0.0) - 3.0).abs() < 1e-12);
    }
}
