//! What is known at an instant: the one door to a timeline for controllers.

use super::surroundings::pool_above_air;
use super::timeline::{HygieneRule, Timeline};
use crate::forecast::{Knowledge, Mark};
use crate::problem::{Ambient, Band, Draw, LoopRun, Ready, State};
use crate::site::Site;
use crate::time::{Horizon, Instant, Series, Slot};
use crate::units::{Energy, Flow, Price, Temperature};

/// What is known when a slot begins. Every question about later slots is
/// answered only as far as it was published or agreed by then.
#[derive(Debug, Clone, Copy)]
pub struct View<'a> {
    timeline: &'a Timeline,
    now: usize,
    state: &'a State,
    proven: &'a [Instant],
    served: Served,
}

/// How the taps were served in the last two weeks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Served {
    /// Heat asked for [kWh].
    pub asked_kwh: f64,
    /// Part of it that did not arrive [kWh].
    pub unmet_kwh: f64,
}

impl<'a> View<'a> {
    pub(super) fn new(
        timeline: &'a Timeline,
        now: usize,
        state: &'a State,
        proven: &'a [Instant],
        served: Served,
    ) -> Self {
        Self { timeline, now, state, proven, served }
    }

    /// State as it is measured now.
    pub fn state(&self) -> &'a State {
        self.state
    }

    /// How the taps were served of late.
    pub fn served(&self) -> Served {
        self.served
    }

    /// Whether the draws to come are known.
    pub fn draws_foreknown(&self) -> bool {
        self.timeline.record().foreknown.draws
    }

    /// Heat drawn from a store in a slot [kWh], if it is known.
    pub fn draw_heat(&self, store: usize, slot: usize) -> Option<f64> {
        (slot < self.now || self.draws_foreknown()).then(|| self.timeline.draw_heat(store, slot))
    }

    /// Promises that fall due within a number of slots.
    pub fn promises(&self, slots: usize) -> &'a [Ready] {
        self.timeline.ready_in(self.now..self.now + slots)
    }

    /// Pasteurisations and when each falls due.
    pub fn hygiene(&self) -> impl Iterator<Item = (HygieneRule, Instant)> + 'a {
        let rules = &self.timeline.record().hygiene;
        rules.iter().zip(self.proven).map(|(rule, last)| (*rule, *last + rule.every_seconds))
    }

    /// Surplus of PV over the base load in the slot that begins now, for a
    /// device that measures the meter all the time and follows it within
    /// seconds [kWh]. It is no forecast and plans must not use it.
    pub(super) fn followed_surplus(&self) -> f64 {
        let record = self.timeline.record();
        (record.pv[self.now].kwh() - record.base_load[self.now].kwh()).max(0.0)
    }

    /// A quantity of the weather in a slot: measured, or known in advance.
    pub(super) fn weather<T: Copy>(&self, of: Read<T>, slot: usize) -> Option<T> {
        let around = &self.timeline.surroundings;
        let known = slot < self.now || around.foreknown;
        of(&around.ambient).filter(|_| known).map(|values| values[slot])
    }

    /// A quantity of the weather as a sensor of the plant room reads it all the time.
    /// It is no forecast and plans must not use it.
    pub(super) fn sensed<T: Copy>(&self, of: Read<T>) -> Option<T> {
        of(&self.timeline.surroundings.ambient).map(|values| values[self.now])
    }

    /// What follows calendar and clock in a slot: ground, cover, gains.
    pub(super) fn agreed<T: Copy>(&self, of: Read<T>, slot: usize) -> Option<T> {
        of(&self.timeline.surroundings.ambient).map(|values| values[slot])
    }

    /// Runs of loops in coming slots.
    pub(super) fn loop_runs(&self, horizon: &Horizon) -> Vec<LoopRun> {
        self.timeline.surroundings.loop_runs(horizon)
    }

    /// Comfort that is asked of rooms and pool in a slot, with the air of its day as
    /// far as it is known or expected.
    pub(super) fn bands(
        &self,
        site: &Site,
        slot: usize,
        air: impl Fn(usize) -> Option<f64>,
    ) -> (Option<Band>, Option<Band>) {
        let (around, marks) = (&self.timeline.surroundings, &self.timeline.record().marks);
        let by_clock = |bands: &Option<Series<Band>>| bands.as_ref().map(|bands| bands[slot]);
        let pool = by_clock(&around.comfort.pool)
            .or_else(|| pool_above_air(site, around, marks, slot, air));
        (by_clock(&around.comfort.rooms), pool)
    }
}

/// Reads a series of the ambient.
pub(super) type Read<T> = fn(&Ambient) -> Option<&Series<T>>;

impl Knowledge for View<'_> {
    fn now(&self) -> usize {
        self.now
    }

    fn slot(&self, index: usize) -> Slot {
        self.timeline.record().horizon.slots()[index]
    }

    fn mark(&self, index: usize) -> Mark {
        self.timeline.record().marks[index]
    }

    fn days_before(&self, slot: usize, days: usize) -> Option<usize> {
        self.timeline.days_before(slot, days)
    }

    fn stores(&self) -> usize {
        self.timeline.record().mains.len()
    }

    fn prices(&self, slot: usize) -> (Option<Price>, Option<Price>) {
        let record = self.timeline.record();
        if record.foreknown.prices || record.published[slot] <= self.slot(self.now).start() {
            (record.import_price[slot], record.export_price[slot])
        } else {
            (None, None)
        }
    }

    fn pv(&self, slot: usize) -> Option<Energy> {
        let record = self.timeline.record();
        (slot < self.now || record.foreknown.pv).then(|| record.pv[slot])
    }

    fn base_load(&self, slot: usize) -> Option<Energy> {
        let record = self.timeline.record();
        (slot < self.now || record.foreknown.base_load).then(|| record.base_load[slot])
    }

    fn litres(&self, store: usize, slot: usize) -> Option<f64> {
        self.timeline.measured_litres(store, slot).filter(|_| slot < self.now)
    }

    fn last_draw(&self, store: usize) -> Option<(Temperature, Flow)> {
        let first = self.now.saturating_sub(48 * 28);
        let past = if first < self.now { self.timeline.draws_in(first..self.now) } else { &[] };
        past.iter().rev().find(|d| d.store == store).map(|d| (d.temperature, d.flow))
    }

    fn coming_draws(&self, slots: usize) -> Option<&[Draw]> {
        self.draws_foreknown().then(|| self.timeline.draws_in(self.now..self.now + slots))
    }
}
