//! Prices beyond publication: similar days, several windows blended.
//!
//! Averaging short and long windows is the robust choice of Marcjasz, Serafin
//! and Weron, "Selection of calibration windows for day-ahead electricity price
//! forecasting", Energies 11:2364, 2018, doi:10.3390/en11092364.

use super::mean;
use crate::replay::View;
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
pub fn prices(view: &View<'_>, slots: usize) -> Option<Vec<Expected>> {
    let now = view.now();
    let mut similar: Vec<Option<(Price, Price)>> = vec![None; 96];
    let mut found = Vec::with_capacity(slots);
    let mut level = None;
    for slot in now..now + slots {
        if let (Some(import), Some(export)) = view.prices(slot) {
            found.push(Expected { import, export, published: true });
            continue;
        }
        let mark = view.mark(slot);
        let key = usize::from(mark.half_hour) + 48 * usize::from(mark.weekend);
        if similar[key].is_none() {
            let (import, export) =
                match (blend(view, slot, import_price), blend(view, slot, export_price)) {
                    (Some(import), Some(export)) => (import, export),
                    _ => match level {
                        Some(level) => level,
                        None => *level.insert(known_mean(view, slots)?),
                    },
                };
            similar[key] = Some((Price::clamped(import), Price::clamped(export)));
        }
        let (import, export) = similar[key]?;
        found.push(Expected { import, export, published: false });
    }
    Some(found)
}

fn import_price(view: &View<'_>, slot: usize) -> Option<f64> {
    view.prices(slot).0.map(Price::per_kwh)
}

fn export_price(view: &View<'_>, slot: usize) -> Option<f64> {
    view.prices(slot).1.map(Price::per_kwh)
}

fn blend(view: &View<'_>, slot: usize, pick: fn(&View<'_>, usize) -> Option<f64>) -> Option<f64> {
    let weekend = view.mark(slot).weekend;
    // Newest first; a slot beyond the coming days has some that are unknown too.
    let known: Vec<(bool, f64)> = (1..=36)
        .filter_map(|days| {
            let before = view.days_before(slot, days)?;
            Some((view.mark(before).weekend == weekend, pick(view, before)?))
        })
        .collect();
    let windows = WINDOWS.into_iter().map(|days| mean(known.iter().take(days).map(|k| k.1)));
    let alike = mean(known.iter().filter(|k| k.0).take(4).map(|k| k.1));
    mean(windows.chain([alike]).flatten())
}

/// Mean of every price known around now.
fn known_mean(view: &View<'_>, slots: usize) -> Option<(f64, f64)> {
    let around = view.now().saturating_sub(48 * 28)..view.now() + slots;
    let of = |pick: fn(&View<'_>, usize) -> Option<f64>| {
        mean(around.clone().filter_map(|slot| pick(view, slot)))
    };
    Some((of(import_price)?, of(export_price)?))
}
