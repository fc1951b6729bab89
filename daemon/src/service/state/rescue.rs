//! Rooms and water that are too cold to wait: without a schedule, or far below what it
//! promised. The comfort minimum of a plant room.

use std::collections::BTreeSet;

use optimiser::site::{Sink, Source};
use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::State;
use super::guards::Sight;
use super::sources::SourceOrder;
use crate::service::clock::is_plausible;
use crate::service::commands::Feeder;
use crate::service::setpoints::Order;

/// Under a schedule the rooms may be colder than their lowest comfort by this [K].
const PATIENCE_K: f64 = 1.0;

/// Rooms are heated to so much above the temperature at which it began [K].
const SPAN_K: f64 = 1.0;

/// Rooms colder than this are heated even if everything is off by hand [°C].
const FROST_C: f64 = 6.0;

/// Above useful by which water is heated [K].
const WATER_SPAN_K: f64 = 5.0;

/// What may be too cold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Need {
    /// A store without an element, by its index.
    Store(usize),
    /// The rooms.
    Rooms,
}

/// What helps something that is too cold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rescue {
    /// What it helps.
    pub need: Need,
    /// Who helps: of several sources the first that can, and every circuit.
    pub feeder: Feeder,
    /// What it is told.
    pub order: SourceOrder,
}

impl State {
    /// Notes what is too cold, and what is no longer.
    pub(super) fn look_for_cold(&mut self, now: Instant) {
        let planned = self.current(now).is_some() && self.clock_is_right;
        let needs: BTreeSet<Need> =
            self.settings.plant_room.rescues.iter().map(|rescue| rescue.need).collect();
        for need in needs {
            let (seen, below, above) = match need {
                Need::Store(store) => {
                    let seen = self.reading(store, now).hottest.map(Temperature::celsius);
                    let useful = self.settings.plant_room.useful[store].celsius();
                    // The schedule cares for it.
                    if planned {
                        (None, useful, useful)
                    } else {
                        (seen, useful, useful + WATER_SPAN_K)
                    }
                }
                Need::Rooms => {
                    let low = self.settings.plant_room.rooms_low.map_or(0.0, Temperature::celsius);
                    let below = if planned { low - PATIENCE_K } else { low };
                    match self.rooms_sight(now) {
                        Sight::Seen(celsius) => (Some(celsius), below, below + SPAN_K),
                        Sight::Unmeasured | Sight::Lost => (None, below, below),
                    }
                }
            };
            if seen.is_some_and(|celsius| celsius < below) {
                self.sources.cold.insert(need);
            } else if seen.is_none_or(|celsius| celsius > above) {
                self.sources.cold.remove(&need);
            }
        }
    }

    /// What a source does for something that is too cold, and why.
    pub(super) fn rescued(&self, now: Instant, feeder: Feeder) -> Option<(SourceOrder, String)> {
        // In the wrong year a set-point would expire at once.
        if self.sources.cold.is_empty() || !is_plausible(now) {
            return None;
        }
        let frost = match self.rooms_sight(now) {
            Sight::Seen(celsius) => celsius < FROST_C,
            Sight::Unmeasured | Sight::Lost => false,
        };
        let (mut met, mut busy) = (BTreeSet::new(), BTreeSet::new());
        for rescue in &self.settings.plant_room.rescues {
            let Some(sink) = rescue.order.sink.filter(|_| self.sources.cold.contains(&rescue.need))
            else {
                continue;
            };
            let by_hand = self.overrides.feeder_off(now, rescue.feeder).is_some();
            if by_hand && !(frost && rescue.need == Need::Rooms) {
                continue;
            }
            if let Feeder::Source(source) = rescue.feeder {
                let taken = met.contains(&rescue.need) || busy.contains(&source);
                if taken || !self.can_help(now, source, sink) {
                    continue;
                }
                met.insert(rescue.need);
                busy.insert(source);
            }
            if rescue.feeder == feeder {
                return Some((rescue.order, self.why_rescued(now, rescue.need)));
            }
        }
        None
    }

    /// A hot or, for water, an unknown sink is not helped, and a source that the
    /// schedule has at work for something else not disturbed.
    fn can_help(&self, now: Instant, source: Source, sink: Sink) -> bool {
        let feeder = Feeder::Source(source);
        let kept_off = match sink {
            // Rooms are not left to freeze for a probe in the buffer.
            Sink::Buffer | Sink::Rooms => self.too_hot(now, sink),
            Sink::Coil { .. } | Sink::Pool => self.guard(now, feeder, sink),
        };
        let planned = self.current(now).filter(|_| self.clock_is_right);
        let elsewhere = planned.is_some()
            && self
                .sources
                .told
                .get(&feeder)
                .is_some_and(|(order, _)| order.is_on() && order.sink != Some(sink));
        kept_off.is_none() && !elsewhere
    }

    fn why_rescued(&self, now: Instant, need: Need) -> String {
        let planned = self.current(now).is_some() && self.clock_is_right;
        let why = if planned { "colder than planned" } else { self.why_unplanned() };
        match need {
            Need::Store(store) => {
                let name = &self.settings.plant.stores[store].name;
                format!("{why}; comfort minimum: {name} is too cold to be of use")
            }
            Need::Rooms => {
                let low = self.settings.plant_room.rooms_low;
                let low = low.map_or(String::new(), |low| format!(" than {low}"));
                format!("{why}; comfort minimum: the rooms are colder{low}")
            }
        }
    }
}
