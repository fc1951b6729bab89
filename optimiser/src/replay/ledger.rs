//! What came of a run: energy, money, comfort, hygiene, limits.
//!
//! A missing price is never zero: what passed the meter meanwhile is counted
//! apart, and beside the sum over the priced slots stands an estimate at the
//! mean price of the same time of day, made alike for every run.

mod plant_room;

pub use plant_room::{BandSums, PlantRoomSums, RoomsAndPool, RouteSums};

use std::ops::Range;

use super::{Run, Stage};
use crate::plant::{HouseSlot, StoreTrace};
use crate::units::Price;
use crate::water::KWH_PER_LITRE_KELVIN;

/// A draw failed if more than this share of its heat did not arrive. Small
/// enough to notice, large enough to leave out the first cold cup.
const FAILED_SHARE: f64 = 0.05;

/// What a limit counts as reached [kW, kWh].
const THERE: f64 = 1e-3;

/// Sums over some slots of a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ledger {
    /// Slots counted.
    pub slots: usize,
    /// Slots without a published price, import or export.
    pub unpriced_slots: usize,
    /// Import in slots without a price [kWh].
    pub unpriced_import_kwh: f64,
    /// Paid for import over the priced slots [minor].
    pub import_cost: f64,
    /// Earned by export over the priced slots [minor].
    pub export_income: f64,
    /// Import less export over the slots without a price, at the mean price of
    /// their time of day [minor].
    pub unpriced_cost: f64,
    /// Wear of the battery [minor].
    pub wear: f64,
    /// Registers, sources and sinks, summed; `battery_kwh` is the level at the end.
    pub house: HouseSlot,
    /// Energy of each element [kWh].
    pub heaters_kwh: Vec<f64>,
    /// Heat lost by the stores [kWh].
    pub lost_kwh: f64,
    /// Heat that commands asked for and thermostats refused [kWh].
    pub refused_kwh: f64,
    /// How the taps were served.
    pub taps: Taps,
    /// Hours at limits.
    pub limits: Limits,
    /// Heat in the stores above mains, at the start and at the end [kWh].
    pub stored_kwh: (f64, f64),
    /// Battery level above empty, at the start and at the end [kWh].
    pub battery_kwh: (f64, f64),
    /// The plant room, where the house has more than stores and elements.
    pub plant_room: Option<PlantRoomSums>,
}

/// How the taps were served.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Taps {
    /// Draws that began.
    pub draws: usize,
    /// Draws of which more than a twentieth of the heat did not arrive.
    pub failed: usize,
    /// Heat asked for [kWh].
    pub asked_kwh: f64,
    /// Part of it that did not arrive [kWh].
    pub unmet_kwh: f64,
}

impl Taps {
    /// Share of the heat asked for that did not arrive [%].
    pub fn unmet_percent(&self) -> f64 {
        if self.asked_kwh > 0.0 { 100.0 * self.unmet_kwh / self.asked_kwh } else { 0.0 }
    }

    /// Litres times the kelvins by which they arrived too cold [L·K].
    pub fn litre_degrees(&self) -> f64 {
        self.unmet_kwh / KWH_PER_LITRE_KELVIN
    }
}

/// Hours in which something stood at its limit [h].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Import at the fuse or agreed limit at some instant.
    pub import: f64,
    /// PV was given up.
    pub curtailed: f64,
    /// The battery was full at the end of the slot.
    pub battery_full: f64,
    /// The battery was at its reserve at the end of the slot.
    pub battery_empty: f64,
    /// Every element was on throughout.
    pub elements: f64,
}

/// What stored energy is worth, the same at both ends and for every run [minor/kWh].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoredWorth {
    /// Heat in the stores above mains.
    pub heat: f64,
    /// Heat in buffer, rooms and pool.
    pub elsewhere: f64,
    /// Charge.
    pub battery: f64,
}

impl Ledger {
    /// Counts some slots of a run, numbered from the start of the period.
    pub fn of(stage: &Stage<'_>, run: &Run, slots: Range<usize>) -> Self {
        let site = stage.site();
        let wear = site.battery.map_or(0.0, |b| b.wear.per_kwh());
        let mut ledger = Self {
            slots: slots.len(),
            heaters_kwh: vec![0.0; site.stores.iter().map(|s| s.elements.len()).sum()],
            stored_kwh: (stored(stage, run, slots.start), stored(stage, run, slots.end)),
            battery_kwh: (
                run.outcome.state(slots.start).battery.kwh(),
                run.outcome.state(slots.end).battery.kwh(),
            ),
            ..Self::default()
        };
        for slot in slots.clone() {
            ledger.add_house(stage, &run.outcome.house[slot], slot);
            ledger.wear += run.outcome.house[slot].discharge_kwh * wear;
            let mut first = 0;
            for (trace, store) in run.outcome.stores.iter().zip(&site.stores) {
                let record = &trace.slots()[slot];
                ledger.lost_kwh += record.lost_kwh;
                ledger.refused_kwh += record.refused_kwh;
                ledger.taps.unmet_kwh += record.unmet_kwh;
                for (own, used) in ledger.heaters_kwh[first..].iter_mut().zip(trace.used(slot)) {
                    *own += used;
                }
                first += store.elements.len();
            }
        }
        ledger.plant_room = PlantRoomSums::of(stage, run, slots.clone());
        ledger.count_draws(stage, run, slots);
        ledger
    }

