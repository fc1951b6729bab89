//! Numbers in a field.

use std::borrow::Cow;

/// Reads a field: `None` if it is empty, as a missing value is never zero.
///
/// With `comma` the decimal sign may be a comma.
///
/// # Errors
/// Rule and remedy, if it is anything but a plain finite number.
pub(super) fn parse(text: &str, comma: bool) -> Result<Option<f64>, (String, String)> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let plain =
        |byte: u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e' | b'E');
    let number = if comma && text.contains(',') && !text.contains('.') {
        Cow::Owned(text.replacen(',', ".", 1))
    } else {
        Cow::Borrowed(text)
    };
    // `f64` would also read "nan" and "infinity".
    let value = number.bytes().all(plain).then(|| number.parse::<f64>().ok()).flatten();
    match value {
        Some(value) if value.is_finite() => Ok(Some(value)),
        Some(_) => Err((
            "is too large for a number".into(),
            "leave the field empty if the value is missing".into(),
        )),
        None if is_word_for_missing(text) => Err((
            "stands for a missing value".into(),
            "leave the field empty: it is then missing, never zero".into(),
        )),
        None if text.contains(',') => Err((
            "is not a number".into(),
            "write the decimal point as a point and no thousands separator; a decimal comma is \
             read only in files separated by semicolons or tabs"
                .into(),
        )),
        None => Err((
            "is not a number".into(),
            "write a plain number such as 12.5 or -3, or leave the field empty if it is missing"
                .into(),
        )),
    }
}

fn is_word_for_missing(text: &str) -> bool {
    let lower = text.to_ascii_lowercase();
    let word = lower.trim_start_matches(['+', '-']);
    ["", "nan", "inf", "infinity", "na", "n/a", "#n/a", "null", "none", "unavailable", "unknown"]
        .contains(&word)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(text: &str, comma: bool) -> Option<f64> {
        parse(text, comma).unwrap_or_else(|fault| panic!("{text}: {fault:?}"))
    }

    #[test]
    fn plain_numbers() {
        for (text, expected) in [
            ("12.5", 12.5),
            (" -999 ", -999.0),
            ("+3", 3.0),
            ("1e3", 1_000.0),
            ("0", 0.0),
            (".5", 0.5),
        ] {
            assert_eq!(value(text, false), Some(expected));
        }
        assert_eq!(value("-12,5", true), Some(-12.5));
        assert_eq!(value("12.5", true), Some(12.5));
    }

    #[test]
    fn an_empty_field_is_missing() {
        assert_eq!(value("", false), None);
        assert_eq!(value("  ", false), None);
    }

    #[test]
    fn words_and_other_numbers_are_refused() {
        for text in ["NaN", "nan", "-inf", "Infinity", "unavailable", "null", "N/A", "-"] {
            let (rule, _) = parse(text, false).expect_err(text);
            assert_eq!(rule, "stands for a missing value", "{text}");
        }
        let (rule, _) = parse("1e999", false).expect_err("infinite");
        assert_eq!(rule, "is too large for a number");
        for text in ["12,5", "1,234.5", "0x10", "1_000", "twelve", "1.2.3", "\u{2212}5", "e", "5 p"]
        {
            let (rule, _) = parse(text, false).expect_err(text);
            assert_eq!(rule, "is not a number", "{text}");
        }
        for text in ["1.234,5", "1,2,3"] {
            assert!(parse(text, true).is_err(), "{text}");
        }
    }
}
