//! Finding the number, and perhaps its time, in a payload.

use chrono::DateTime;
use optimiser::time::Instant;
use serde_json::Value;

use super::fault::{Kind, ReadingFault};

/// Texts that devices and hubs send in place of a number.
const ABSENT: [&str; 9] =
    ["", "unavailable", "unknown", "none", "null", "offline", "error", "-", "undefined"];

/// Where the number is in a payload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    /// The payload is the number, as in a Homie property.
    Plain,
    /// The payload is JSON, and pointers (RFC 6901) lead to the number and,
    /// if there is one, to its time.
    Json {
        /// To the number.
        value: String,
        /// To the time: RFC 3339 text, or seconds or milliseconds since 1970.
        time: Option<String>,
    },
    /// The payload is a SenML pack (RFC 8428), and this is the name of the record.
    SenMl {
        /// Base name and name of the record together.
        name: String,
    },
}

/// A number as it arrived.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Raw {
    /// The number; always finite.
    pub number: f64,
    /// When it was measured, if the payload says so.
    pub time: Option<Instant>,
}

impl Shape {
    /// Finds the number.
    ///
    /// # Errors
    /// If there is none, or it is not finite.
    pub fn read(&self, payload: &[u8], now: Instant) -> Result<Raw, ReadingFault> {
        // Homie writes the empty string as one zero byte.
        let payload = if payload == [0] { &[] } else { payload };
        let text = std::str::from_utf8(payload)
            .map_err(|_| ReadingFault::new(Kind::NotUtf8, "the payload is not UTF-8 text"))?;
        let text = text.trim();
        match self {
            Self::Plain => Ok(Raw { number: number(text)?, time: None }),
            Self::Json { value, time } => {
                let document = parse(text)?;
                let found = document.pointer(value).ok_or_else(|| {
                    let text = format!("the payload has nothing at `{value}`");
                    ReadingFault::new(Kind::Unavailable, text)
                })?;
                let time = time.as_ref().and_then(|time| document.pointer(time)).and_then(instant);
                Ok(Raw { number: json_number(found)?, time })
            }
            Self::SenMl { name } => senml(&parse(text)?, name, now),
        }
    }
}

fn parse(text: &str) -> Result<Value, ReadingFault> {
    if ABSENT.contains(&text.to_ascii_lowercase().as_str()) {
        return Err(unavailable(text));
    }
    serde_json::from_str(text).map_err(|error| {
        ReadingFault::new(Kind::NotJson, format!("the payload is not JSON ({error})"))
    })
}

fn json_number(value: &Value) -> Result<f64, ReadingFault> {
    match value {
        Value::Number(number) => finite(number.as_f64().unwrap_or(f64::NAN), &number.to_string()),
        Value::String(text) => number(text.trim()),
        Value::Null => Err(unavailable("null")),
        Value::Bool(_) | Value::Array(_) | Value::Object(_) => {
            let text = format!("`{}` is no number", shorten(&value.to_string()));
            Err(ReadingFault::new(Kind::NotANumber, text))
        }
    }
}

fn number(text: &str) -> Result<f64, ReadingFault> {
    if ABSENT.contains(&text.to_ascii_lowercase().as_str()) {
        return Err(unavailable(text));
    }
    let parsed = text.parse::<f64>().map_err(|_| {
        let seen = format!("`{}` is no number; decimals take a point", shorten(text));
        ReadingFault::new(Kind::NotANumber, seen)
    })?;
    finite(parsed, text)
}

fn finite(number: f64, text: &str) -> Result<f64, ReadingFault> {
    if number.is_finite() {
        Ok(number)
    } else {
        let text = format!("`{}` is not a finite number", shorten(text));
        Err(ReadingFault::new(Kind::NotFinite, text))
    }
}

fn unavailable(text: &str) -> ReadingFault {
    ReadingFault::new(Kind::Unavailable, format!("the device says `{text}`: it has no value"))
}

/// Resolves a SenML record: base fields hold for all records that follow.
fn senml(pack: &Value, name: &str, now: Instant) -> Result<Raw, ReadingFault> {
    let Some(records) = pack.as_array() else {
        return Err(ReadingFault::new(Kind::NotJson, "a SenML pack is a JSON array"));
    };
    let (mut base_name, mut base_time, mut base_value) = ("", 0.0, 0.0);
    let mut found = None;
    for record in records {
        base_name = record.get("bn").and_then(Value::as_str).unwrap_or(base_name);
        base_time = record.get("bt").and_then(Value::as_f64).unwrap_or(base_time);
        base_value = record.get("bv").and_then(Value::as_f64).unwrap_or(base_value);
        let own = record.get("n").and_then(Value::as_str).unwrap_or("");
        if name.strip_prefix(base_name) == Some(own) {
            let time = base_time + record.get("t").and_then(Value::as_f64).unwrap_or(0.0);
            // Section 4.5.3: below 2^28 the time is relative to now.
            let absolute = if time < 268_435_456.0 { now.unix() as f64 + time } else { time };
            let value = record.get("v").cloned().unwrap_or(Value::Null);
            found = Some((value, absolute, base_value));
        }
    }
    let Some((value, time, base)) = found else {
        let text = format!("the SenML pack has no record `{name}`");
        return Err(ReadingFault::new(Kind::Unavailable, text));
    };
    let number = finite(json_number(&value)? + base, "the sum with the base value")?;
    Ok(Raw { number, time: Some(from_seconds(time)) })
}

