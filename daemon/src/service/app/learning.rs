//! What the meters say: what ran, and what is learned of it.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::time::{Instant, Slot};

use super::App;
use super::ledger::Told;
use crate::service::archive::{Record, Run};
use crate::service::learning::{Logged, Meter};
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
        let probes: Vec<usize> = (0..stores.len()).map(|s| self.probes(s, now).len()).collect();
        let logged = Logged {
            pv: metered.get(&Meter::Pv).copied(),
            load: self.base_load(&metered, heated.iter().sum()),
            drawn: self.draws.look(stores, &self.stores, &heated, &probes),
        };
        records.extend(self.logbook.note(slot, logged, &self.house));
        self.know(now);
        records
    }

    /// What the rest of the house took: metered, or what is left of the import.
    fn base_load(&self, metered: &BTreeMap<Meter, f64>, heated: f64) -> Option<f64> {
        if let Some(load) = metered.get(&Meter::Load) {
            return Some(*load);
        }
        let of = |there: bool, meter| if there { metered.get(&meter).copied() } else { Some(0.0) };
        let pv = of(self.house.pv.is_some(), Meter::Pv)?;
        let battery = of(self.house.site.battery.is_some(), Meter::Battery)?;
        Some((metered.get(&Meter::Import)? + pv - battery - heated).max(0.0))
    }
}
