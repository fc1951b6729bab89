//! The slots of a plan and of the days after it.

use optimiser::time::{Horizon, Instant, Slot};

use crate::house::House;
use crate::local_time;
use crate::tariff::Rates;

use super::Known;

/// Hours that are planned.
const PLAN_HOURS: i64 = 48;

/// Hours from which slots are longer.
const FINE_HOURS: i64 = 36;

/// Hours after the plan that its end is valued by.
const AHEAD_HOURS: i64 = 48;

/// Length of later slots [s].
const COARSE: i64 = 3_600;

/// Length of a slot where no price series sets it [s].
const HALF_HOUR: i64 = 1_800;

const HOUR: i64 = 3_600;

/// The slots to plan, and all slots that are looked at.
pub(super) struct Spans {
    pub(super) horizon: Horizon,
    /// The horizon and after it the slots that value its end.
    pub(super) all: Horizon,
}

/// The slots for a plan made at an instant: as long as the prices' own for a
/// day and a half, then hours; the first is what is left of the one in progress.
pub(super) fn spans(house: &House, known: &Known, at: Instant) -> Option<Spans> {
    let zone = house.time_zone;
    let indexed = [&house.tariff.import, &house.tariff.export]
        .into_iter()
        .any(|rates| matches!(rates, Rates::Indexed(_)));
    // Prices by the hour are still planned by the half-hour: a draw knows no hour.
    let step = if indexed && known.price_step_seconds > 0 {
        known.price_step_seconds.min(HALF_HOUR)
    } else {
        HALF_HOUR
    };
    let fine_until = whole_hour(at + FINE_HOURS * HOUR);
    let end = whole_hour(at + PLAN_HOURS * HOUR);
    let mut slots: Vec<Slot> = local_time::horizon(at, fine_until, zone, step)?.slots().to_vec();
    let coarse = |from, until| {
        Some(Horizon::regular(from, COARSE, hours_between(from, until)).ok()?.slots().to_vec())
    };
    slots.extend(coarse(fine_until, end)?);
    let horizon = Horizon::new(slots.clone()).ok()?;
    slots.extend(coarse(end, end + AHEAD_HOURS * HOUR)?);
    Some(Spans { horizon, all: Horizon::new(slots).ok()? })
}

fn whole_hour(instant: Instant) -> Instant {
    Instant::from_unix(instant.unix().div_euclid(HOUR) * HOUR + HOUR)
}

fn hours_between(from: Instant, until: Instant) -> usize {
    usize::try_from((until - from) / HOUR).unwrap_or(0)
}
