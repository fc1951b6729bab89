//! How a plan is shown: JSON document, table, explanation and chart.
//!
//! Everything here is a pure function of a [`Plan`]: no clock, no terminal, no
//! files, so the same plan always gives the same bytes.

pub mod chart;
pub mod document;
pub mod explain;
pub mod four_state;
pub mod money;
pub mod table;

pub(crate) mod digits;
mod jobs;
pub(crate) mod local;
mod reasons;
pub(crate) mod scale;
pub(crate) mod svg;
mod totals;

#[cfg(test)]
mod golden;
#[cfg(test)]
mod sample;
#[cfg(test)]
mod tank;

use chrono_tz::Tz;
use optimiser::problem::{HeaterId, Problem};
use optimiser::schedule::{Origin, Schedule, SlotPlan};
use optimiser::site::{Element, Store};
use optimiser::time::{Instant, Slot};
use optimiser::units::{Energy, Price};

use crate::house::House;
pub(crate) use money::Currency;

/// Litres of a shower, 5 min at 7 L/min (common practice, no published source).
const SHOWER_LITRES: f64 = 35.0;
/// Temperature of a shower [°C] (common practice, no published source).
const SHOWER_CELSIUS: f64 = 40.0;

/// A schedule together with all that is needed to show it.
#[derive(Debug, Clone, Copy)]
pub struct Plan<'a> {
    /// The house: its name, zone and currency.
    pub house: &'a House,
    /// The problem that was solved.
    pub problem: &'a Problem,
    /// Its answer, one slot for each of the problem's horizon.
    pub schedule: &'a Schedule,
    /// When the plan was made.
    pub issued_at: Instant,
    /// From when nobody may act on it any more.
    pub valid_until: Instant,
    /// Prices of slots that end later than this are forecast.
    pub published_until: Instant,
}

impl Plan<'_> {
    fn zone(&self) -> Tz {
        self.house.time_zone
    }

    fn currency(&self) -> Currency {
        Currency::new(&self.house.tariff.currency)
    }

    fn slots(&self) -> &[SlotPlan] {
        &self.schedule.slots
    }

    /// First and one-past-last instant of the plan.
    fn window(&self) -> (Instant, Instant) {
        let horizon = self.problem.horizon.slots();
        let first = horizon.first().map_or(self.issued_at, |slot| slot.start());
        (first, horizon.last().map_or(first, |slot| slot.end()))
    }

    fn is_forecast(&self, slot: Slot) -> bool {
        slot.end() > self.published_until
    }

    fn store(&self, id: HeaterId) -> &Store {
        &self.problem.site.stores[id.store]
    }

    fn element(&self, id: HeaterId) -> &Element {
        &self.store(id).elements[id.element]
    }

    /// `store/element`, the name that is unique in the site.
    fn full_name(&self, id: HeaterId) -> String {
        format!("{}/{}", self.store(id).name, self.element(id).name)
    }

    /// The element's own name where no other store has one like it.
    fn short_name(&self, id: HeaterId) -> String {
        let name = &self.element(id).name;
        let namesakes = self.problem.heaters().filter(|&other| self.element(other).name == *name);
        if namesakes.count() == 1 { name.clone() } else { self.full_name(id) }
    }

    /// What one more kWh at the house costs in a slot; the import price for a
    /// plan that was not solved, because it has no marginal values.
    fn price_at_house(&self, slot: &SlotPlan) -> Price {
        if self.has_values() { slot.electricity_value } else { slot.import_price }
    }

    /// Whether the plan comes with marginal values.
    fn has_values(&self) -> bool {
        self.schedule.origin != Origin::Rule
    }

    /// Whether there is a PV system.
    fn has_pv(&self) -> bool {
        self.problem.pv.values().iter().any(|energy| some(*energy))
    }

    /// Whether the house could export anything.
    fn exports(&self) -> bool {
        let site = &self.problem.site;
        (self.has_pv() || site.battery.is_some()) && site.grid.export_limit.kw() > 0.0
    }

    /// Whole showers in litres at the store's use temperature.
    fn showers(&self, store: usize, usable_litres: f64) -> u32 {
        let store = &self.problem.site.stores[store];
        let mains = store.mains.celsius();
        let at_shower = usable_litres * (store.use_temperature.celsius() - mains)
            / (SHOWER_CELSIUS - mains).max(1.0);
        (at_shower / SHOWER_LITRES).max(0.0).floor() as u32
    }
}

/// Whether an energy would show as more than nothing.
fn some(energy: Energy) -> bool {
    energy.kwh() >= 0.005
}
