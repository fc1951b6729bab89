//! The one door through which forecasts see: what is known at an instant.

use crate::problem::Draw;
use crate::time::Slot;
use crate::units::{Energy, Flow, Price, Temperature};

/// What the local calendar and clock show when a slot begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    /// Local day, counted from any day on.
    pub day: i32,
    /// Local month, counted from any month on.
    pub month: i32,
    /// Whether the local day is a Saturday or Sunday.
    pub weekend: bool,
    /// Local time of day in half-hours, 0 to 47.
    pub half_hour: u8,
}

/// What is known when a half-hour begins: the past as it was measured, prices as
/// far as they are published, and what was agreed in advance.
///
/// Slots are half-hours, numbered in a calendar that reaches from the past that
/// is remembered to the last slot that a forecast is asked for. A replay answers
/// with a [`View`](crate::replay::View), the service with a
/// [`Diary`](super::Diary).
pub trait Knowledge {
    /// Index of the slot that begins now.
    fn now(&self) -> usize;

    /// A slot of the calendar, past or coming.
    fn slot(&self, index: usize) -> Slot;

    /// What clock and calendar show at a slot, past or coming.
    fn mark(&self, index: usize) -> Mark;

    /// The slot at the same local time a number of days before another.
    fn days_before(&self, slot: usize, days: usize) -> Option<usize>;

    /// Number of stores.
    fn stores(&self) -> usize;

    /// Unit rates of import and export in a slot, if they are published.
    fn prices(&self, slot: usize) -> (Option<Price>, Option<Price>);

    /// PV energy of a slot: measured, or known in advance.
    fn pv(&self, slot: usize) -> Option<Energy>;

    /// Base load of a slot: measured, or known in advance.
    fn base_load(&self, slot: usize) -> Option<Energy>;

    /// Litres at the tap from a store in a past slot, mixed at the temperature of
    /// its draws; `None` where nobody measured.
    fn litres(&self, store: usize, slot: usize) -> Option<f64>;

    /// Temperature and flow of the last draw from a store, if there was one.
    fn last_draw(&self, store: usize) -> Option<(Temperature, Flow)>;

    /// Draws to come within a number of slots, if they are known in advance.
    fn coming_draws(&self, slots: usize) -> Option<&[Draw]>;
}