    fn add_house(&mut self, stage: &Stage<'_>, record: &HouseSlot, slot: usize) {
        let site = stage.site();
        let hours = stage.horizon().slots()[slot].hours();
        let (import, export) = stage.prices(slot);
        if let (Some(import), Some(export)) = (import, export) {
            self.import_cost += record.import_kwh * import.per_kwh();
            self.export_income += record.export_kwh * export.per_kwh();
        } else {
            let (import, export) = stage.usual_prices(slot);
            self.unpriced_slots += 1;
            self.unpriced_import_kwh += record.import_kwh;
            self.unpriced_cost += record.import_kwh * import.per_kwh();
            self.unpriced_cost -= record.export_kwh * export.per_kwh();
        }
        let sum = &mut self.house;
        sum.import_kwh += record.import_kwh;
        sum.export_kwh += record.export_kwh;
        sum.pv_kwh += record.pv_kwh;
        sum.curtailed_kwh += record.curtailed_kwh;
        sum.base_kwh += record.base_kwh;
        sum.heaters_kwh += record.heaters_kwh;
        sum.sources_kwh += record.sources_kwh;
        sum.charge_kwh += record.charge_kwh;
        sum.discharge_kwh += record.discharge_kwh;
        sum.overload_kwh += record.overload_kwh;
        sum.peak_import_kw = sum.peak_import_kw.max(record.peak_import_kw);
        sum.battery_kwh = record.battery_kwh;
        let at = |there: bool, limit: &mut f64| {
            if there {
                *limit += hours;
            }
        };
        at(record.peak_import_kw >= site.grid.import_limit.kw() - THERE, &mut self.limits.import);
        at(record.curtailed_kwh > THERE, &mut self.limits.curtailed);
        if let Some(battery) = &site.battery {
            let level = record.battery_kwh;
            at(level >= battery.capacity.kwh() - THERE, &mut self.limits.battery_full);
            at(level <= battery.reserve.kwh() + THERE, &mut self.limits.battery_empty);
        }
        let all: f64 = site.stores.iter().flat_map(|s| &s.elements).map(|e| e.power.kw()).sum();
        at(all > 0.0 && record.heaters_kwh >= all * hours - THERE, &mut self.limits.elements);
    }

    /// Draws count in the slot in which they begin.
    fn count_draws(&mut self, stage: &Stage<'_>, run: &Run, slots: Range<usize>) {
        let all = stage.timeline().draws_in(stage.timeline().judged());
        let span = &stage.horizon().slots()[slots];
        let (Some(first), Some(last)) = (span.first(), span.last()) else { return };
        for record in run.outcome.stores.iter().flat_map(StoreTrace::draws) {
            let start = all[record.draw].start;
            if first.start() <= start && start < last.end() {
                self.taps.draws += 1;
                self.taps.asked_kwh += record.asked_kwh;
                let failed = record.unmet_kwh() > FAILED_SHARE * record.asked_kwh;
                self.taps.failed += usize::from(failed && record.asked_kwh > 0.0);
            }
        }
    }

    /// Bill over the priced slots: import less export [minor].
    pub fn bill(&self) -> f64 {
        self.import_cost - self.export_income
    }

    /// What heat left at the end is worth beyond that at the start [minor].
    pub fn heat_gain(&self, worth: StoredWorth) -> f64 {
        (self.stored_kwh.1 - self.stored_kwh.0) * worth.heat
            + self.plant_room.as_ref().map_or(0.0, |room| room.gained_kwh) * worth.elsewhere
    }

    /// What energy left at the end is worth beyond that at the start [minor].
    pub fn stored_gain(&self, worth: StoredWorth) -> f64 {
        self.heat_gain(worth) + (self.battery_kwh.1 - self.battery_kwh.0) * worth.battery
    }

