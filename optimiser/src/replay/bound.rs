//! What could have been done knowing everything.

use super::{Stage, StoredWorth};
use crate::problem::State;

/// The answer of a program that knows the whole period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// Cost, counted as in [`super::Ledger::cost`] [minor].
    pub cost: f64,
    /// Draw heat it leaves unmet [kWh].
    pub unmet_kwh: f64,
    /// Programs that the period was cut into.
    pub pieces: usize,
}

/// The least cost of the period for somebody who knows all of it.
pub fn prescient(_stage: &Stage<'_>, _start: &State, _worth: StoredWorth) -> Option<Bound> {
    None
}
