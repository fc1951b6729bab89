//! Readings of power and of counters, added up by the half-hour.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::site::Source;
use optimiser::time::{Instant, Slot};

use crate::service::readings::Reading;

/// Half-hours [s].
pub(super) const HALF_HOUR_S: i64 = 1_800;

/// What happens between two readings that lie further apart is not known [s].
const MAX_GAP_S: i64 = 900;

/// A half-hour counts as measured if readings cover so much of it [s].
const COVERED_S: i64 = 1_200;

/// What a meter measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meter {
    /// The PV system.
    Pv,
    /// The house without its heaters.
    Load,
    /// From the grid; negative to it.
    Import,
    /// Into the battery; negative out of it.
    Battery,
    /// A heater.
    Heater(HeaterId),
    /// Electricity of a source.
    Source(Source),
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    kwh: f64,
    covered_s: i64,
}

/// All meters of a house.
#[derive(Debug, Default)]
pub struct Meters {
    last: BTreeMap<Meter, Reading>,
    tallies: BTreeMap<(Instant, Meter), Tally>,
}

impl Meters {
    /// Takes a believed reading; one that was taken before changes nothing.
    pub fn read(&mut self, meter: Meter, is_counter: bool, reading: Reading) {
        let Some(last) = self.last.insert(meter, reading) else { return };
        let seconds = reading.at - last.at;
        if !(1..=MAX_GAP_S).contains(&seconds) {
            return;
        }
        let kwh = if is_counter {
            reading.added
        } else {
            f64::midpoint(last.value, reading.value) * seconds as f64 / 3_600.0
        };
        let mut edge = edge(last.at);
        while edge < reading.at {
            let next = edge + HALF_HOUR_S;
            let shared = next.min(reading.at) - edge.max(last.at);
            let tally = self.tallies.entry((edge, meter)).or_default();
            tally.kwh += kwh * shared as f64 / seconds as f64;
            tally.covered_s += shared;
            edge = next;
        }
    }

    /// What was measured in a half-hour [kWh]; it and those before are forgotten.
    pub fn close(&mut self, slot: Slot) -> BTreeMap<Meter, f64> {
        let rest = self.tallies.split_off(&(slot.end(), Meter::Pv));
        let over = std::mem::replace(&mut self.tallies, rest);
        over.into_iter()
            .filter(|((edge, _), tally)| *edge == slot.start() && tally.covered_s >= COVERED_S)
            .map(|((_, meter), tally)| {
                (meter, tally.kwh * HALF_HOUR_S as f64 / tally.covered_s as f64)
            })
            .collect()
    }
}

/// The half-hour that an instant lies in, by its start.
pub(super) fn edge(at: Instant) -> Instant {
    Instant::from_unix(at.unix().div_euclid(HALF_HOUR_S) * HALF_HOUR_S)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_unix(1_767_225_600 + seconds)
    }

    fn half_hour(index: i64) -> Slot {
        Slot::new(at(1_800 * index), at(1_800 * (index + 1))).expect("a half-hour")
    }

    fn reading(seconds: i64, value: f64, added: f64) -> Reading {
        Reading { value, at: at(seconds), added }
    }

    #[test]
    fn power_is_added_up_over_the_edge_of_a_half_hour() {
        let mut meters = Meters::default();
        for minute in (0..=60).step_by(5) {
            let kw = if minute <= 30 { 2.0 } else { 1.0 };
            meters.read(Meter::Pv, false, reading(minute * 60, kw, 0.0));
        }
        // From 30 to 35 min it falls from 2 to 1 kW: 1.5 kW for 5 min, then 1 kW for 25.
        let first = meters.close(half_hour(0));
        let second = meters.close(half_hour(1));
        assert!((first[&Meter::Pv] - 1.0).abs() < 1e-9, "{first:?}");
        assert!((second[&Meter::Pv] - (1.5 * 5.0 + 25.0) / 60.0).abs() < 1e-9, "{second:?}");
    }

    #[test]
    fn a_counter_gives_what_it_adds_and_gaps_are_not_filled() {
        let heater = Meter::Heater(HeaterId { store: 0, element: 0 });
        let mut meters = Meters::default();
        meters.read(heater, true, reading(0, 100.0, 0.0));
        meters.read(heater, true, reading(900, 100.5, 0.5));
        meters.read(heater, true, reading(1_800, 101.25, 0.75));
        // Silent for an hour and a half: nobody knows when the rest was used.
        meters.read(heater, true, reading(7_200, 104.0, 2.75));
        let closed = meters.close(half_hour(0));
        assert!((closed[&heater] - 1.25).abs() < 1e-9, "{closed:?}");
        assert!(meters.close(half_hour(2)).is_empty());
    }
}
