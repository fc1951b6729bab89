//! PV and base load: what the last days showed, corrected by the last hours.

use super::{Knowledge, mean};
use crate::units::Energy;

/// Days whose mean by time of day is the sun to expect.
const SUN_DAYS: usize = 7;

/// Days whose mean by time of day is the load to expect.
const LOAD_DAYS: usize = 14;

/// Slots just gone by that correct the coming ones.
const RECENT: usize = 6;

/// PV energy of the coming slots: known in advance, or expected [kWh].
///
/// Clouds of this morning are likely to stay: the ratio of the last hours to
/// their own expectation fades with a time constant of four hours.
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
    corrected(known, slots, 8.0, |slot| known.pv(slot), usual)
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
    corrected(known, slots, 3.0, |slot| known.base_load(slot), usual)
}

/// What is usual, times how the last hours compared with it; the comparison
/// fades over a number of slots.
fn corrected(
    known: &dyn Knowledge,
    slots: usize,
    fade: f64,
    measured: impl Fn(usize) -> Option<Energy>,
    usual: impl Fn(usize) -> f64,
) -> Vec<Energy> {
    let now = known.now();
    let recent = now.saturating_sub(RECENT)..now;
    let was: f64 = recent.clone().filter_map(measured).map(Energy::kwh).sum();
    let expected: f64 = recent.map(&usual).sum();
    let ratio = if expected > 0.05 { (was / expected).clamp(0.2, 2.0) } else { 1.0 };
    // Beyond two days nothing new is known: the same day again.
    let first: Vec<f64> = (now..now + slots.min(96)).map(&usual).collect();
    (0..slots)
        .map(|ahead| {
            let fading = (-(ahead as f64) / fade).exp();
            let day = if ahead < first.len() { ahead } else { 48 + (ahead - 48) % 48 };
            Energy::clamped(first[day] * (1.0 + (ratio - 1.0) * fading))
        })
        .collect()
}
