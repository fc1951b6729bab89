//! PV and base load: what the last days showed, corrected by the last hours.

use super::{Knowledge, mean};
use crate::units::Energy;

/// Days whose mean by time of day is the sun to expect.
const SUN_DAYS: usize = 7;

/// Days whose mean by time of day is the load to expect.
const LOAD_DAYS: usize = 14;

/// Slots just gone by that correct the coming ones.
pub const RECENT: usize = 6;

/// How what was measured just now compares with what was expected of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    ratio: f64,
    fade_hours: f64,
}

impl Correction {
    /// Of PV: clouds of this morning are likely to stay.
    pub fn of_pv(measured_kwh: f64, expected_kwh: f64) -> Self {
        Self::new(measured_kwh, expected_kwh, 4.0)
    }

    /// Of the base load: what is on now goes off again.
    pub fn of_load(measured_kwh: f64, expected_kwh: f64) -> Self {
        Self::new(measured_kwh, expected_kwh, 1.5)
    }

    fn new(measured_kwh: f64, expected_kwh: f64, fade_hours: f64) -> Self {
        let ratio = measured_kwh / expected_kwh;
        let ratio = if expected_kwh > 0.05 { ratio.clamp(0.2, 2.0) } else { 1.0 };
        Self { ratio, fade_hours }
    }

    /// Factor on what is expected some hours ahead.
    pub fn at(&self, hours: f64) -> f64 {
        1.0 + (self.ratio - 1.0) * (-hours.max(0.0) / self.fade_hours).exp()
    }
}

/// PV energy of the coming slots: known in advance, or expected [kWh].
pub fn pv(known: &dyn Knowledge, slots: usize) -> Vec<Energy> {
    let agreed: Option<Vec<Energy>> =
        (known.now()..known.now() + slots).map(|slot| known.pv(slot)).collect();
    if let Some(agreed) = agreed {
        return agreed;
    }
    let usual = |slot: usize| {
        let days = (1..=SUN_DAYS + 4).filter_map(|d| known.pv(known.days_before(slot, d)?));
        mean(days.take(SUN_DAYS).map(Energy::kwh)).unwrap_or(0.0)
    };
    corrected(known, slots, Correction::of_pv, |slot| known.pv(slot), usual)
}

/// Base load of the coming slots: known in advance, or expected [kWh].
pub fn base_load(known: &dyn Knowledge, slots: usize) -> Vec<Energy> {
    let now = known.now();
    let agreed: Option<Vec<Energy>> =
        (now..now + slots).map(|slot| known.base_load(slot)).collect();
    if let Some(agreed) = agreed {
        return agreed;
    }
    let usual = |slot: usize| {
        let weekend = known.mark(slot).weekend;
        let days = |alike: bool| {
            let before = (1..=2 * LOAD_DAYS).filter_map(move |days| known.days_before(slot, days));
            before
                .filter(move |b| !alike || known.mark(*b).weekend == weekend)
                .filter_map(|before| known.base_load(before))
                .take(LOAD_DAYS)
                .map(Energy::kwh)
        };
        mean(days(true)).or_else(|| mean(days(false))).unwrap_or(0.0)
    };
    corrected(known, slots, Correction::of_load, |slot| known.base_load(slot), usual)
}

/// What is usual, times how the last hours compared with it.
fn corrected(
    known: &dyn Knowledge,
    slots: usize,
    correction: fn(f64, f64) -> Correction,
    measured: impl Fn(usize) -> Option<Energy>,
    usual: impl Fn(usize) -> f64,
) -> Vec<Energy> {
    let now = known.now();
    let recent = now.saturating_sub(RECENT)..now;
    let was: f64 = recent.clone().filter_map(measured).map(Energy::kwh).sum();
    let expected: f64 = recent.map(&usual).sum();
    let correction = correction(was, expected);
    // Beyond two days nothing new is known: the same day again.
    let first: Vec<f64> = (now..now + slots.min(96)).map(&usual).collect();
    (0..slots)
        .map(|ahead| {
            let day = if ahead < first.len() { ahead } else { 48 + (ahead - 48) % 48 };
            Energy::clamped(first[day] * correction.at(ahead as f64 / 2.0))
        })
        .collect()
}
