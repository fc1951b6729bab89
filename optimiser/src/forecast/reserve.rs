//! What is kept for draws that nobody foresees.
//!
//! The highest of several elements of a store **stands guard**: while the plan has no
//! other use for it, it is on its own thermostat, and reacts to a draw within the minute
//! where a plan reacts with the next slot. Its dial is just above the temperature of use,
//! and it is off at the times of day at which next to nothing is ever drawn. A dial that
//! followed the most that was ever drawn heated for that in the dear hours of the evening.
//!
//! What may be drawn beyond that is for the plan to heat when it is cheap: **water kept
//! ready**, whose price is that of heat that arrives cold times how likely that is.

use super::{Caution, Knowledge, kept_ready};
use crate::problem::{Guard, HeaterId, Ready, Weights};
use crate::site::{Site, Store};
use crate::time::{Horizon, Instant, Series};
use crate::units::{Temperature, Volume};
use crate::water::KWH_PER_LITRE_KELVIN;

/// Length of the slots of a [`Knowledge`] [s].
const SLOT_SECONDS: i64 = 1_800;

/// A guard stands where more than this share of the water above it may be drawn.
const WORTH_A_GUARD: f64 = 0.15;

/// Its dial is so much above the temperature of use [K].
const ABOVE_USE: f64 = 5.0;

/// The program, which knows no guard, is told to keep such a share of the water that
/// one holds, at such a part of the price of a broken promise in each slot: about what
/// the guard's own heat costs more.
const GUARDED_SHARE: f64 = 0.9;
const GUARDED_URGENCY: f64 = 0.1;

/// Share of the elements' power that helps a draw that is running: the lowest one does
/// little for it.
const HELP: f64 = 0.5;

/// What is kept for draws that nobody foresees.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reserve {
    /// Elements that stand guard.
    pub guards: Vec<Guard>,
    /// Water that is kept ready, less urgent than any promise.
    pub ready: Vec<Ready>,
}

/// What to keep over a horizon that begins now, by the draws of earlier days.
pub fn reserve(
    known: &dyn Knowledge,
    site: &Site,
    horizon: &Horizon,
    weights: &Weights,
    caution: &Caution,
) -> Reserve {
    let calendar = Calendar { known, horizon };
    let mut reserve = Reserve::default();
    for (index, store) in site.stores.iter().enumerate() {
        if let Some(element) = guard_of(store) {
            let heater = HeaterId { store: index, element };
            let dials = calendar.dials(store, heater, caution);
            reserve.ready.extend(calendar.guarded(store, index, element, &dials));
            let dials = Series::new("the guard's dial", horizon, dials).ok();
            reserve.guards.extend(dials.map(|dials| Guard { heater, dials }));
        }
        reserve.ready.extend(calendar.ready(site, index, weights, caution));
    }
    reserve
}

/// The slots of a plan among those of what is known.
struct Calendar<'a> {
    known: &'a dyn Knowledge,
    horizon: &'a Horizon,
}

impl Calendar<'_> {
    /// Slots from now to an instant.
    fn at(&self, instant: Instant) -> usize {
        let now = self.known.slot(self.known.now()).start();
        ((instant - now) / SLOT_SECONDS).max(0) as usize
    }

    /// Litres to keep in each coming slot, and in the one after the plan.
    fn litres(&self, store: usize, tail: f64, made: f64) -> Vec<f64> {
        kept_ready(self.known, self.at(self.horizon.end()) + 1, tail, store, made)
    }

    /// The guard's dial in each slot of the plan.
    fn dials(
        &self,
        store: &Store,
        heater: HeaterId,
        caution: &Caution,
    ) -> Vec<Option<Temperature>> {
        let element = &store.elements[heater.element];
        let dial = store.use_temperature.celsius() + ABOVE_USE;
        let dial = Temperature::clamped(dial.min(store.reach(element).celsius()));
        let litres = self.litres(heater.store, caution.kept, 0.0);
        let least = WORTH_A_GUARD * above(store, heater.element);
        let slots = self.horizon.slots().iter();
        slots
            .map(|slot| {
                let (first, last) = (self.at(slot.start()), self.at(slot.end()));
                let most = litres[first..last.max(first + 1)].iter().copied().fold(0.0, f64::max);
                (most > least).then_some(dial)
            })
            .collect()
    }

    /// What the program is told of a guard: the same rows whether it stands or not, so
    /// that programs keep their shape.
    fn guarded(
        &self,
        store: &Store,
        index: usize,
        element: usize,
        dials: &[Option<Temperature>],
    ) -> Vec<Ready> {
        let litres = GUARDED_SHARE * above(store, element);
        let later = dials.iter().skip(1).chain([&None]);
        let slots = self.horizon.slots().iter().zip(later);
        slots
            .map(|(slot, dial)| Ready {
                store: index,
                by: slot.end(),
                volume: Volume::clamped(if dial.is_some() { litres } else { 0.0 }),
                temperature: store.use_temperature,
                urgency: GUARDED_URGENCY,
            })
            .collect()
    }

    /// Water that is kept ready at the end of each slot.
    fn ready(&self, site: &Site, index: usize, weights: &Weights, caution: &Caution) -> Vec<Ready> {
        let store = &site.stores[index];
        let rise = store.use_temperature.above(store.mains);
        let power: f64 = store.elements.iter().map(|e| e.power.kw()).sum();
        let hours = SLOT_SECONDS as f64 / 3_600.0;
        let made =
            HELP * power.min(site.grid.import_limit.kw()) * hours / (KWH_PER_LITRE_KELVIN * rise);
        let steps = caution.reserve().into_iter();
        steps
            .flat_map(|(tail, weight)| {
                let litres = self.litres(index, tail, made);
                let urgency = weight * weights.unmet_per_kwh / weights.short_per_kwh;
                self.horizon.slots().iter().map(move |slot| Ready {
                    store: index,
                    by: slot.end(),
                    volume: Volume::clamped(litres[self.at(slot.end())]),
                    temperature: store.use_temperature,
                    urgency,
                })
            })
            .collect()
    }
}

/// Water at and above an element [L].
fn above(store: &Store, element: usize) -> f64 {
    store.volume.litres() * (1.0 - store.elements[element].height.value())
}

/// The highest of several elements of a store.
fn guard_of(store: &Store) -> Option<usize> {
    let heights = store.elements.iter().map(|e| e.height.value()).enumerate();
    let highest = heights.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(index, _)| index);
    highest.filter(|_| store.elements.len() > 1)
}
