//! Reads instants from text.

use chrono::{NaiveDate, NaiveTime};
use optimiser::time::Instant;

/// Why a text is not an instant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InstantError {
    /// A date and time of which the offset is not known.
    #[error("{text:?} {}; {}", self.rule(), self.remedy())]
    Naive {
        /// The text as it arrived.
        text: String,
    },
    /// Not a date and time in RFC 3339.
    #[error("{text:?} {}; {}", self.rule(), self.remedy())]
    Malformed {
        /// The text as it arrived.
        text: String,
    },
    /// A date or time that no calendar or clock shows.
    #[error("{text:?} {}; {}", self.rule(), self.remedy())]
    Impossible {
        /// The text as it arrived.
        text: String,
    },
}

impl InstantError {
    /// What is wrong with the text.
    pub const fn rule(&self) -> &'static str {
        match self {
            Self::Naive { .. } => "has no offset, so it could be any of several instants",
            Self::Malformed { .. } => "is not a date and time",
            Self::Impossible { .. } => "is not in the calendar",
        }
    }

    /// What to write instead.
    pub fn remedy(&self) -> String {
        match self {
            Self::Naive { text } => format!(
                "add Z if it is universal time ({text}Z), or the offset of the local clock then \
                 ({text}+01:00)"
            ),
            Self::Malformed { .. } => "write RFC 3339 in whole seconds, such as \
                2025-07-02T05:30:00Z or 2025-07-02T06:30:00+01:00"
                .into(),
            Self::Impossible { .. } => "check day, hour, minute and offset".into(),
        }
    }
}

/// Reads an instant: RFC 3339 with an offset or `Z`. A space for the `T`, left
/// out seconds and an offset without colon are accepted.
///
/// # Errors
/// If the offset is missing, the text has another form, or the date or time
/// does not exist.
pub fn parse_instant(text: &str) -> Result<Instant, InstantError> {
    let text = text.trim();
    let malformed = || InstantError::Malformed { text: text.into() };
    let impossible = || InstantError::Impossible { text: text.into() };

    let mut rest = text.as_bytes();
    let year = digits(&mut rest, 4).ok_or_else(malformed)?;
    let month = after(&mut rest, b"-", 2).ok_or_else(malformed)?;
    let day = after(&mut rest, b"-", 2).ok_or_else(malformed)?;
    let hour = after(&mut rest, b"Tt ", 2).ok_or_else(malformed)?;
    let minute = after(&mut rest, b":", 2).ok_or_else(malformed)?;
    let second = after(&mut rest, b":", 2).unwrap_or(0);
    if let Some(fraction) = rest.strip_prefix(b".") {
        let zeros = fraction.iter().take_while(|byte| **byte == b'0').count();
        if zeros == 0 {
            return Err(malformed());
        }
        rest = &fraction[zeros..];
    }
    let offset = match rest {
        [] => return Err(InstantError::Naive { text: text.into() }),
        b"Z" | b"z" => 0,
        [sign @ (b'+' | b'-'), zone @ ..] => {
            let mut zone = zone;
            let hours = digits(&mut zone, 2).ok_or_else(malformed)?;
            zone = zone.strip_prefix(b":").unwrap_or(zone);
            let minutes = digits(&mut zone, 2).ok_or_else(malformed)?;
            if !zone.is_empty() {
                return Err(malformed());
            }
            if hours > 23 || minutes > 59 {
                return Err(impossible());
            }
            let seconds = i64::from(hours * 3_600 + minutes * 60);
            if *sign == b'-' { -seconds } else { seconds }
        }
        _ => return Err(malformed()),
    };
    let date = NaiveDate::from_ymd_opt(year as i32, month, day).ok_or_else(impossible)?;
    let time = NaiveTime::from_hms_opt(hour, minute, second).ok_or_else(impossible)?;
    Ok(Instant::from_unix(date.and_time(time).and_utc().timestamp() - offset))
}

/// Takes exactly `count` digits off the front.
fn digits(rest: &mut &[u8], count: usize) -> Option<u32> {
    let (head, tail) = rest.split_at_checked(count)?;
    let number = head.iter().try_fold(0, |number, byte| {
        byte.is_ascii_digit().then(|| number * 10 + u32::from(byte - b'0'))
    })?;
    *rest = tail;
    Some(number)
}

/// Takes one of the separators and then exactly `count` digits off the front,
/// or nothing.
fn after(rest: &mut &[u8], separators: &[u8], count: usize) -> Option<u32> {
    let (first, mut tail) = rest.split_first()?;
    if !separators.contains(first) {
        return None;
    }
    let number = digits(&mut tail, count)?;
    *rest = tail;
    Some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_instant_in_many_spellings() {
        for text in [
            "2023-07-02T05:00:00Z",
            "2023-07-02t05:00:00z",
            "2023-07-02 05:00:00Z",
            "2023-07-02T05:00Z",
            "2023-07-02T05:00:00.000Z",
            "2023-07-02T06:00:00+01:00",
            "2023-07-02T06:00+0100",
            "2023-07-01T19:30:00-09:30",
            " 2023-07-02T05:00:00-00:00 ",
        ] {
            assert_eq!(parse_instant(text), Ok(Instant::from_unix(1_688_274_000)), "{text}");
        }
    }

    #[test]
    fn a_naive_time_is_refused_with_the_remedy() {
        for text in ["2025-10-26T01:30:00", "2025-10-26 01:30"] {
            let error = parse_instant(text).expect_err("no offset");
            assert!(matches!(error, InstantError::Naive { .. }), "{error}");
            assert!(error.to_string().contains(&format!("{text}Z")), "{error}");
            assert!(error.to_string().contains(&format!("{text}+01:00")), "{error}");
        }
    }

    #[test]
    fn other_forms_are_refused() {
        for text in [
            "",
            "02/07/2025 06:30",
            "2025-07-02",
            "2025-7-2T06:30:00Z",
            "1688274000",
            "2025-07-02T06:30:00 BST",
            "2025-07-02T06:30:00.5Z",
            "2025-07-02T06:30:00+1",
            "2025-07-02T06:30:00+01:000",
            "2025-07-02T06:30:00Zulu",
            "٢٠٢٥-07-02T06:30:00Z",
        ] {
            let error = parse_instant(text).expect_err(text);
            assert!(matches!(error, InstantError::Malformed { .. }), "{error}");
        }
    }

    #[test]
    fn dates_and_times_that_do_not_exist_are_refused() {
        for text in [
            "2025-02-29T00:00:00Z",
            "2025-07-02T24:00:00Z",
            "2025-13-01T00:00Z",
            "2025-07-02T06:30+24:00",
        ] {
            let error = parse_instant(text).expect_err(text);
            assert!(matches!(error, InstantError::Impossible { .. }), "{error}");
        }
    }
}
