//! What is kept for draws that nobody foresees.
//!
//! The highest of several elements of a store **stands guard**: while the plan has no
//! other use for it, it is on its own thermostat, and reacts to a draw within the minute
//! where a plan reacts with the next slot. Its dial is just above the temperature of use,
//! and it is off at the times of day at which next to nothing is ever drawn. A dial that
//! followed the most that was ever drawn heated for that in the dear hours of the evening.
//!
//! The only element of a store cannot keep its top alone warm. It watches how many litres
//! are ready, and goes on when a large draw tells of more to come than is left.
//!
//! What may be drawn beyond that is for the plan to heat when it is cheap: **water kept
//! ready**, at the price of comfort times how likely it is to be missed
//! ([`Surprises`]).

use super::draws::usual_tap;
use super::surprise::{STEPS, Surprises};
use super::{Caution, Knowledge};
use crate::problem::{Guard, HeaterId, Ready, Watch, Weights};
use crate::site::{Site, Store};
use crate::time::{Horizon, Instant, Series};
use crate::units::{Price, Temperature, Volume};
use crate::water::{KWH_PER_LITRE_KELVIN, time_constant_hours};

/// Length of the slots of a [`Knowledge`] [s].
pub(super) const SLOT_SECONDS: i64 = 1_800;

/// A guard stands where more than this share of the water above it is worth keeping.
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

/// Of what a store holds at most so much can be kept all the time: a thermostat lets it
/// cool a little.
const KEEPABLE: f64 = 0.93;

/// Heat that arrives cold is worth no more than so many times its price where it was
/// foreseen.
const DEAREST: f64 = 10.0;

/// Water that is kept in case is less urgent than a promise, however likely it is to be
/// wanted.
const IN_CASE: f64 = 0.99;

/// A kWh of heat loses at least such a share in half an hour, however well a store is
/// insulated.
const LEAST_LOSS: f64 = 5e-4;

/// What is kept for draws that nobody foresees.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reserve {
    /// Elements that stand guard.
    pub guards: Vec<Guard>,
    /// Water that is kept ready, less urgent than any promise.
    pub ready: Vec<Ready>,
}

/// What to keep over a horizon that begins now, by the draws of earlier days. `allowed`
/// is the share of the draws that may arrive cold; `stores` are the layers of each store
/// from bottom to top, as they are now.
pub fn reserve(
    known: &dyn Knowledge,
    site: &Site,
    (horizon, import): (&Horizon, &Series<Price>),
    weights: &Weights,
    (allowed, caution): (f64, &Caution),
    stores: &[Vec<Temperature>],
) -> Reserve {
    let calendar = Calendar { known, horizon };
    let price = mean(import);
    let mut reserve = Reserve::default();
    for (index, store) in site.stores.iter().enumerate() {
        let prices = (price, DEAREST * weights.unmet_per_kwh);
        let Some(kept) = WaterKept::of(known, site, index, prices, allowed * caution.share) else {
            continue;
        };
        if let Some(element) = guard_of(store) {
            let heater = HeaterId { store: index, element };
            let watches = if is_boost(store, element) {
                let watches = calendar.dials(store, heater, &kept);
                reserve.ready.extend(calendar.guarded(store, index, element, &watches));
                watches
            } else {
                calendar.litres(import, &kept, store.usable_litres(&stores[index]))
            };
            let watches = Series::new("what a guard watches", horizon, watches).ok();
            reserve.guards.extend(watches.map(|watches| Guard { heater, watches }));
        }
        reserve.ready.extend(calendar.ready(store, index, weights, &kept));
    }
    reserve
}

/// Mean price of a plan [minor/kWh]; a part of the dearest where some are paid for.
fn mean(import: &Series<Price>) -> f64 {
    let prices = import.values().iter().map(|price| price.per_kwh());
    let dearest = prices.clone().fold(0.0, f64::max);
    (prices.sum::<f64>() / import.values().len() as f64).max(0.1 * dearest)
}

/// The surprises of a store, and what it is worth to be ready for them.
struct WaterKept {
    surprises: Surprises,
    /// What keeping a litre for half an hour costs, as a share of its price when it is
    /// missed.
    chance: f64,
    /// The price of heat that arrives cold [minor/kWh].
    price: f64,
}

impl WaterKept {
    fn of(
        known: &dyn Knowledge,
        site: &Site,
        index: usize,
        (price, dearest): (f64, f64),
        allowed: f64,
    ) -> Option<Self> {
        let store = &site.stores[index];
        let hours = SLOT_SECONDS as f64 / 3_600.0;
        let surprises = surprises(known, site, index)?;
        let lasts = time_constant_hours(store.volume.litres(), store.heat_loss.watts_per_kelvin());
        let keeping = price * (1.0 - (-hours / lasts).exp()).max(LEAST_LOSS);
        let price = surprises.price(keeping, allowed, dearest);
        Some(Self { surprises, chance: keeping / price, price })
    }
}

/// What the past of a store lets one expect beyond what is foreseen.
pub(super) fn surprises(known: &dyn Knowledge, site: &Site, index: usize) -> Option<Surprises> {
    let store = &site.stores[index];
    let litre = KWH_PER_LITRE_KELVIN * store.use_temperature.above(store.mains);
    let power: f64 = store.elements.iter().map(|e| e.power.kw()).sum();
    let hours = SLOT_SECONDS as f64 / 3_600.0;
    let made = HELP * power.min(site.grid.import_limit.kw()) * hours / litre;
    let (_, flow) = usual_tap(known, index);
    let drawn_kw = 60.0 * flow.litres_per_minute() * litre;
    let boost = guard_of(store).filter(|element| is_boost(store, *element));
    let guard = boost.map_or(0.0, |element| store.elements[element].power.kw());
    let helped = (guard / drawn_kw.max(1e-9)).min(0.5);
    let full = KEEPABLE * store.heat_at(store.highest_reach()) / litre;
    Surprises::of(known, index, (helped, made), full)
}

