//! Prices beyond publication: similar days, several windows blended.
//!
//! Averaging short and long windows is the robust choice of Marcjasz, Serafin
//! and Weron, "Selection of calibration windows for day-ahead electricity price
//! forecasting", Energies 11:2364, 2018, doi:10.3390/en11092364.

use super::{Knowledge, mean};
use crate::units::Price;

/// Days that each window holds.
const WINDOWS: [usize; 3] = [1, 7, 28];

/// Prices of a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Unit rate of import.
    pub import: Price,
    /// Unit rate of export.
    pub export: Price,
    /// Whether both are published.
    pub published: bool,
}

/// Prices of the coming slots: published, or expected. `None` while no price
/// at all is known.
///
/// An expected price is the mean of four, all at the same local time of day:
/// the last known day, the last seven, the last 28, and the last four of the
/// same kind (working days or weekends).
pub fn prices(known: &dyn Knowledge, slots: usize) -> Option<Vec<Expected>> {
    let now = known.now();
    let mut similar: Vec<Option<(Price, Price)>> = vec![None; 96];
    let mut found = Vec::with_capacity(slots);
    let mut level = None;
    for slot in now..now + slots {
        if let (Some(import), Some(export)) = known.prices(slot) {
            found.push(Expected { import, export, published: true });
            continue;
        }
        let mark = known.mark(slot);
        let key = usize::from(mark.half_hour) + 48 * usize::from(mark.weekend);
        if similar[key].is_none() {
            let (import, export) =
                match (blend(known, slot, import_price), blend(known, slot, export_price)) {
                    (Some(import), Some(export)) => (import, export),
                    _ => match level {
                        Some(level) => level,
                        None => *level.insert(known_mean(known, slots)?),
                    },
                };
            similar[key] = Some((Price::clamped(import), Price::clamped(export)));
        }
        let (import, export) = similar[key]?;
        found.push(Expected { import, export, published: false });
    }
    Some(found)
}

fn import_price(known: &dyn Knowledge, slot: usize) -> Option<f64> {
    known.prices(slot).0.map(Price::per_kwh)
}

fn export_price(known: &dyn Knowledge, slot: usize) -> Option<f64> {
    known.prices(slot).1.map(Price::per_kwh)
}

fn blend(
    known: &dyn Knowledge,
    slot: usize,
    pick: fn(&dyn Knowledge, usize) -> Option<f64>,
) -> Option<f64> {
    let weekend = known.mark(slot).weekend;
    // Newest first; a slot beyond the coming days has some that are unknown too.
    let alike_days: Vec<(bool, f64)> = (1..=36)
        .filter_map(|days| {
            let before = known.days_before(slot, days)?;
            Some((known.mark(before).weekend == weekend, pick(known, before)?))
        })
        .collect();
    let windows = WINDOWS.into_iter().map(|days| mean(alike_days.iter().take(days).map(|k| k.1)));
    let alike = mean(alike_days.iter().filter(|k| k.0).take(4).map(|k| k.1));
    mean(windows.chain([alike]).flatten())
}

/// Mean of every price known around now.
fn known_mean(known: &dyn Knowledge, slots: usize) -> Option<(f64, f64)> {
    let around = known.now().saturating_sub(48 * 28)..known.now() + slots;
    let of = |pick: fn(&dyn Knowledge, usize) -> Option<f64>| {
        mean(around.clone().filter_map(|slot| pick(known, slot)))
    };
    Some((of(import_price)?, of(export_price)?))
}
