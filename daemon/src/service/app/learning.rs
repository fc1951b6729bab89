//! What the meters say: what ran, and what is learned of it.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::site::{Sink, Source};
use optimiser::time::{Instant, Slot};

use super::App;
use super::ledger::Told;
use crate::service::archive::{Record, Run};
use crate::service::commands::Feeder;
use crate::service::learning::{Logged, Meter};
use crate::service::planning::estimate::Estimate;
use crate::service::readings::Freshness;
use crate::service::state::{Event, Role};

/// A meter that shows more than it should by this is worth a word [kWh].
const TOO_MUCH_KWH: f64 = 0.15;

impl App {
    pub(super) fn read_meters(&mut self, now: Instant) {
        for input in self.state.inputs() {
            let Role::Meter(meter) = input.role else { continue };
            if let Freshness::Fresh(reading) = input.gate.freshness(now) {
                self.meters.read(meter, input.gate.is_counter(), reading);
            }
        }
    }

    /// Keeps what ran in a half-hour that is over, and learns from it.
    pub(super) fn close_half_hour(
        &mut self,
        now: Instant,
        slot: Slot,
        told: &BTreeMap<HeaterId, Told>,
    ) -> Vec<Record> {
        let metered = self.meters.close(slot);
        let heaters: Vec<HeaterId> = self.state.told().keys().copied().collect();
        let mut heated = vec![0.0; self.house.site.stores.len()];
        let (mut records, mut excesses) = (Vec::new(), Vec::new());
        for id in heaters {
            let told = told.get(&id).cloned().unwrap_or_default();
            let measured = metered.get(&Meter::Heater(id)).copied();
            let energy_kwh = measured.unwrap_or(told.kwh);
            heated[id.store] += energy_kwh;
            let store = &self.house.site.stores[id.store];
            let (store, heater) = (store.name.clone(), store.elements[id.element].name.clone());
            let excess_kwh = energy_kwh - told.kwh;
            excesses.push((id, (excess_kwh > TOO_MUCH_KWH).then_some(excess_kwh)));
            if energy_kwh > 0.0 {
                let (why, measured) = (told.why, measured.is_some());
                records.push(Record::Run(Run { store, heater, slot, energy_kwh, measured, why }));
            }
        }
        for (heater, kwh) in excesses {
            self.handle(Event::Excess { heater, kwh });
        }
        if self.logged_until.replace(slot.end()) != Some(slot.start()) {
            self.draws.forget();
        }
        self.estimate();
        let stores = &self.house.site.stores;
        // What came through a coil nobody knows, so no draw is learned beside it.
        let coiled = std::mem::take(&mut self.coiled);
        let seen = |s: usize| if coiled.contains(&s) { 0 } else { self.probes(s, now).len() };
        let probes: Vec<usize> = (0..stores.len()).map(seen).collect();
        let logged = Logged {
            pv: metered.get(&Meter::Pv).copied(),
            load: self.base_load(&metered, heated.iter().sum()),
            drawn: self.draws.look(stores, &self.stores, &heated, &probes),
        };
        records.extend(self.source_runs(slot, &metered));
        records.extend(self.logbook.note(slot, logged, &self.house));
        let stores = self.stores.iter().map(Estimate::layers).collect();
        self.logbook.stands(slot.end(), stores);
        self.know(now);
        records
    }

    /// Keeps what sources used by their meters.
    pub(super) fn source_runs(&self, slot: Slot, metered: &BTreeMap<Meter, f64>) -> Vec<Record> {
        let measured = metered.iter().filter_map(|(meter, kwh)| match meter {
            Meter::Source(source) if *kwh > 0.0 => Some((*source, *kwh)),
            _ => None,
        });
        let run = |(source, energy_kwh): (Source, f64)| {
            let feeder = Feeder::Source(source);
            let told = self.state.told_sources().find(|(own, _)| *own == feeder);
            let sink = told.and_then(|(_, order)| order.sink);
            let store = sink.map_or_else(String::new, |sink| self.house.sink_name(sink));
            let heater = self.house.source_name(source);
            let why = self.source_reasons.get(&feeder).cloned().unwrap_or_default();
            Record::Run(Run { store, heater, slot, energy_kwh, measured: true, why })
        };
        measured.map(run).collect()
    }

    /// Remembers the stores that something was told to heat through a coil.
    pub(super) fn note_coils(&mut self) {
        let sinks = self.state.told_sources().filter_map(|(_, order)| order.sink);
        let stores = sinks.filter_map(|sink| match sink {
            Sink::Coil { store, .. } => Some(store),
            Sink::Buffer | Sink::Rooms | Sink::Pool => None,
        });
        self.coiled.extend(stores);
    }

    /// What the rest of the house took: metered, or what is left of the import.
    fn base_load(&self, metered: &BTreeMap<Meter, f64>, heated: f64) -> Option<f64> {
        if let Some(load) = metered.get(&Meter::Load) {
            return Some(*load);
        }
        let of = |there: bool, meter| if there { metered.get(&meter).copied() } else { Some(0.0) };
        let pv = of(self.house.pv.is_some(), Meter::Pv)?;
        let battery = of(self.house.site.battery.is_some(), Meter::Battery)?;
        let mut sources = 0.0;
        let room = &self.house.site.plant_room;
        let pumps = (0..room.heat_pumps.len()).map(Source::HeatPump);
        let element = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
        for source in pumps.chain(element.map(|_| Source::Immersion)) {
            sources += metered.get(&Meter::Source(source))?;
        }
        Some((metered.get(&Meter::Import)? + pv - battery - heated - sources).max(0.0))
    }
}
