//! Instants, half-open slots of any length, and series that fit a horizon.
//!
//! Local time does not exist here: a day of 46 or 50 half-hours is a horizon
//! like any other.

use std::fmt;
use std::ops::{Add, Sub};

/// An instant in universal time, in whole seconds since 1970-01-01T00:00Z.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(i64);

impl Instant {
    /// From seconds since 1970-01-01T00:00Z.
    pub const fn from_unix(seconds: i64) -> Self {
        Self(seconds)
    }

    /// Seconds since 1970-01-01T00:00Z.
    pub const fn unix(self) -> i64 {
        self.0
    }

    /// Hours from `earlier` to this instant; negative if it is later.
    pub fn hours_since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / 3_600.0
    }
}

impl Add<i64> for Instant {
    type Output = Self;
    fn add(self, seconds: i64) -> Self {
        Self(self.0 + seconds)
    }
}

impl Sub for Instant {
    type Output = i64;
    fn sub(self, other: Self) -> i64 {
        self.0 - other.0
    }
}

/// A half-open span of time `[start, end)` that is never empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slot {
    start: Instant,
    end: Instant,
}

impl Slot {
    /// Makes a slot; `None` unless `start < end`.
    pub fn new(start: Instant, end: Instant) -> Option<Self> {
        (start < end).then_some(Self { start, end })
    }

    /// First instant of the slot.
    pub const fn start(self) -> Instant {
        self.start
    }

    /// First instant after the slot.
    pub const fn end(self) -> Instant {
        self.end
    }

    /// Length [h].
    pub fn hours(self) -> f64 {
        self.end.hours_since(self.start)
    }

    /// Length [s].
    pub fn seconds(self) -> i64 {
        self.end - self.start
    }

    /// Whether the instant lies in the slot.
    pub fn contains(self, instant: Instant) -> bool {
        self.start <= instant && instant < self.end
    }

    /// The span that two slots share, if any.
    pub fn intersection(self, other: Self) -> Option<Self> {
        Self::new(self.start.max(other.start), self.end.min(other.end))
    }

    /// Seconds that two slots share.
    pub fn overlap_seconds(self, other: Self) -> i64 {
        (self.end.min(other.end) - self.start.max(other.start)).max(0)
    }
}

/// Why slots do not form a horizon, or a series does not fit one.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// There is no slot.
    #[error("the horizon has no slot")]
    Empty,
    /// A slot does not begin where the one before it ends.
    #[error("slot {index} does not begin where slot {before} ends", before = index - 1)]
    NotContiguous {
        /// Index of the later slot.
        index: usize,
    },
    /// A series has another number of values than the horizon has slots.
    #[error("{what} has {values} values for {slots} slots")]
    Length {
        /// Name of the series.
        what: &'static str,
        /// Values in the series.
        values: usize,
        /// Slots in the horizon.
        slots: usize,
    },
}

/// Contiguous slots of possibly different lengths, at least one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Horizon(Vec<Slot>);

impl Horizon {
    /// Checks that the slots touch.
    ///
    /// # Errors
    /// If there is no slot, or a gap or overlap between two.
    pub fn new(slots: Vec<Slot>) -> Result<Self, TimeError> {
        if slots.is_empty() {
            return Err(TimeError::Empty);
        }
        match slots.windows(2).position(|pair| pair[0].end != pair[1].start) {
            Some(index) => Err(TimeError::NotContiguous { index: index + 1 }),
            None => Ok(Self(slots)),
        }
    }

    /// A number of slots of equal length [s] from an instant.
    ///
    /// # Errors
    /// If `count` or `seconds` is not positive.
    pub fn regular(start: Instant, seconds: i64, count: usize) -> Result<Self, TimeError> {
        let slots = (0..count as i64)
            .filter_map(|i| Slot::new(start + i * seconds, start + (i + 1) * seconds))
            .collect();
        Self::new(slots)
    }

    /// The slots in order.
    pub fn slots(&self) -> &[Slot] {
        &self.0
    }

    /// Number of slots.
    #[expect(clippy::len_without_is_empty, reason = "a horizon is never empty")]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// First instant.
    pub fn start(&self) -> Instant {
        self.0[0].start
    }

