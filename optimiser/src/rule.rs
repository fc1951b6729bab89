//! The plan without a solver: a thermostat in the cheapest slots before each
//! named time. It needs no optimum, only to be right, and it is checked like
//! any other.

mod room;

use crate::check::{Violation, violations};
use crate::model::{Ladder, Refinement};
use crate::plan::Publisher;
use crate::problem::{HeaterId, Problem};
use crate::schedule::{Origin, Schedule};
use crate::solution::{SlotFlows, Solution, StoreFlows};
use crate::water::KWH_PER_LITRE_KELVIN;
use room::{RoomRule, RoomSlot, has_machine};

/// Above the use temperature by which the thermostat is set [K].
const MARGIN_K: f64 = 10.0;

/// A draw of less heat than this needs no heating of its own [kWh].
const SMALL_KWH: f64 = 0.3;

/// Plans by rule.
///
/// # Errors
/// The rules that even this plan breaks, for instance because the base load
/// alone is above the import limit.
pub fn rule_plan(problem: &Problem) -> Result<Schedule, Vec<Violation>> {
    let heat = planned_heat(problem);
    let solution = flows(problem, &heat);
    let refinement =
        Refinement { hygiene: vec![None; problem.hygiene.len()], ..Refinement::default() };
    let schedule = Publisher::new(problem, &solution, &refinement).schedule(Origin::Rule);
    let found = violations(problem, &schedule, Some(&solution));
    if found.is_empty() { Ok(schedule) } else { Err(found) }
}

/// Energy of each heater in each slot.
fn planned_heat(problem: &Problem) -> Vec<Vec<f64>> {
    let heaters: Vec<HeaterId> = problem.heaters().collect();
    let slots = problem.horizon.slots();
    let mut heat = vec![vec![0.0; slots.len()]; heaters.len()];
    let mut room: Vec<f64> = (0..slots.len()).map(|slot| import_room(problem, slot)).collect();
    for store in 0..problem.site.stores.len() {
        let mut own: Vec<usize> =
            (0..heaters.len()).filter(|&h| heaters[h].store == store).collect();
        let height =
            |h: usize| problem.site.stores[store].elements[heaters[h].element].height.value();
        own.sort_by(|&a, &b| height(a).total_cmp(&height(b)));
        heat_by_hand(problem, store, &own, &mut heat, &mut room);
        if has_machine(problem, store) {
            continue;
        }
        let mut from = 0;
        for deadline in deadlines(problem, store) {
            let mut missing =
                target_kwh(problem, store) - expected_kwh(problem, store, &heat, &own, deadline);
            let mut order: Vec<usize> = (from..deadline).collect();
            order.sort_by(|&a, &b| {
                let price = |s: usize| problem.import_price[s].per_kwh();
                price(a).total_cmp(&price(b)).then(b.cmp(&a))
            });
            for slot in order {
                for &heater in &own {
                    let element = &problem.site.stores[store].elements[heaters[heater].element];
                    let full = element.power.kw() * slots[slot].hours();
                    let most = problem.range_kwh(heaters[heater], slot).1 - heat[heater][slot];
                    // Full power must fit, since an on/off element knows no less.
                    let runs = heat[heater][slot] > 0.0;
                    let fits = runs || room[slot] >= full;
                    let add = if fits { missing.min(most).max(0.0) } else { 0.0 };
                    heat[heater][slot] += add;
                    if add > 0.0 && !runs {
                        room[slot] -= full;
                    }
                    missing -= add;
                }
            }
            from = deadline;
        }
    }
    heat
}

/// What is on by hand, as far as it fits the meter and the water takes it.
fn heat_by_hand(
    problem: &Problem,
    store: usize,
    own: &[usize],
    heat: &mut [Vec<f64>],
    room: &mut [f64],
) {
    if problem.by_hand.is_empty() {
        return;
    }
    let heaters: Vec<HeaterId> = problem.heaters().collect();
    let site = &problem.site.stores[store];
    for slot in 0..problem.horizon.len() {
        for &heater in own {
            let (least, _) = problem.range_kwh(heaters[heater], slot);
            let full = site.elements[heaters[heater].element].power.kw()
                * problem.horizon.slots()[slot].hours();
            if least > 0.0 && room[slot] >= full {
                let held = expected_kwh(problem, store, heat, own, slot);
                let takes = (site.heat_at(site.highest_reach()) - held).max(0.0);
                heat[heater][slot] = least.min(takes);
                room[slot] -= full;
            }
        }
    }
}

/// Energy that the import limit leaves for heaters in a slot.
fn import_room(problem: &Problem, slot: usize) -> f64 {
    let limit = problem.site.grid.import_limit.kw() * problem.horizon.slots()[slot].hours();
    limit - problem.base_load[slot].kwh()
        + problem.pv[slot].kwh().min(problem.base_load[slot].kwh())
}

/// Slots by whose beginning the store must be hot, rising.
fn deadlines(problem: &Problem, store: usize) -> Vec<usize> {
    let mains = problem.site.stores[store].mains;
    let draws = problem.draws.iter().filter(|d| d.store == store && d.heat_kwh(mains) >= SMALL_KWH);
    let ready = problem.ready.iter().filter(|r| r.store == store);
    let instants = draws.map(|d| d.start).chain(ready.map(|r| r.by));
    let mut slots: Vec<usize> = instants.filter_map(|at| problem.horizon.index_at(at)).collect();
    slots.sort_unstable();
    slots.dedup();
    slots
}

fn target_kwh(problem: &Problem, store: usize) -> f64 {
    let own = &problem.site.stores[store];
    let target = (own.use_temperature.celsius() + MARGIN_K).min(own.highest_reach().celsius());
    own.heat_at(crate::units::Temperature::clamped(target))
}

