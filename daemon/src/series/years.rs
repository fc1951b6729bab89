//! Rows of one year laid onto the dates of another.
//!
//! Weather, load or draws of one year may be paired with the prices of
//! another. Each row keeps its date and time of day in universal time, so the
//! sun stands where it stood; weekdays shift.

use chrono::{DateTime, Datelike, NaiveDate};
use optimiser::time::{Instant, Slot};

use super::{Column, SeriesFile};

/// Where the rows of a series go on another span: the new start and the index
/// of each, in order of time; the row's own year comes first where it has one.
pub(crate) fn laid_onto(starts: &[Instant], span: Slot) -> Vec<(Instant, usize)> {
    let years = year(span.start()) - 1..=year(span.end()) + 1;
    let mut placed: Vec<(Instant, i32, usize)> = Vec::new();
    for (index, start) in starts.iter().enumerate() {
        let own = year(*start);
        for wanted in years.clone() {
            if let Some(moved) = in_year(*start, wanted)
                && span.contains(moved)
            {
                placed.push((moved, (own - wanted).abs(), index));
            }
        }
    }
    placed.sort_unstable();
    placed.dedup_by_key(|(start, _, _)| *start);
    placed.into_iter().map(|(start, _, index)| (start, index)).collect()
}

impl SeriesFile {
    /// This file with its rows laid onto a span of other years; `None` where it
    /// covers some of the days in it that count itself.
    pub fn onto_years_of(&self, span: Slot, counted: Slot) -> Option<Self> {
        let own = self.span();
        if own.overlap_seconds(counted) > 0 {
            return None;
        }
        let rows = laid_onto(&self.starts, span);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local_time::parse_instant;

    fn at(text: &str) -> Instant {
        parse_instant(text).expect("an instant")
    }

    #[test]
    fn a_year_from_october_is_laid_onto_a_calendar_year() {
        let starts = [at("2024-10-01T00:00Z"), at("2025-01-01T00:00Z"), at("2025-09-30T00:00Z")];
        let span = Slot::new(at("2023-01-01T00:00Z"), at("2024-01-01T00:00Z")).expect("a span");
        let rows = laid_onto(&starts, span);
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
    fn a_leap_day_has_no_place_in_a_common_year() {
        let span = Slot::new(at("2023-01-01T00:00Z"), at("2024-01-01T00:00Z")).expect("a span");
        assert!(laid_onto(&[at("2024-02-29T12:00Z")], span).is_empty());
    }
}
