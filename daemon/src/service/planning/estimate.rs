//! What is in the stores, as the schedule that is out leads to expect it.

pub use optimiser::estimate::{Estimate, Profile, Sight, resampled, seen};
use optimiser::time::Instant;

use super::making::Made;

/// The stores by a schedule's own simulation at an instant; `None` outside it.
pub fn expected(made: &Made, now: Instant) -> Option<Vec<Profile>> {
    optimiser::estimate::expected(&made.problem, &made.schedule, now)
}

/// The battery by a schedule at an instant [kWh].
pub fn expected_battery(made: &Made, now: Instant) -> Option<f64> {
    optimiser::estimate::expected_battery(&made.problem, &made.schedule, now)
}
