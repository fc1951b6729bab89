//! What a simulation leaves behind.

use super::{HouseSlot, PlantRoomSlot, PlantRoomTrace, Scene, Span, StoreTrace};
use crate::problem::{PlantRoomState, State};
use crate::schedule::Cost;
use crate::site::Site;
use crate::units::{Energy, Temperature};

/// What happened in every store and at the meter.
#[derive(Debug, PartialEq)]
pub struct Outcome {
    /// The stores, in the order of the site.
    pub stores: Vec<StoreTrace>,
    /// The meter and the battery, slot by slot.
    pub house: Vec<HouseSlot>,
    /// The plant room, where it has more than stores and elements.
    pub plant_room: Option<PlantRoomTrace>,
    pub(super) battery_start: f64,
}

/// Copied often, so into memory that is there.
impl Clone for Outcome {
    fn clone(&self) -> Self {
        Self {
            stores: self.stores.clone(),
            house: self.house.clone(),
            plant_room: self.plant_room.clone(),
            battery_start: self.battery_start,
        }
    }

    fn clone_from(&mut self, source: &Self) {
        let Self { stores, house, plant_room, battery_start } = self;
        stores.clone_from(&source.stores);
        house.clone_from(&source.house);
        plant_room.clone_from(&source.plant_room);
        *battery_start = source.battery_start;
    }
}

impl Outcome {
    /// Battery level before a slot [kWh].
    pub fn battery_before(&self, slot: usize) -> f64 {
        slot.checked_sub(1).map_or(self.battery_start, |last| self.house[last].battery_kwh)
    }

    /// Spans of all elements in a slot, and those of the plant room's sources.
    pub(super) fn spans(&self, slot: usize) -> (impl Iterator<Item = &[Span]> + Clone, &[Span]) {
        let room = self.plant_room.as_ref().map(|room| &room.slots[slot]);
        let immersion = room.map(|room| room.immersion.as_slice());
        let spans = self.stores.iter().map(move |trace| trace.spans(slot)).chain(immersion);
        (spans, room.map_or(&[], |room| room.spans.as_slice()))
    }

    /// State at a boundary: 0 is the start, `k + 1` the end of slot `k`.
    pub fn state(&self, boundary: usize) -> State {
        let profile = |trace: &StoreTrace| {
            trace.layers(boundary).iter().map(|t| Temperature::clamped(*t)).collect()
        };
        State {
            battery: Energy::clamped(self.battery_before(boundary)),
            stores: self.stores.iter().map(profile).collect(),
            plant_room: self
                .plant_room
                .as_ref()
                .map_or_else(PlantRoomState::default, |room| room.state(boundary)),
        }
    }

    /// Money at the meter and wear; the worth of what is left is for the
    /// caller to add.
    pub fn cost(&self, site: &Site, scene: &Scene) -> Cost {
        let wear = site.battery.as_ref().map_or(0.0, |b| b.wear.per_kwh());
        let mut cost = Cost::default();
        for (record, facts) in self.house.iter().zip(&scene.slots) {
            cost.import += record.import_kwh * facts.import_price;
            cost.export_income += record.export_kwh * facts.export_price;
            cost.wear += record.discharge_kwh * wear;
        }
        if let (Some(room), Some(boiler)) = (&self.plant_room, &site.plant_room.boiler) {
            let burnt: f64 = room.slots.iter().map(PlantRoomSlot::fuel_kwh).sum();
            cost.fuel = burnt * boiler.fuel_price.per_kwh();
        }
        cost
    }

    /// Heat asked for at the taps that did not arrive [kWh].
    pub fn unmet_kwh(&self) -> f64 {
        self.stores.iter().map(StoreTrace::unmet_kwh).sum()
    }

    /// Largest energy that any book leaves unexplained [kWh].
    pub fn residual_kwh(&self) -> f64 {
        let stores = self.stores.iter().map(|trace| trace.residual_kwh().abs());
        stores.chain(self.house.iter().map(|slot| slot.residual_kwh().abs())).fold(0.0, f64::max)
    }
}
