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

use crate::problem::{EndValue, ValueStep, Weights};
use crate::site::{Battery, Sink, Site, Source, Store};
use crate::units::{Energy, Price};
use crate::water::{KWH_PER_LITRE_KELVIN, time_constant_hours};
pub use plant_room::plant_room_value;

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

/// Steps narrower than this are joined to their neighbour [kWh].
const NARROW: f64 = 1e-6;

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

/// A concave function of a level from 0 to a capacity, as falling slopes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Slopes {
    capacity: f64,
    /// Width and slope of each piece, from level 0 up, slopes falling.
    pieces: Vec<(f64, f64)>,
}

impl Slopes {
    fn zero(capacity: f64) -> Self {
        Self { capacity, pieces: vec![(capacity, 0.0)] }
    }

    /// What levels up to a capacity are worth in steps.
    pub(crate) fn of(steps: &[ValueStep], capacity: f64) -> Self {
        let mut slopes = Self { capacity, pieces: Vec::with_capacity(32) };
        slopes.pieces.extend(steps.iter().map(|s| (s.width.kwh(), s.value.per_kwh())));
        slopes.cut();
        slopes
    }

    /// Width of the piece above a level that is left, and its slope; at the
    /// capacity there is none.
    pub(crate) fn above(&self, level: f64) -> Option<(f64, f64)> {
        let mut top = 0.0;
        self.pieces.iter().find_map(|&(width, slope)| {
            top += width;
            (top > level + NARROW).then_some((top - level, slope))
        })
    }

    /// Width of the piece below a level, as far as it reaches down, and its slope.
    pub(crate) fn below(&self, level: f64) -> Option<(f64, f64)> {
        let mut bottom = 0.0;
        let mut found = None;
        for &(width, slope) in &self.pieces {
            if bottom >= level - NARROW {
                break;
            }
            found = Some((level - bottom, slope));
            bottom += width;
        }
        found
    }

    fn insert(&mut self, width: f64, slope: f64) {
        if width > NARROW {
            let at = self.pieces.partition_point(|&(_, other)| other >= slope);
            self.pieces.insert(at, (width, slope));
        }
    }

    /// The level may be raised by up to `most` at a cost for each unit.
    pub(crate) fn fill(&mut self, most: f64, cost: f64) {
        if most <= 0.0 {
            return;
        }
        self.insert(most, cost);
        self.drop_first(most);
        self.cut();
    }

    /// The level may be lowered by up to `most` for an income for each unit.
    pub(crate) fn give(&mut self, most: f64, income: f64) {
        if most <= 0.0 {
            return;
        }
        self.insert(most, income);
        self.cut();
    }

    /// The level must be lowered by `amount`; what is missing costs `penalty`.
    fn use_for(&mut self, amount: f64, penalty: f64) {
        if amount > NARROW {
            self.pieces.insert(0, (amount, penalty));
            self.cut();
        }
    }

    /// What is above `floor` shrinks by a factor.
    fn lose(&mut self, factor: f64, floor: f64) {
        let mut level = 0.0;
        for (width, slope) in &mut self.pieces {
            if level >= floor && factor > 0.0 {
                let before = *width;
                *width /= factor;
                *slope *= factor;
                level += before;
            } else {
                level += *width;
            }
        }
        self.pieces.sort_by(|a, b| b.1.total_cmp(&a.1));
        self.cut();
    }

    fn drop_first(&mut self, mut amount: f64) {
        while amount > 0.0 && !self.pieces.is_empty() {
            let width = self.pieces[0].0;
            if width <= amount {
                self.pieces.remove(0);
                amount -= width;
            } else {
                self.pieces[0].0 -= amount;
                amount = 0.0;
            }
        }
    }

    fn cut(&mut self) {
        let mut left = self.capacity;
        self.pieces.retain_mut(|(width, _)| {
            *width = width.min(left);
            left -= *width;
            *width > NARROW
        });
        if left > NARROW {
            self.pieces.push((left, 0.0));
            self.pieces.sort_by(|a, b| b.1.total_cmp(&a.1));
        }
    }

    fn steps(&self) -> Vec<ValueStep> {
        let steps = self.pieces.iter().map(|&(width, slope)| ValueStep {
            width: Energy::clamped(width),
            value: Price::clamped(slope),
        });
        steps.filter(|step| step.value.per_kwh() > 0.0).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(actual: f64, expected: f64) {
        assert!((actual - expected).abs() < 1e-9, "{actual} is not {expected}");
    }

    #[test]
    fn heat_is_worth_what_it_saves_later() {
        let mut worth = Slopes::zero(10.0);
        // Last a draw of 4, before it a chance to fill 3 at a price of 7.
        worth.use_for(4.0, 100.0);
        worth.fill(3.0, 7.0);
        assert_eq!(worth.pieces.len(), 3);
        near(worth.pieces[0].0, 1.0);
        near(worth.pieces[0].1, 100.0);
        near(worth.pieces[1].0, 3.0);
        near(worth.pieces[1].1, 7.0);
        near(worth.pieces[2].1, 0.0);
    }

    #[test]
    fn loss_makes_what_is_kept_worth_less() {
        let mut worth = Slopes::zero(10.0);
        worth.use_for(2.0, 50.0);
        worth.lose(0.8, 0.0);
        near(worth.pieces[0].0, 2.5);
        near(worth.pieces[0].1, 40.0);
    }

    #[test]
    fn a_negative_price_makes_an_empty_store_worth_more() {
        let mut worth = Slopes::zero(10.0);
        worth.use_for(4.0, 100.0);
        worth.fill(20.0, -5.0);
        // Room is worth money: the slope is negative and no step is left.
        assert!(worth.steps().is_empty());
    }

    #[test]
    fn charge_is_sold_at_the_best_prices_ahead() {
        let mut worth = Slopes::zero(10.0);
        worth.give(3.0, 20.0);
        worth.give(2.0, 30.0);
        let steps = worth.steps();
        near(steps[0].value.per_kwh(), 30.0);
        near(steps[0].width.kwh(), 2.0);
        near(steps[1].value.per_kwh(), 20.0);
        near(steps[1].width.kwh(), 3.0);
    }
}