    /// First instant after the last slot.
    pub fn end(&self) -> Instant {
        self.0[self.0.len() - 1].end
    }

    /// Index of the slot that holds an instant.
    pub fn index_at(&self, instant: Instant) -> Option<usize> {
        let index = self.0.partition_point(|slot| slot.end <= instant);
        self.0.get(index).filter(|slot| slot.contains(instant)).map(|_| index)
    }
}

/// One value for each slot of a horizon.
#[derive(Debug, Clone, PartialEq)]
pub struct Series<T>(Vec<T>);

impl<T: Copy> Series<T> {
    /// Takes values that fit the horizon.
    ///
    /// # Errors
    /// If the lengths differ; `what` names the series in the message.
    pub fn new(what: &'static str, horizon: &Horizon, values: Vec<T>) -> Result<Self, TimeError> {
        if values.len() == horizon.len() {
            Ok(Self(values))
        } else {
            Err(TimeError::Length { what, values: values.len(), slots: horizon.len() })
        }
    }

    /// The same value in every slot.
    pub fn constant(horizon: &Horizon, value: T) -> Self {
        Self(vec![value; horizon.len()])
    }

    /// The values in order.
    pub fn values(&self) -> &[T] {
        &self.0
    }
}

impl<T> std::ops::Index<usize> for Series<T> {
    type Output = T;
    fn index(&self, slot: usize) -> &T {
        &self.0[slot]
    }
}

impl fmt::Display for Instant {
    /// RFC 3339 in UTC, as `2023-07-02T05:00:00Z`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let days = self.0.div_euclid(86_400);
        let second = self.0.rem_euclid(86_400);
        let (year, month, day) = civil(days);
        write!(
            f,
            "{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z",
            second / 3_600,
            second / 60 % 60,
            second % 60
        )
    }
}

/// Proleptic Gregorian date of a day counted from 1970-01-01, by Howard
/// Hinnant, "chrono-Compatible Low-Level Date Algorithms", 2021.
pub fn civil(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let era = shifted.div_euclid(146_097);
    let day_of_era = shifted.rem_euclid(146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_index = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_index + 2) / 5 + 1;
    let month = if month_index < 10 { month_index + 3 } else { month_index - 9 };
    (year_of_era + era * 400 + i64::from(month <= 2), month, day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_reads_as_rfc_3339() {
        assert_eq!(Instant::from_unix(0).to_string(), "1970-01-01T00:00:00Z");
        assert_eq!(Instant::from_unix(1_688_274_000).to_string(), "2023-07-02T05:00:00Z");
        assert_eq!(Instant::from_unix(1_709_164_800).to_string(), "2024-02-29T00:00:00Z");
    }

    #[test]
    fn slots_with_a_gap_are_no_horizon() {
        let slot = |a, b| Slot::new(Instant::from_unix(a), Instant::from_unix(b)).expect("a slot");
        let gap = Horizon::new(vec![slot(0, 1_800), slot(3_600, 5_400)]);
        assert_eq!(gap, Err(TimeError::NotContiguous { index: 1 }));
        assert_eq!(Horizon::new(vec![]), Err(TimeError::Empty));
    }

    #[test]
    fn a_short_first_slot_is_found_by_its_instants() {
        let slot = |a, b| Slot::new(Instant::from_unix(a), Instant::from_unix(b)).expect("a slot");
        let horizon = Horizon::new(vec![slot(600, 1_800), slot(1_800, 3_600)]).expect("touching");
        assert_eq!(horizon.index_at(Instant::from_unix(600)), Some(0));
        assert_eq!(horizon.index_at(Instant::from_unix(1_800)), Some(1));
        assert_eq!(horizon.index_at(Instant::from_unix(3_600)), None);
        assert_eq!(horizon.index_at(Instant::from_unix(599)), None);
    }

    #[test]
    fn a_series_must_fit() {
        let horizon = Horizon::regular(Instant::from_unix(0), 1_800, 2).expect("two slots");
        assert!(Series::new("prices", &horizon, vec![1.0]).is_err());
    }
}
