//! Weather from what was measured: what the last days showed at the time of day, and
//! how the last hours differed from it, which fades.

use super::meter::{Correction, RECENT};
use super::{Knowledge, mean};

/// Days whose mean by time of day is expected of air and wind.
const AIR_DAYS: usize = 3;

/// Days whose mean by time of day is the light to expect.
const LIGHT_DAYS: usize = 7;

/// Air that is warmer or colder than of late stays so for about a day [h] (common
/// practice, no published source).
const AIR_FADE_HOURS: f64 = 18.0;

/// Temperature, humidity or wind in the coming slots, where `measured` answers for
/// what is known; 0 where nothing ever was.
pub fn air(
    known: &dyn Knowledge,
    slots: usize,
    measured: impl Fn(usize) -> Option<f64>,
) -> Vec<f64> {
    let usual = |slot: usize| usual(known, slot, AIR_DAYS, &measured);
    let off = mean(recent(known).filter_map(|slot| Some(measured(slot)? - usual(slot)?)));
    let fade = |ahead: usize| (-(ahead as f64) / 2.0 / AIR_FADE_HOURS).exp();
    let last = || recent(known).rev().find_map(&measured);
    expected(known, slots, &measured, |slot, ahead| {
        let usual = usual(slot).or_else(last).unwrap_or(0.0);
        usual + off.unwrap_or(0.0) * fade(ahead)
    })
}

/// Light [W/m²] in the coming slots, likewise, by the ratio of the last hours.
pub fn light(
    known: &dyn Knowledge,
    slots: usize,
    measured: impl Fn(usize) -> Option<f64>,
) -> Vec<f64> {
    let usual = |slot: usize| usual(known, slot, LIGHT_DAYS, &measured).unwrap_or(0.0);
    let half_hours = |of: &dyn Fn(usize) -> f64| recent(known).map(of).sum::<f64>() / 2_000.0;
    let was = half_hours(&|slot| measured(slot).unwrap_or(0.0));
    let correction = Correction::of_pv(was, half_hours(&usual));
    expected(known, slots, &measured, |slot, ahead| usual(slot) * correction.at(ahead as f64 / 2.0))
}

/// Slots just gone by.
fn recent(known: &dyn Knowledge) -> std::ops::Range<usize> {
    known.now().saturating_sub(RECENT)..known.now()
}

/// Mean of the last days at the time of day of a slot.
fn usual(
    known: &dyn Knowledge,
    slot: usize,
    days: usize,
    measured: impl Fn(usize) -> Option<f64>,
) -> Option<f64> {
    // A slot of the days to come has no measurement on the days just before it.
    let before = (1..=days + 5).filter_map(|day| known.days_before(slot, day));
    mean(before.filter_map(measured).take(days))
}

/// What is known of the coming slots, else what is expected of them.
fn expected(
    known: &dyn Knowledge,
    slots: usize,
    measured: impl Fn(usize) -> Option<f64>,
    forecast: impl Fn(usize, usize) -> f64,
) -> Vec<f64> {
    let now = known.now();
    (0..slots)
        .map(|ahead| measured(now + ahead).unwrap_or_else(|| forecast(now + ahead, ahead)))
        .collect()
}