/// Heat expected in a store at the beginning of a slot.
fn expected_kwh(
    problem: &Problem,
    store: usize,
    heat: &[Vec<f64>],
    own: &[usize],
    before: usize,
) -> f64 {
    let mut mixed = MixedStore::new(problem, store);
    (0..before).for_each(|slot| {
        let into = own.iter().map(|&heater| heat[heater][slot]).sum();
        mixed.step(problem, slot, into);
    });
    mixed.kwh
}

/// A store taken as fully mixed.
struct MixedStore {
    store: usize,
    kwh: f64,
    draws: Vec<f64>,
}

impl MixedStore {
    fn new(problem: &Problem, store: usize) -> Self {
        let own = &problem.site.stores[store];
        let ladder = Ladder::new(own);
        let litres = ladder.litres(&problem.state.stores[store]);
        let kwh = litres
            .iter()
            .map(|zone| {
                zone.iter().enumerate().map(|(k, l)| l * ladder.step_kwh(k + 1)).sum::<f64>()
            })
            .sum();
        let mut draws = vec![0.0; problem.horizon.len()];
        for draw in problem.draws.iter().filter(|d| d.store == store) {
            for (slot, span) in problem.horizon.slots().iter().enumerate() {
                let inside = draw.end().min(span.end()) - draw.start.max(span.start());
                let length = (draw.end() - draw.start).max(1);
                draws[slot] += draw.heat_kwh(own.mains) * inside.max(0) as f64 / length as f64;
            }
        }
        Self { store, kwh, draws }
    }

    /// Temperature [°C].
    fn celsius(&self, problem: &Problem) -> f64 {
        let own = &problem.site.stores[self.store];
        own.mains.celsius() + self.kwh / (own.volume.litres() * KWH_PER_LITRE_KELVIN)
    }

    /// Moves on by a slot; returns the heat that arrives cold.
    fn step(&mut self, problem: &Problem, slot: usize, heat: f64) -> f64 {
        let own = &problem.site.stores[self.store];
        let warmer = (self.celsius(problem) - own.surroundings.celsius()).max(0.0);
        let hours = problem.horizon.slots()[slot].hours();
        let loss = own.heat_loss.watts_per_kelvin() * warmer * hours / 1_000.0;
        let hot = self.celsius(problem) >= own.use_temperature.celsius() - 0.5;
        let delivered = if hot { self.draws[slot].min(self.kwh - loss).max(0.0) } else { 0.0 };
        self.kwh = (self.kwh + heat - loss - delivered).max(0.0);
        self.draws[slot] - delivered
    }
}

fn flows(problem: &Problem, heat: &[Vec<f64>]) -> Solution {
    let heaters: Vec<HeaterId> = problem.heaters().collect();
    let ladders: Vec<Ladder> = problem.site.stores.iter().map(Ladder::new).collect();
    let mut mixed: Vec<MixedStore> =
        (0..ladders.len()).map(|store| MixedStore::new(problem, store)).collect();
    let mut room = RoomRule::new(problem, &ladders);
    let slots: Vec<SlotFlows> = (0..problem.horizon.len())
        .map(|slot| {
            let heat: Vec<f64> = heat.iter().map(|row| row[slot]).collect();
            let spare = import_room(problem, slot) - heat.iter().sum::<f64>();
            let sources = room.step(slot, &mixed, spare.max(0.0));
            let coils = sources.coils.clone();
            let mut own = electricity(problem, slot, heat, sources);
            own.heat_value = vec![problem.import_price[slot].per_kwh(); heaters.len()];
            for (store, state) in mixed.iter_mut().enumerate() {
                let into = heaters.iter().zip(&own.heaters).filter(|(id, _)| id.store == store);
                let into = into.map(|(_, &e)| e).sum::<f64>() + coils[store];
                let unmet = state.step(problem, slot, into);
                let even = crate::units::Temperature::clamped(state.celsius(problem));
                let litres = ladders[store].litres(&[even]);
                own.stores.push(StoreFlows { litres, unmet, reserve_short: 0.0 });
            }
            own
        })
        .collect();
    let paid = slots.iter().enumerate().map(|(slot, own)| {
        own.import * problem.import_price[slot].per_kwh()
            - own.export * problem.export_price[slot].per_kwh()
    });
    Solution {
        objective: paid.sum(),
        heaters,
        routes: room.routes(),
        rungs: ladders.iter().map(|l| l.temperatures.clone()).collect(),
        zones: ladders.iter().map(|l| l.volumes.clone()).collect(),
        slots,
        ready_short: vec![0.0; problem.ready.len()],
        end_value: 0.0,
    }
}

/// The meter of a slot with the battery at rest.
fn electricity(problem: &Problem, slot: usize, heaters: Vec<f64>, sources: RoomSlot) -> SlotFlows {
    let hours = problem.horizon.slots()[slot].hours();
    let jobs: f64 = sources.routes.iter().map(|flow| flow.electricity).sum();
    let load =
        problem.base_load[slot].kwh() + heaters.iter().sum::<f64>() + jobs + sources.circulation;
    let sun = problem.pv[slot].kwh();
    let export = (sun - load).max(0.0).min(problem.site.grid.export_limit.kw() * hours);
    SlotFlows {
        import: (load - sun).max(0.0),
        export,
        pv: sun.min(load) + export,
        battery: problem.state.battery.kwh(),
        electricity_value: problem.import_price[slot].per_kwh(),
        heaters,
        routes: sources.routes,
        circulation: sources.circulation,
        plant_room: sources.room,
        ..SlotFlows::default()
    }
}
