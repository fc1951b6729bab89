//! A year whose months may come from different years, kept by local standard
//! time and laid onto the dates asked for.

use optimiser::time::{Instant, Slot, civil};
use optimiser::units::{Fraction, UnitError};

use super::Conditions;
use super::fault::Faults;

/// Days before each month of a leap year, and in all.
const DAYS_BEFORE: [usize; 13] = [0, 31, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335, 366];
const HOUR: i64 = 3_600;

/// Hourly weather by month, day and hour of local standard time.
#[derive(Debug, Clone, PartialEq)]
pub struct TypicalYear {
    /// Local standard time minus UTC [s].
    utc_offset: i64,
    /// The hours of a leap year; those the record lacks are `None`.
    hours: Vec<Option<Conditions>>,
}

impl TypicalYear {
    pub(super) fn new(utc_offset: i64) -> Self {
        Self { utc_offset, hours: vec![None; DAYS_BEFORE[12] * 24] }
    }

    /// Local standard time minus UTC [s].
    pub fn utc_offset(&self) -> i64 {
        self.utc_offset
    }

    /// Hours that the record states.
    pub fn stated_hours(&self) -> usize {
        self.hours.iter().flatten().count()
    }

    /// The rows that share time with a span. A leap day that the record lacks
    /// repeats the day before it.
    pub(super) fn over(&self, span: Slot) -> Vec<(Slot, Conditions)> {
        let first = (span.start().unix() + self.utc_offset).div_euclid(HOUR);
        let past = (span.end().unix() + self.utc_offset + HOUR - 1).div_euclid(HOUR);
        (first..past)
            .filter_map(|hour| {
                let (_, month, day) = civil(hour.div_euclid(24));
                let hour_of_day = hour.rem_euclid(24) as usize;
                let at =
                    |day: i64| self.hours[hour_index(month as usize, day as usize, hour_of_day)];
                let leap_day = (month, day) == (2, 29);
                let conditions = at(day).or_else(|| if leap_day { at(28) } else { None })?;
                let start = Instant::from_unix(hour * HOUR - self.utc_offset);
                Some((Slot::new(start, start + HOUR)?, conditions))
            })
            .collect()
    }

    /// Takes a row with its hour-ending stamp, the hours counting from 1 to 24.
    pub(super) fn insert(
        &mut self,
        stamp: &Stamp<'_>,
        conditions: Conditions,
        faults: &mut Faults,
    ) {
        let number = |text: &str| text.trim().parse::<usize>().ok();
        let date = number(stamp.month).zip(number(stamp.day)).filter(|&(month, day)| {
            (1..=12).contains(&month)
                && (1..=DAYS_BEFORE[month] - DAYS_BEFORE[month - 1]).contains(&day)
        });
        let Some((month, day)) = date else {
            let value = format!("{}/{}", stamp.month, stamp.day);
            faults.add(
                stamp.row,
                "month/day",
                &value,
                "not a date",
                "state month 1 to 12 and a day of it",
            );
            return;
        };
        let Some(hour) = number(stamp.hour).filter(|hour| (1..=24).contains(hour)) else {
            faults.add(
                stamp.row,
                "hour",
                stamp.hour,
                "not an hour from 1 to 24",
                "state the hour at whose end the row stands",
            );
            return;
        };
        if self.hours[hour_index(month, day, hour - 1)].replace(conditions).is_some() {
            let value = format!("{month}/{day} hour {hour}");
            faults.add(stamp.row, "hour", &value, "stated before", "leave each hour in once");
        }
    }
}

/// When a row stands for, as the file writes it.
pub(super) struct Stamp<'a> {
    pub(super) row: usize,
    pub(super) month: &'a str,
    pub(super) day: &'a str,
    pub(super) hour: &'a str,
}

/// Seconds ahead of UTC from the hours in a file's header.
pub(super) fn utc_offset(row: usize, text: &str, faults: &mut Faults) -> Option<i64> {
    let hours = text.trim().parse::<f64>().ok().filter(|hours| hours.abs() <= 14.0);
    if hours.is_none() {
        faults.add(
            row,
            "time zone",
            text,
            "not an offset from -14 to 14 hours",
            "state the hours that local standard time is ahead of UTC",
        );
    }
    hours.map(|hours| (hours * 3_600.0).round() as i64)
}

/// Relative humidity from per cent; records of fog up to 110 % count as full.
pub(super) fn humidity(percent: f64) -> Result<Fraction, UnitError> {
    let share = percent / 100.0;
    Fraction::new(if (1.0..=1.1).contains(&share) { 1.0 } else { share })
}

fn hour_index(month: usize, day: usize, hour: usize) -> usize {
    (DAYS_BEFORE[month - 1] + day - 1) * 24 + hour
}
