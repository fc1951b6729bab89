//! Durations as ISO 8601 writes them.

/// Years from which a duration means "without end", as OpenADR's `P9999Y`.
const ENDLESS_YEARS: i64 = 1_000;

/// A duration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Duration {
    /// So many seconds; never zero.
    Seconds(i64),
    /// Without end.
    Endless,
}

/// Reads weeks, days, hours, minutes and seconds. Months and single years have no
/// fixed length and are refused.
pub(super) fn parse(text: &str) -> Option<Duration> {
    let body = text.strip_prefix('P')?;
    let (date, time) = match body.split_once('T') {
        Some((_, "")) => return None,
        Some((date, time)) => (date, time),
        None => (body, ""),
    };
    let mut seconds = 0_i64;
    let mut endless = false;
    for (part, units) in [(date, "YWD"), (time, "HMS")] {
        let mut units = units.chars();
        let mut number = String::new();
        for c in part.chars() {
            if c.is_ascii_digit() {
                number.push(c);
                continue;
            }
            // Each unit at most once and in order.
            let unit = units.find(|unit| *unit == c)?;
            let count: i64 = std::mem::take(&mut number).parse().ok()?;
            let length = match unit {
                'Y' if count >= ENDLESS_YEARS => {
                    endless = true;
                    0
                }
                'W' => 604_800,
                'D' => 86_400,
                'H' => 3_600,
                'M' => 60,
                'S' => 1,
                _ => return None,
            };
            seconds = seconds.checked_add(count.checked_mul(length)?)?;
        }
        if !number.is_empty() {
            return None;
        }
    }
    if endless {
        Some(Duration::Endless)
    } else {
        (1..=ENDLESS_YEARS * 366 * 86_400).contains(&seconds).then_some(Duration::Seconds(seconds))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Forms of ISO 8601-1:2019, 5.5.2; months have no fixed length.
    #[test]
    fn durations() {
        assert_eq!(parse("PT30M"), Some(Duration::Seconds(1_800)));
        assert_eq!(parse("P1DT2H3M4S"), Some(Duration::Seconds(93_784)));
        assert_eq!(parse("P7D"), parse("P1W"));
        assert_eq!(parse("P9999Y"), Some(Duration::Endless));
        for bad in [
            "",
            "P",
            "PT",
            "30M",
            "P1M",
            "P1Y",
            "PT0S",
            "PT5",
            "PTM",
            "PT1S2H",
            "P-1D",
            "PT99999999999999999999S",
        ] {
            assert_eq!(parse(bad), None, "{bad}");
        }
    }
}
