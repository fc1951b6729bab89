//! Instants as people read them.

use chrono_tz::Tz;
use optimiser::time::Instant;

use super::{Occurrence, local, occurrence, offset_seconds};

/// Day and time on the local clock, as `Sun 2 Jul 06:30`.
///
/// The offset is added, as in `Sun 26 Oct 01:30 (UTC+01:00)`, only where the
/// same reading comes twice because the clock goes back.
pub fn day_and_clock(instant: Instant, zone: Tz) -> String {
    format!("{}{}", local(instant, zone).format("%a %-d %b %H:%M"), fold_mark(instant, zone))
}

/// Time on the local clock, as `06:30`; with the offset where the reading comes
/// twice.
pub fn clock(instant: Instant, zone: Tz) -> String {
    format!("{}{}", local(instant, zone).format("%H:%M"), fold_mark(instant, zone))
}

fn fold_mark(instant: Instant, zone: Tz) -> String {
    let reading = local(instant, zone);
    match occurrence(reading.date(), reading.time(), zone) {
        Occurrence::Twice { .. } => {
            let offset = offset_seconds(instant, zone);
            let sign = if offset < 0 { '-' } else { '+' };
            let minutes = offset.abs() / 60;
            format!(" (UTC{sign}{:02}:{:02})", minutes / 60, minutes % 60)
        }
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local_time::parse_instant;

    fn at(text: &str) -> Instant {
        parse_instant(text).expect("an instant")
    }

    #[test]
    fn a_plain_day_shows_no_offset() {
        let instant = at("2023-07-02T05:30:00Z");
        assert_eq!(day_and_clock(instant, Tz::Europe__London), "Sun 2 Jul 06:30");
        assert_eq!(clock(instant, Tz::Europe__London), "06:30");
    }

    #[test]
    fn the_repeated_hour_shows_its_offset() {
        let texts = ["00:30", "01:30", "02:00"]
            .map(|time| day_and_clock(at(&format!("2025-10-26T{time}:00Z")), Tz::Europe__London));
        assert_eq!(
            texts,
            ["Sun 26 Oct 01:30 (UTC+01:00)", "Sun 26 Oct 01:30 (UTC+00:00)", "Sun 26 Oct 02:00"]
        );
        // Lord Howe repeats half an hour, 01:30 to 02:00.
        let lord_howe = |text| clock(at(text), Tz::Australia__Lord_Howe);
        assert_eq!(lord_howe("2025-04-05T14:45:00Z"), "01:45 (UTC+11:00)");
        assert_eq!(lord_howe("2025-04-05T15:15:00Z"), "01:45 (UTC+10:30)");
        assert_eq!(lord_howe("2025-04-05T15:30:00Z"), "02:00");
    }
}