/// RFC 3339 text, or seconds or milliseconds since 1970.
fn instant(value: &Value) -> Option<Instant> {
    match value {
        Value::String(text) => {
            DateTime::parse_from_rfc3339(text).ok().map(|t| Instant::from_unix(t.timestamp()))
        }
        Value::Number(number) => {
            let number = number.as_f64()?;
            let seconds = if number.abs() > 1e11 { number / 1_000.0 } else { number };
            Some(from_seconds(seconds))
        }
        _ => None,
    }
}

/// Absurd times stay within some 30 000 years, so that differences cannot overflow.
fn from_seconds(seconds: f64) -> Instant {
    Instant::from_unix(seconds.clamp(-1e12, 1e12) as i64)
}

fn shorten(text: &str) -> String {
    text.chars().take(40).flat_map(char::escape_debug).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_unix(seconds)
    }

    fn read(shape: &Shape, payload: &str) -> Result<f64, Kind> {
        shape.read(payload.as_bytes(), at(1_750_000_000)).map(|r| r.number).map_err(|f| f.kind)
    }

    #[test]
    fn what_is_no_number_never_becomes_one() {
        for (payload, kind) in [
            ("nan", Kind::NotFinite),
            ("NaN", Kind::NotFinite),
            ("inf", Kind::NotFinite),
            ("-infinity", Kind::NotFinite),
            ("1e999", Kind::NotFinite),
            ("", Kind::Unavailable),
            ("\0", Kind::Unavailable),
            ("unavailable", Kind::Unavailable),
            ("Unknown", Kind::Unavailable),
            ("21,5", Kind::NotANumber),
            ("hot", Kind::NotANumber),
        ] {
            assert_eq!(read(&Shape::Plain, payload), Err(kind), "{payload:?}");
        }
        assert_eq!(read(&Shape::Plain, " 21.5\n"), Ok(21.5));
        let bad = Shape::Plain.read(&[0xff, 0xfe], at(0)).expect_err("no text");
        assert_eq!(bad.kind, Kind::NotUtf8);
    }

    #[test]
    fn a_pointer_leads_to_the_number_and_its_time() {
        let shape = Shape::Json { value: "/probes/1/t".into(), time: Some("/at".into()) };
        let payload = br#"{"at":"2026-01-31T17:00:00+01:00","probes":[{"t":1},{"t":"48.25"}]}"#;
        let raw = shape.read(payload, at(0)).expect("a number");
        assert_eq!(raw, Raw { number: 48.25, time: Some(at(1_769_875_200)) });
        let millis = br#"{"at":1769875200123,"probes":[0,{"t":48.25}]}"#;
        assert_eq!(shape.read(millis, at(0)).expect("a number").time, raw.time);
        for (payload, kind) in [
            (r#"{"probes":[{"t":1}]}"#, Kind::Unavailable),
            (r#"{"probes":[0,{"t":null}]}"#, Kind::Unavailable),
            (r#"{"probes":[0,{"t":{}}]}"#, Kind::NotANumber),
            (r#"{"probes":[0,{"t":NaN}]}"#, Kind::NotJson),
            ("unavailable", Kind::Unavailable),
        ] {
            assert_eq!(read(&shape, payload), Err(kind), "{payload}");
        }
    }

    // RFC 8428 section 5.1.3, "Multiple Measurements": base time plus offset.
    #[test]
    fn a_senml_record_is_resolved_with_its_base() {
        let shape = Shape::SenMl { name: "urn:dev:ow:10e2073a0108006:current".into() };
        let pack = r#"[
            {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
             "n":"voltage","u":"V","v":120.1},
            {"n":"current","t":-5,"v":1.2},
            {"n":"current","t":-4,"v":1.3}]"#;
        let raw = shape.read(pack.as_bytes(), at(0)).expect("a record");
        assert_eq!(raw, Raw { number: 1.3, time: Some(at(1_276_020_072)) });
        assert_eq!(read(&shape, "[]"), Err(Kind::Unavailable));
        let relative = Shape::SenMl { name: "t".into() };
        let raw = relative.read(br#"[{"n":"t","v":50,"t":-60}]"#, at(1_000_000_000));
        assert_eq!(raw.expect("a record").time, Some(at(999_999_940)));
    }

    #[test]
    fn deep_nesting_is_refused_and_not_followed() {
        let shape = Shape::Json { value: "/0".into(), time: None };
        assert_eq!(read(&shape, &"[".repeat(100_000)), Err(Kind::NotJson));
    }
}
