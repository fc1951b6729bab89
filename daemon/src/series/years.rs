//! Rows of one year laid onto the dates of another.
//!
//! Weather, load or draws of one year may be paired with the prices of
//! another. Each row keeps its date and time of day in universal time, so the
//! sun stands where it stood; weekdays shift.

use chrono::{DateTime, Datelike, NaiveDate};
use optimiser::time::{Instant, Slot};

use super::{Column, SeriesFile};

/// Seconds of a day.
const DAY: i64 = 86_400;

/// Most that local time is apart from universal time [s].
const ZONES: i64 = 14 * 3_600;

/// Where the rows of a series go on another span: the new start and the index of
/// each, in order of time. What the series covers itself keeps its own rows and gaps;
/// elsewhere the nearest year lends its own. A leap day that no year has repeats the
/// day before it.
pub(crate) fn laid_onto(starts: &[Instant], own: Slot, span: Slot) -> Vec<(Instant, usize)> {
    let years = year(span.start()) - 1..=year(span.end()) + 1;
    let mut placed: Vec<(Instant, i32, usize)> = Vec::new();
    for (index, start) in starts.iter().enumerate() {
        let from = year(*start);
        for wanted in years.clone() {
            let Some(moved) = in_year(*start, wanted) else { continue };
            let apart = 2 * (from - wanted).abs();
            let after = moved + DAY;
            let repeated = is_leap_day(after).then_some((after, apart + 1));
            placed.extend(
                [Some((moved, apart)), repeated]
                    .into_iter()
                    .flatten()
                    .filter(|(at, apart)| span.contains(*at) && (*apart == 0 || !own.contains(*at)))
                    .map(|(at, apart)| (at, apart, index)),
            );
        }
    }
    placed.sort_unstable();
    placed.dedup_by_key(|(start, _, _)| *start);
    placed.into_iter().map(|(start, _, index)| (start, index)).collect()
}

/// Whether a series has values of its own for all of a period, but for the hours at its
/// ends that time zones take.
pub(crate) fn covers(own: Slot, period: Slot) -> bool {
    let shared = own.overlap_seconds(period);
    shared > 0 && period.seconds() - shared <= ZONES
}

impl SeriesFile {
    /// This file with rows of other years laid onto what it does not cover of a span;
    /// `None` where it covers the period within that span itself.
    pub fn onto_years_of(&self, span: Slot, period: Slot) -> Option<Self> {
        let own = self.span();
        if covers(own, period) {
            return None;
        }
        let rows = laid_onto(&self.starts, own, span);
        if rows.len() < 2 {
            return None;
        }
        let column = |column: &Column| Column {
            values: rows.iter().map(|(_, index)| column.values[*index]).collect(),
            ..column.clone()
        };
        Some(Self {
            name: self.name.clone(),
            starts: rows.iter().map(|(start, _)| *start).collect(),
            step_seconds: self.step_seconds,
            columns: self.columns.iter().map(column).collect(),
            notices: self.notices.clone(),
        })
    }
}

fn date(instant: Instant) -> Option<NaiveDate> {
    DateTime::from_timestamp(instant.unix(), 0).map(|time| time.date_naive())
}

fn year(instant: Instant) -> i32 {
    date(instant).map_or(1970, |date| date.year())
}

/// The same date and time in another year; a leap day has none in a common year.
fn in_year(instant: Instant, year: i32) -> Option<Instant> {
    let from = date(instant)?;
    let to = from.with_year(year)?;
    Some(instant + (to - from).num_seconds())
}

fn is_leap_day(instant: Instant) -> bool {
    date(instant).is_some_and(|date| (date.month(), date.day()) == (2, 29))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local_time::parse_instant;

    fn at(text: &str) -> Instant {
        parse_instant(text).expect("an instant")
    }

    fn span(from: &str, to: &str) -> Slot {
        Slot::new(at(from), at(to)).expect("a span")
    }

    #[test]
    fn a_year_from_october_is_laid_onto_a_calendar_year() {
        let starts = [at("2024-10-01T00:00Z"), at("2025-01-01T00:00Z"), at("2025-09-30T00:00Z")];
        let own = span("2024-10-01T00:00Z", "2025-10-01T00:00Z");
        let rows = laid_onto(&starts, own, span("2023-01-01T00:00Z", "2024-01-01T00:00Z"));
        assert_eq!(
            rows,
            [
                (at("2023-01-01T00:00Z"), 1),
                (at("2023-09-30T00:00Z"), 2),
                (at("2023-10-01T00:00Z"), 0),
            ]
        );
    }

    // A year's file and a January after it: the days before, which are remembered, have
    // rows of their own, but those that count have none.
    #[test]
    fn days_that_count_take_the_rows_of_another_year() {
        let text = "start_utc,load_kwh\n2023-01-01T00:00Z,1\n2023-01-01T00:30Z,2\n\
                    2023-12-31T23:00Z,3\n2023-12-31T23:30Z,4\n";
        let file = super::super::read("load.csv", text.as_bytes(), super::super::Marks::AsNamed)
            .expect("a series");
        let slot = |from, to| Slot::new(at(from), at(to)).expect("a span");
        let span = slot("2023-12-01T00:00Z", "2024-01-05T00:00Z");
        let after = slot("2024-01-01T00:00Z", "2024-01-03T00:00Z");
        let moved = file.onto_years_of(span, after).expect("rows of another year");
        assert_eq!(
            moved.starts(),
            [
                at("2023-12-31T23:00Z"),
                at("2023-12-31T23:30Z"),
                at("2024-01-01T00:00Z"),
                at("2024-01-01T00:30Z"),
            ]
        );
        assert_eq!(file.onto_years_of(span, slot("2023-12-20T00:00Z", "2023-12-22T00:00Z")), None);
    }

    #[test]
    fn what_a_series_covers_keeps_its_rows_and_its_gaps() {
        let starts = [at("2022-12-30T00:00Z"), at("2023-06-01T00:00Z"), at("2023-12-31T00:00Z")];
        let own = span("2022-12-30T00:00Z", "2024-01-01T00:00Z");
        let rows = laid_onto(&starts, own, span("2023-05-01T00:00Z", "2024-07-01T00:00Z"));
        // 30 December 2023 stays a gap; June 2024 has the row of June 2023.
        assert_eq!(
            rows,
            [
                (at("2023-06-01T00:00Z"), 1),
                (at("2023-12-31T00:00Z"), 2),
                (at("2024-06-01T00:00Z"), 1),
            ]
        );
        assert!(covers(own, span("2023-12-01T00:00Z", "2024-01-01T01:00Z")));
        assert!(!covers(own, span("2023-12-01T00:00Z", "2024-01-03T00:00Z")));
        assert!(!covers(own, span("2024-01-01T00:00Z", "2024-01-02T00:00Z")));
    }

    #[test]
    fn a_leap_day_has_no_place_in_a_common_year() {
        let leap = at("2024-02-29T12:00Z");
        let own = span("2024-02-29T12:00Z", "2024-02-29T13:00Z");
        assert!(laid_onto(&[leap], own, span("2023-01-01T00:00Z", "2024-01-01T00:00Z")).is_empty());
        // And one that is missing has the hour of the day before it.
        let own = span("2023-02-28T12:00Z", "2023-02-28T13:00Z");
        let rows = laid_onto(&[own.start()], own, span("2024-02-01T00:00Z", "2024-03-09T00:00Z"));
        assert_eq!(rows, [(at("2024-02-28T12:00Z"), 0), (leap, 0)]);
    }
}