/// The slots of a plan among those of what is known.
struct Calendar<'a> {
    known: &'a dyn Knowledge,
    horizon: &'a Horizon,
}

impl Calendar<'_> {
    /// Time of day of the half-hours that begin in a span.
    fn times_of_day(&self, from: Instant, until: Instant) -> impl Iterator<Item = usize> {
        let now = self.known.slot(self.known.now()).start();
        let at = |instant: Instant| ((instant - now) / SLOT_SECONDS).max(0) as usize;
        let (first, last) = (at(from), at(until));
        let slots = first..last.max(first + 1);
        slots.map(|ahead| usize::from(self.known.mark(self.known.now() + ahead).half_hour))
    }

    /// The guard's dial in each slot of the plan.
    fn dials(&self, store: &Store, heater: HeaterId, kept: &WaterKept) -> Vec<Option<Watch>> {
        let element = &store.elements[heater.element];
        let dial = store.use_temperature.celsius() + ABOVE_USE;
        let dial = Temperature::clamped(dial.min(store.reach(element).celsius()));
        let least = WORTH_A_GUARD * above(store, heater.element);
        let is_worth_it = |of_day: usize| kept.surprises.worth_keeping(of_day, kept.chance) > least;
        let slots = self.horizon.slots().iter();
        slots
            .map(|slot| {
                let mut times = self.times_of_day(slot.start(), slot.end());
                times.any(is_worth_it).then_some(Watch::Dial(dial))
            })
            .collect()
    }

    /// The litres that the only element watches in the slot that runs; plans see to the
    /// others. `ready` are those that stand ready now. Large draws follow each other: once
    /// so much is drawn that more than all of them becomes likely, what is left is not
    /// enough. How likely it must be says what heating now costs beyond the cheapest slot,
    /// beside the price of comfort.
    fn litres(&self, import: &Series<Price>, kept: &WaterKept, ready: f64) -> Vec<Option<Watch>> {
        let mut watches = vec![None; self.horizon.len()];
        let prices = import.values().iter().map(|price| price.per_kwh());
        let dearer = import[0].per_kwh() - prices.fold(f64::INFINITY, f64::min);
        let likely = kept.chance + dearer / kept.price;
        let start = self.horizon.start();
        let of_day = self.times_of_day(start, start).next().unwrap_or(0);
        let left = ready - kept.surprises.telling(of_day, ready, likely);
        if left > 0.0 {
            watches[0] = Some(Watch::Litres(Volume::clamped(left)));
        }
        watches
    }

    /// What the program is told of a guard: the same rows whether it stands or not, so
    /// that programs keep their shape.
    fn guarded(
        &self,
        store: &Store,
        index: usize,
        element: usize,
        watches: &[Option<Watch>],
    ) -> Vec<Ready> {
        let litres = GUARDED_SHARE * above(store, element);
        let later = watches.iter().skip(1).chain([&None]);
        let slots = self.horizon.slots().iter().zip(later);
        slots
            .map(|(slot, watch)| Ready {
                store: index,
                by: slot.end(),
                volume: Volume::clamped(if watch.is_some() { litres } else { 0.0 }),
                temperature: store.use_temperature,
                urgency: GUARDED_URGENCY,
            })
            .collect()
    }

    /// Water that is kept ready at the end of each slot, for what may be drawn before the
    /// end of the next.
    fn ready(
        &self,
        store: &Store,
        index: usize,
        weights: &Weights,
        kept: &WaterKept,
    ) -> Vec<Ready> {
        let slots = self.horizon.slots();
        let following = slots.iter().skip(1).chain(slots.last());
        let at_ends: Vec<_> = slots
            .iter()
            .zip(following)
            .map(|(slot, next)| {
                let half_hours = (next.seconds() / SLOT_SECONDS).max(1) as f64;
                let of_day = self.times_of_day(slot.end(), slot.end()).next().unwrap_or(0);
                (slot.end(), half_hours, kept.surprises.kept(of_day, kept.chance))
            })
            .collect();
        // What is missed most first, and in the same order in every plan.
        (0..STEPS)
            .flat_map(|step| {
                at_ends.iter().map(move |(by, half_hours, steps)| Ready {
                    store: index,
                    by: *by,
                    volume: Volume::clamped(steps[step].litres),
                    temperature: store.use_temperature,
                    urgency: (half_hours * steps[step].chance * kept.price / weights.short_per_kwh)
                        .min(IN_CASE),
                })
            })
            .collect()
    }
}

/// Water at and above an element [L].
fn above(store: &Store, element: usize) -> f64 {
    store.volume.litres() * (1.0 - store.elements[element].height.value())
}

/// The highest element of a store.
fn guard_of(store: &Store) -> Option<usize> {
    let heights = store.elements.iter().map(|e| e.height.value()).enumerate();
    heights.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(index, _)| index)
}

/// Whether an element heats only the top of a store, for another heats the rest.
fn is_boost(store: &Store, element: usize) -> bool {
    let height = store.elements[element].height.value();
    store.elements.iter().any(|other| other.height.value() < height)
}
