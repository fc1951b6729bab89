//! Instants as local time.

use chrono::offset::LocalResult;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, SecondsFormat, TimeZone, Timelike};
use chrono_tz::Tz;
use optimiser::time::Instant;

/// An instant on the clock of a zone.
///
/// # Panics
/// If the instant is outside the years that a calendar covers.
pub(super) fn local(zone: Tz, instant: Instant) -> DateTime<Tz> {
    zone.timestamp_opt(instant.unix(), 0).single().expect("an instant within calendar years")
}

/// RFC 3339 with the zone's offset.
pub(crate) fn rfc_3339(zone: Tz, instant: Instant) -> String {
    local(zone, instant).to_rfc3339_opts(SecondsFormat::Secs, false)
}

/// `13:00`.
pub(super) fn clock(zone: Tz, instant: Instant) -> String {
    local(zone, instant).format("%H:%M").to_string()
}

/// `13:00`; with the zone's abbreviation where the hour comes twice.
pub(crate) fn clear_clock(zone: Tz, instant: Instant) -> String {
    let time = local(zone, instant);
    let twice = matches!(zone.from_local_datetime(&time.naive_local()), LocalResult::Ambiguous(..));
    time.format(if twice { "%H:%M %Z" } else { "%H:%M" }).to_string()
}

/// `13:00`, with the day where it is not the day of `seen_from`.
pub(super) fn when(zone: Tz, instant: Instant, seen_from: Instant) -> String {
    let clock = clear_clock(zone, instant);
    if date(zone, instant) == date(zone, seen_from) {
        clock
    } else {
        format!("{clock} on {}", short_day(zone, instant))
    }
}

/// `Sun 2 Jul`.
pub(super) fn short_day(zone: Tz, instant: Instant) -> String {
    local(zone, instant).format("%a %-d %b").to_string()
}

/// `Sunday 2 July 2023`, and how the day differs from 24 hours.
pub(super) fn long_day(zone: Tz, instant: Instant) -> String {
    let name = local(zone, instant).format("%A %-d %B %Y").to_string();
    match hours_in_day(zone, date(zone, instant)) {
        Some(hours) if hours > 24 => format!("{name} · {hours} hours, clocks go back"),
        Some(hours) if hours < 24 => format!("{name} · {hours} hours, clocks go forward"),
        _ => name,
    }
}

/// Local date.
pub(super) fn date(zone: Tz, instant: Instant) -> NaiveDate {
    local(zone, instant).date_naive()
}

/// Whole hours of a local date, where both its midnights exist.
pub(super) fn hours_in_day(zone: Tz, date: NaiveDate) -> Option<i64> {
    let midnight = |date: NaiveDate| zone.from_local_datetime(&date.and_time(NaiveTime::MIN));
    let next = midnight(date.checked_add_days(Days::new(1))?).earliest()?;
    Some((next - midnight(date).earliest()?).num_hours())
}

/// Instants in `[from, until)` at which the local clock shows a full hour,
/// with that hour.
pub(super) fn full_hours(zone: Tz, from: Instant, until: Instant) -> Vec<(Instant, u32)> {
    const QUARTER: i64 = 900;
    let first = from.unix().div_euclid(QUARTER) * QUARTER;
    (0..)
        .map(|step| Instant::from_unix(first + step * QUARTER))
        .skip_while(|&at| at < from)
        .take_while(|&at| at < until)
        .filter_map(|at| {
            let time = local(zone, at);
            (time.minute() == 0).then(|| (at, time.hour()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const BERLIN: Tz = chrono_tz::Europe::Berlin;
    /// 2023-10-29T00:00 in Berlin.
    const AUTUMN: Instant = Instant::from_unix(1_698_530_400);

    #[test]
    fn the_hour_that_comes_twice_names_its_zone() {
        assert_eq!(clear_clock(BERLIN, AUTUMN + 9_000), "02:30 CEST");
        assert_eq!(clear_clock(BERLIN, AUTUMN + 12_600), "02:30 CET");
        assert_eq!(rfc_3339(BERLIN, AUTUMN + 12_600), "2023-10-29T02:30:00+01:00");
    }

    #[test]
    fn a_long_day_has_25_full_hours() {
        assert_eq!(long_day(BERLIN, AUTUMN), "Sunday 29 October 2023 · 25 hours, clocks go back");
        let hours = full_hours(BERLIN, AUTUMN, AUTUMN + 25 * 3_600);
        assert_eq!(hours.len(), 25);
        assert_eq!(hours.iter().filter(|(_, hour)| *hour == 2).count(), 2);
    }

    #[test]
    fn a_quarter_hour_zone_has_full_hours_too() {
        let hours = full_hours(chrono_tz::Asia::Kathmandu, AUTUMN, AUTUMN + 2 * 3_600);
        assert_eq!(hours.len(), 2);
    }

    #[test]
    fn another_day_is_named() {
        assert_eq!(when(BERLIN, AUTUMN + 90_000, AUTUMN), "00:00 on Mon 30 Oct");
        assert_eq!(when(BERLIN, AUTUMN + 46_800, AUTUMN), "12:00");
    }
}
