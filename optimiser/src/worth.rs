//! What heat and charge left at the end of a plan are worth.
//!
//! A coarse backward pass over the days after the horizon, for each store and
//! the battery by itself: each is one capacity, and its worth a concave
//! function of its level, kept exactly as a list of falling slopes. One slot
//! back, a way to fill the store at a cost inserts its slope and pushes the
//! function down by what it can fill; a way to use it inserts its slope; loss
//! stretches the levels. (Exact recursion for one convex store; see for
//! example Cruise, Flatley, Gibbens, Zachary, "Control of energy storage with
//! market impact", 2014, arXiv 1406.3653.)

mod plant_room;
mod slopes;

use crate::problem::{EndValue, ValueStep, Weights};
use crate::site::{Battery, Sink, Site, Source, Store};
use crate::units::{Energy, Price};
use crate::water::{KWH_PER_LITRE_KELVIN, time_constant_hours};
pub use plant_room::plant_room_value;
pub(crate) use slopes::Slopes;

/// One slot of the days after the horizon, as it is expected.
#[derive(Debug, Clone, PartialEq)]
pub struct Ahead {
    /// Length [h].
    pub hours: f64,
    /// Unit rate of import.
    pub import_price: Price,
    /// Unit rate of export.
    pub export_price: Price,
    /// PV energy.
    pub pv: Energy,
    /// Energy of the rest of the house.
    pub base_load: Energy,
    /// Heat drawn from each store above mains [kWh].
    pub draws: Vec<f64>,
}

/// Worth of what is left before the given slots begin.
pub fn end_value(site: &Site, ahead: &[Ahead], weights: &Weights) -> EndValue {
    EndValue {
        stores: (0..site.stores.len())
            .map(|s| store_worth(&site.stores[s], s, &machines(site, s), ahead, weights))
            .collect(),
        battery: site.battery.as_ref().map_or_else(Vec::new, |b| battery_worth(b, ahead)),
        ..EndValue::default()
    }
}

/// A heat pump or boiler that heats a store through a coil.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Machine {
    /// Heat that the store can count on [kW].
    kw: f64,
    /// Electricity for each kWh [kWh].
    electricity: f64,
    /// Fuel for each kWh [minor].
    fuel: f64,
}

/// Temperatures at which a heat pump is taken to heat a store [°C]: a point of EN
/// 14511, for want of the weather of those days.
const SOURCE: f64 = 7.0;
const FLOW: f64 = 55.0;

/// A source has so much of its time for one store.
const TIME_SHARE: f64 = 0.5;

/// What heats a store through its coils; a back-up boiler where nothing else does.
fn machines(site: &Site, store: usize) -> Vec<Machine> {
    let room = &site.plant_room;
    let elements = !site.stores[store].elements.is_empty();
    let mut own: Vec<Machine> = Vec::new();
    for route in room.routes() {
        let serves = matches!(route.sink, Sink::Coil { store: own, .. } if own == store);
        match (route.source, &room.boiler) {
            (Source::HeatPump(index), _) if serves => {
                let pump = &room.heat_pumps[index];
                let at = pump.at(SOURCE, FLOW.min(pump.flow_limit.celsius()));
                let kw = TIME_SHARE * at.capacity_kw;
                own.push(Machine { kw, electricity: 1.0 / at.cop, fuel: 0.0 });
            }
            (Source::Boiler, Some(boiler))
                if serves && (!boiler.back_up_only || (own.is_empty() && !elements)) =>
            {
                let kw = TIME_SHARE * boiler.power.kw();
                own.push(Machine { kw, electricity: 0.0, fuel: boiler.heat_price() });
            }
            _ => {}
        }
    }
    own
}

fn store_worth(
    store: &Store,
    index: usize,
    machines: &[Machine],
    ahead: &[Ahead],
    weights: &Weights,
) -> Vec<ValueStep> {
    let warmth = store.surroundings.above(store.mains).max(0.0);
    let vessel = Vessel {
        capacity: store.heat_at(store.highest_reach()),
        time_constant: match store.heat_loss.watts_per_kelvin() {
            0.0 => f64::INFINITY,
            loss => time_constant_hours(store.volume.litres(), loss),
        },
        floor: store.volume.litres() * warmth * KWH_PER_LITRE_KELVIN,
        penalty: weights.unmet_per_kwh,
    };
    let elements = Machine {
        kw: store.elements.iter().map(|e| e.power.kw()).sum(),
        electricity: 1.0,
        fuel: 0.0,
    };
    let machines: Vec<Machine> = [elements].into_iter().chain(machines.iter().copied()).collect();
    let drawn = |slot: &Ahead| slot.draws.get(index).copied().unwrap_or(0.0);
    vessel.worth(ahead, &machines, drawn)
}

/// Something that holds heat.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Vessel {
    /// Heat that it holds when it is full [kWh].
    capacity: f64,
    /// Heat above the floor falls to its 1/e in this time [h].
    time_constant: f64,
    /// Heat at the temperature around it [kWh].
    floor: f64,
    /// Cost of heat that is needed and not there [minor/kWh].
    penalty: f64,
}

impl Vessel {
    /// Worth of its heat before the given slots, in each of which so much of it is
    /// needed.
    fn worth(
        &self,
        ahead: &[Ahead],
        machines: &[Machine],
        needed: impl Fn(&Ahead) -> f64,
    ) -> Vec<ValueStep> {
        let mut worth = Slopes::zero(self.capacity);
        for slot in ahead.iter().rev() {
            worth.use_for(needed(slot), self.penalty);
            let surplus = (slot.pv.kwh() - slot.base_load.kwh()).max(0.0);
            for machine in machines {
                let most = machine.kw * slot.hours;
                let from_sun = (surplus / machine.electricity.max(1e-9)).min(most);
                let cost = |price: f64| machine.fuel + machine.electricity * price;
                worth.fill(from_sun, cost(slot.export_price.per_kwh().max(0.0)));
                worth.fill(most - from_sun, cost(slot.import_price.per_kwh()));
            }
            worth.lose((-slot.hours / self.time_constant).exp(), self.floor);
        }
        worth.steps()
    }
}

fn battery_worth(battery: &Battery, ahead: &[Ahead]) -> Vec<ValueStep> {
    let mut worth = Slopes::zero(battery.capacity.kwh() - battery.reserve.kwh());
    let (inward, outward) =
        (battery.charge_efficiency.value(), battery.discharge_efficiency.value());
    for slot in ahead.iter().rev() {
        let net = slot.base_load.kwh() - slot.pv.kwh();
        let (gap, surplus) = (net.max(0.0), (-net).max(0.0));
        let out = battery.discharge_limit.kw() * slot.hours;
        let to_house = gap.min(out);
        let worth_out = |price: Price| price.per_kwh() * outward - battery.wear.per_kwh() * outward;
        worth.give(to_house / outward, worth_out(slot.import_price));
        if battery.exports {
            worth.give((out - to_house) / outward, worth_out(slot.export_price));
        }
        let most = battery.charge_limit.kw() * slot.hours;
        let from_sun = surplus.min(most);
        worth.fill(from_sun * inward, slot.export_price.per_kwh().max(0.0) / inward);
        if battery.charges_from_grid {
            worth.fill((most - from_sun) * inward, slot.import_price.per_kwh() / inward);
        }
    }
    worth.steps()
}
