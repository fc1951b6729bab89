//! Local time: the only place where wall-clock readings become instants.
//!
//! A local day is a span between two instants, so it has 46, 48 or 50
//! half-hours without anything counting them. No reading is ever assumed to
//! happen exactly once: see [`Occurrence`].

mod instant;
mod text;

pub use instant::{InstantError, parse_instant};
pub use text::{clock, day_and_clock};

use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone};
use chrono_tz::Tz;
use optimiser::time::{Horizon, Instant, Slot};

/// When a wall clock shows a given date and time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Occurrence {
    /// It happens once, as on most days.
    Once(Instant),
    /// The clock went back over it, so it happens twice.
    Twice {
        /// Before the clock went back.
        first: Instant,
        /// After the clock went back.
        second: Instant,
    },
    /// The clock was put forward over it, so it never happens.
    Skipped {
        /// The first instant after the gap.
        after: Instant,
    },
}

impl Occurrence {
    /// The instant to act on where only one is wanted: the first of two, and
    /// the first instant after a gap. A promise "by 01:30" is thus kept early
    /// rather than late in the night of 25 hours.
    pub const fn first(self) -> Instant {
        match self {
            Self::Once(instant)
            | Self::Twice { first: instant, .. }
            | Self::Skipped { after: instant } => instant,
        }
    }

    /// The second of two, otherwise the same as [`first`](Self::first).
    pub const fn last(self) -> Instant {
        match self {
            Self::Twice { second, .. } => second,
            _ => self.first(),
        }
    }
}

/// When the clock of a zone shows `time` on `date`.
pub fn occurrence(date: NaiveDate, time: NaiveTime, zone: Tz) -> Occurrence {
    const DAY: i64 = 86_400;
    let wanted = date.and_time(time).and_utc().timestamp();
    let shown = |unix: i64| unix + offset_seconds(Instant::from_unix(unix), zone);
    // The offsets in force a day before and a day after are the only two that
    // can apply, as no zone changes its clock twice within that time.
    let guess = |probe: i64| wanted - offset_seconds(Instant::from_unix(probe), zone);
    let (before, after) = (guess(wanted - DAY), guess(wanted + DAY));
    match (shown(before) == wanted, shown(after) == wanted) {
        (true, true) if before != after => Occurrence::Twice {
            first: Instant::from_unix(before.min(after)),
            second: Instant::from_unix(before.max(after)),
        },
        (true, _) => Occurrence::Once(Instant::from_unix(before)),
        (_, true) => Occurrence::Once(Instant::from_unix(after)),
        (false, false) => {
            let (mut early, mut late) = (wanted - 2 * DAY, wanted + 2 * DAY);
            while late - early > 1 {
                let middle = early + (late - early) / 2;
                if shown(middle) < wanted { early = middle } else { late = middle }
            }
            Occurrence::Skipped { after: Instant::from_unix(late) }
        }
    }
}

/// The date that the clock of a zone shows.
pub fn local_date(instant: Instant, zone: Tz) -> NaiveDate {
    local(instant, zone).date()
}

/// The time of day that the clock of a zone shows.
pub fn time_of_day(instant: Instant, zone: Tz) -> NaiveTime {
    local(instant, zone).time()
}

/// The span of a local day, from its midnight to the next; `None` for a date
/// that the zone left out, as Samoa did with 30 December 2011.
pub fn day(date: NaiveDate, zone: Tz) -> Option<Slot> {
    let tomorrow = date.checked_add_days(Days::new(1))?;
    Slot::new(
        occurrence(date, NaiveTime::MIN, zone).first(),
        occurrence(tomorrow, NaiveTime::MIN, zone).first(),
    )
}

/// The slots of a local day, cut every `seconds` from local midnight; empty for
/// a date that does not exist and for a length that is not positive. Where the
/// length does not divide the day, as with hours in a day of 24½, the last slot
/// is shorter.
pub fn day_slots(date: NaiveDate, zone: Tz, seconds: i64) -> Vec<Slot> {
    match day(date, zone) {
        Some(day) if seconds > 0 => (0..)
            .map(|i| day.start() + i * seconds)
            .map_while(|start| Slot::new(start, day.end().min(start + seconds)))
            .collect(),
        _ => Vec::new(),
    }
}

/// The horizon from one instant to another on the grid of local days: the first
/// slot is what is left of the slot in progress. `None` if it would be empty.
pub fn horizon(from: Instant, until: Instant, zone: Tz, seconds: i64) -> Option<Horizon> {
    let last = local_date(until, zone).checked_add_days(Days::new(1))?;
    let slots = local_date(from, zone)
        .checked_sub_days(Days::new(1))?
        .iter_days()
        .take_while(|date| *date <= last)
        .flat_map(|date| day_slots(date, zone, seconds))
        .filter_map(|slot| Slot::new(slot.start().max(from), slot.end().min(until)))
        .collect();
    Horizon::new(slots).ok()
}

/// What the clock of a zone is ahead of universal time \[s\].
pub fn offset_seconds(instant: Instant, zone: Tz) -> i64 {
    i64::from(zone.offset_from_utc_datetime(&utc(instant)).fix().local_minus_utc())
}

/// The reading of the clock of a zone.
fn local(instant: Instant, zone: Tz) -> NaiveDateTime {
    utc(instant + offset_seconds(instant, zone))
}

/// The reading of a clock in universal time. Instants some hundred thousand
/// years away, which chrono cannot express, are moved to the edge.
fn utc(instant: Instant) -> NaiveDateTime {
    const EDGE: i64 = 4_000_000_000_000;
    DateTime::from_timestamp(instant.unix().clamp(-EDGE, EDGE), 0)
        .expect("instants within the edge are in chrono's range")
        .naive_utc()
}

#[cfg(test)]
mod tests;
