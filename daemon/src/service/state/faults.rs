//! What is wrong at the moment.

use optimiser::time::Instant;

use super::guards::Sight;
use super::{Effect, State};
use crate::service::readings::Freshness;
use crate::service::wire::{Fault, Stamp};

/// Prices must reach this far ahead [s], or they are missed.
const PRICE_REACH_S: i64 = 3 * 3_600;

/// Rooms may be colder than asked by this before it is worth a word [K].
const TOLERATED_K: f64 = 0.5;

/// An input and the planner have this long to be heard of after the start [s].
const GRACE_S: i64 = 120;

impl State {
    /// Tells what is wrong, whenever that changes.
    pub(super) fn tell_faults(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        let faults: Vec<Fault> = self
            .present(now)
            .into_iter()
            .map(|(what, kind, text)| {
                let held =
                    self.faults.iter().find(|fault| fault.what == what && fault.kind == kind);
                let since = held.map_or(Stamp(now), |held| held.since);
                Fault { what, kind: kind.to_owned(), text, since }
            })
            .collect();
        // Another cause is news; another number of minutes or degrees is not.
        let words = |faults: &[Fault]| -> Vec<(String, String, String)> {
            let text = |fault: &Fault| fault.text.replace(|c: char| c.is_ascii_digit(), "");
            faults.iter().map(|f| (f.what.clone(), f.kind.clone(), text(f))).collect()
        };
        let is_new = words(&faults) != words(&self.faults);
        self.faults = faults;
        if is_new {
            effects.push(Effect::Faults(self.faults.clone()));
        }
    }

    fn present(&self, now: Instant) -> Vec<(String, &'static str, String)> {
        let mut present = Vec::new();
        let mut add = |what: &str, kind, text: &str| {
            present.push((what.to_owned(), kind, text.to_owned()));
        };
        if !self.clock_is_right {
            add(
                "clock",
                "unsynchronised",
                "the time of day is not synchronised; nothing is heated by price until it is; check network and time service",
            );
        }
        if !self.persisted {
            add(
                "archive",
                "not-persisted",
                "nothing reaches the disk; the service works without a memory; check the disk",
            );
        }
        let is_settled = now - self.started >= GRACE_S;
        if let Some(cause) = &self.planner_fault {
            add("planner", "no-schedule", cause);
        } else if self.current(now).is_none() && is_settled {
            add(
                "planner",
                "no-schedule",
                "no schedule holds; only boosts and the comfort minimum heat",
            );
        }
        let fell = self.current(now).and_then(|current| current.fell_because.as_ref());
        if let Some(cause) = fell {
            add("planner", "fallback", cause);
        }
        for (name, (kind, text)) in &self.source_faults {
            add(name, kind, text);
        }
        for (store, comfort) in self.settings.comfort.iter().enumerate() {
            let hottest = self.reading(store, now).hottest;
            if let (Some(comfort), Some(hottest)) = (comfort, hottest)
                && hottest < comfort.below
            {
                let text = format!("the hottest water is at {hottest}, too cold to be of use");
                add(&self.settings.plant.stores[store].name, "cold", &text);
            }
        }
        if let (Some(low), Sight::Seen(celsius)) =
            (self.settings.plant_room.rooms_low, self.rooms_sight(now))
            && celsius < low.celsius() - TOLERATED_K
        {
            let text = format!("the rooms are at {celsius:.1} °C, and should be {low} at least");
            add("rooms", "cold", &text);
        }
        for (index, store) in self.settings.plant.stores.iter().enumerate() {
            if !store.heaters.is_empty() && !self.reading(index, now).has_probe {
                add(
                    &store.name,
                    "no-probe",
                    "no probe speaks for it: it is heated by the model, and no pasteurisation is proven",
                );
            }
        }
        for (id, kwh) in &self.excesses {
            let store = &self.settings.plant.stores[id.store];
            let what = format!("{}/{}", store.name, store.heaters[id.element].name);
            let text = format!(
                "used {kwh:.2} kWh more in a half-hour than it was told; look at its switch, \
                 and take it off the mains if it does not go off"
            );
            add(&what, "mismatch", &text);
        }
        if is_settled && self.prices_until.is_none_or(|until| until < now + PRICE_REACH_S) {
            add("prices", "missing", "prices are known for less than 3 h; estimates are used");
        }
        for (input, fault) in self.settings.inputs.iter().zip(&self.input_faults) {
            if let Some(fault) = fault {
                add(&input.name, fault.kind.name(), &fault.to_string());
            }
            match input.gate.freshness(now) {
                Freshness::Missing if is_settled => {
                    add(&input.name, "missing", "never heard; check the topic and the device");
                }
                Freshness::Stale { age_s, .. } => {
                    let text = format!("silent for {} min; check the device", age_s / 60);
                    add(&input.name, "stale", &text);
                }
                Freshness::Missing | Freshness::Fresh(_) => {}
            }
            if input.gate.is_heat_spent() {
                let text = "did not move although much heat went in; heating stops";
                add(&input.name, "heat-spent", text);
            }
        }
        present.extend(self.link_faults.iter().cloned());
        present
    }
}