    /// Whether no more than a share of the draw heat arrived cold, and rooms and pool
    /// were warm enough.
    pub fn is_comfortable(&self, allowed_unmet: f64) -> bool {
        0.01 * self.taps.unmet_percent() <= allowed_unmet
            && self.plant_room.as_ref().is_none_or(PlantRoomSums::is_comfortable)
    }

    /// Whether several periods together were comfortable, each counted so many times:
    /// the share over all of them, and rooms and pool in each.
    pub fn are_comfortable<'a>(
        ledgers: impl Iterator<Item = (&'a Self, f64)> + Clone,
        allowed_unmet: f64,
    ) -> bool {
        let sum = |of: fn(&Taps) -> f64| {
            ledgers.clone().map(|(own, times)| times * of(&own.taps)).sum::<f64>()
        };
        let (asked, unmet) = (sum(|taps| taps.asked_kwh), sum(|taps| taps.unmet_kwh));
        let warm = |own: &Self| own.plant_room.as_ref().is_none_or(PlantRoomSums::is_comfortable);
        unmet <= allowed_unmet * asked + 1e-12 && ledgers.map(|(own, _)| own).all(warm)
    }

    /// Everything that was too cold, as unmet heat at the taps [kWh].
    pub fn discomfort(&self) -> f64 {
        let room = self.plant_room.as_ref().map_or(0.0, PlantRoomSums::discomfort);
        self.taps.unmet_kwh + room
    }

    /// Paid for fuel [minor].
    pub fn fuel_cost(&self) -> f64 {
        self.plant_room.as_ref().map_or(0.0, |room| room.fuel_cost)
    }

    /// What runs are compared by: bill, fuel, estimate for slots without a price and
    /// wear, less the worth of what is left [minor].
    pub fn cost(&self, worth: StoredWorth) -> f64 {
        self.bill() + self.fuel_cost() + self.unpriced_cost + self.wear - self.stored_gain(worth)
    }
}

/// Heat in all stores above mains at a boundary [kWh].
fn stored(stage: &Stage<'_>, run: &Run, boundary: usize) -> f64 {
    stored_in_each(stage, run, boundary).iter().sum()
}

/// Heat in each store above mains at a boundary [kWh].
pub(super) fn stored_in_each(stage: &Stage<'_>, run: &Run, boundary: usize) -> Vec<f64> {
    let mains = &stage.timeline().record().mains;
    let stores = run.outcome.stores.iter().zip(&stage.site().stores).zip(mains);
    stores
        .map(|((trace, store), mains)| {
            let layers = trace.layers(boundary);
            let mean = layers.iter().sum::<f64>() / layers.len() as f64;
            crate::water::heat_kwh(store.volume.litres(), mean - mains.celsius())
        })
        .collect()
}

impl Stage<'_> {
    /// Prices of a slot of the period.
    pub fn prices(&self, slot: usize) -> (Option<Price>, Option<Price>) {
        let record = self.timeline().record();
        let index = self.timeline().judged().start + slot;
        (record.import_price[index], record.export_price[index])
    }

    /// Prices of a slot where known, else the mean over the period at its time
    /// of day.
    pub fn usual_prices(&self, slot: usize) -> (Price, Price) {
        self.usual_prices[slot]
    }

    /// Heat in the stores above mains at the start of the period [kWh].
    pub(super) fn stored_at_start(&self) -> f64 {
        let mains = &self.timeline().record().mains;
        let stores = self.start().stores.iter().zip(&self.site().stores).zip(mains);
        stores
            .map(|((layers, store), mains)| {
                let sum: f64 = layers.iter().map(|t| t.celsius()).sum();
                let mean = sum / layers.len() as f64;
                crate::water::heat_kwh(store.volume.litres(), mean - mains.celsius())
            })
            .sum()
    }

    /// Worth of stored energy: what replacing it would cost in a cheap hour. That is
    /// the price below which one more kWh at the house costs in a quarter of the
    /// period: what export would earn while there is a surplus, else import.
    pub fn stored_worth(&self) -> StoredWorth {
        let record = self.timeline().record();
        let mut prices: Vec<f64> = self
            .timeline()
            .judged()
            .filter_map(|slot| {
                let surplus = record.pv[slot] > record.base_load[slot];
                let price = if surplus { &record.export_price } else { &record.import_price };
                price[slot].map(Price::per_kwh)
            })
            .collect();
        prices.sort_by(f64::total_cmp);
        let cheap = prices.get(prices.len() / 4).copied().unwrap_or(0.0).max(0.0);
        let inward = self.site().battery.map_or(1.0, |b| b.charge_efficiency.value());
        let worth = plant_room::worth_of_heat(self, cheap);
        StoredWorth { battery: cheap / inward, ..worth }
    }
}
