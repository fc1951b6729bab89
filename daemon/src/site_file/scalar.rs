//! Single values: numbers in range, words, local times, days and instants.

use chrono::{DateTime, NaiveTime, Weekday};
use optimiser::time::Instant;
use toml::de::{DeArray, DeValue};

use super::fault::nearest;
use super::shape::{Key, Kind};
use super::tree::Datum;

/// All seven days.
pub(super) const WEEK: [Weekday; 7] = [
    Weekday::Mon,
    Weekday::Tue,
    Weekday::Wed,
    Weekday::Thu,
    Weekday::Fri,
    Weekday::Sat,
    Weekday::Sun,
];

/// Words for groups of days.
pub(super) const DAY_GROUPS: [&str; 3] = ["every day", "weekdays", "weekends"];

/// Words for days.
pub(super) const DAY_NAMES: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// Units that are often mistaken for the one in a key: suffix, how many of
/// the mistaken unit make one, and its name.
const SLIPS: [(&str, f64, &str); 7] = [
    ("_kw", 1_000.0, "W"),
    ("_kwh", 1_000.0, "Wh"),
    ("_fraction", 100.0, "%"),
    ("_metres", 1_000.0, "mm"),
    ("_litres", 1_000.0, "mL"),
    ("_minutes", 60.0, "s"),
    ("_kwh_per_24h", 1_000.0, "Wh"),
];

/// Message and suggestion of a value that was refused.
pub(super) type Refusal = (String, Option<String>);

/// Reads a value that is not a table.
pub(super) fn read(key: &Key, value: &DeValue) -> Result<Datum, Refusal> {
    match &key.kind {
        Kind::Number { min, max, .. } => number(key, *min, *max, value).map(Datum::Number),
        Kind::Whole { min, max, .. } => {
            let found = number(key, f64::from(*min), f64::from(*max), value)?;
            if found.fract().abs() > 0.0 {
                return Err((format!("`{}` is {found}, not a whole number", key.name), None));
            }
            Ok(Datum::Number(found))
        }
        Kind::Numbers { min, max, .. } => match value {
            DeValue::Array(items) if !items.is_empty() => items
                .iter()
                .map(|item| number(key, *min, *max, item.get_ref()))
                .collect::<Result<_, _>>()
                .map(Datum::Numbers),
            other => Err(wrong_kind(key, "a list of numbers", other)),
        },
        Kind::Text(_) => match value.as_str().map(str::trim) {
            Some("") => {
                Err((format!("`{}` is empty", key.name), Some(format!("add {}", sample(key)))))
            }
            Some(text) => Ok(Datum::Text(text.to_owned())),
            None => Err(wrong_kind(key, "text in quotes", value)),
        },
        Kind::Texts(_) => texts(key, value).map(Datum::Texts),
        Kind::Choice(words) => choice(key, words, value),
        Kind::Flag(_) => match value.as_bool() {
            Some(flag) => Ok(Datum::Flag(flag)),
            None => Err(wrong_kind(key, "true or false", value)),
        },
        Kind::Time(_) => time(key, value).map(Datum::Time),
        Kind::Days => days(key, value).map(Datum::Days),
        Kind::Instant(_) => instant(key, value).map(Datum::Instant),
        Kind::Table(_) | Kind::Tables(_) => Err(wrong_kind(key, "a table", value)),
    }
}

/// A key with its usual value, as it would stand in a file.
pub(super) fn sample(key: &Key) -> String {
    let name = key.name;
    match &key.kind {
        Kind::Number { usual, .. } => format!("`{name} = {usual}`"),
        Kind::Whole { usual, .. } => format!("`{name} = {usual}`"),
        Kind::Numbers { usual, .. } => format!("`{name} = {usual:?}`"),
        Kind::Text(usual) | Kind::Time(usual) | Kind::Instant(usual) => {
            format!("`{name} = \"{usual}\"`")
        }
        Kind::Texts(usual) => format!("`{name} = {usual:?}`"),
        Kind::Choice(words) => format!("`{name} = \"{}\"`", words[0]),
        Kind::Flag(usual) => format!("`{name} = {usual}`"),
        Kind::Days => format!("`{name} = \"{}\"`", DAY_GROUPS[0]),
        Kind::Table(_) => format!("a table `[{name}]`"),
        Kind::Tables(_) => format!("a table `[[{name}]]`, or a list of tables"),
    }
}

fn wrong_kind(key: &Key, expected: &str, found: &DeValue) -> Refusal {
    let message = format!("`{}` is a {}, where {expected} is expected", key.name, found.type_str());
    (message, Some(format!("write it as {}", sample(key))))
}

fn texts(key: &Key, value: &DeValue) -> Result<Vec<String>, Refusal> {
    let items = match value {
        DeValue::Array(items) if !items.is_empty() => items,
        other => return Err(wrong_kind(key, "a list of texts", other)),
    };
    let text = |item: &DeValue| match item.as_str().map(str::trim) {
        Some(text) if !text.is_empty() => Ok(text.to_owned()),
        _ => Err(wrong_kind(key, "a list of texts", item)),
    };
    items.iter().map(|item| text(item.get_ref())).collect()
}

fn number(key: &Key, min: f64, max: f64, value: &DeValue) -> Result<f64, Refusal> {
    let found = match value {
        DeValue::Integer(digits) => {
            i64::from_str_radix(digits.as_str(), digits.radix()).map(|v| v as f64).ok()
        }
        DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
        DeValue::String(text) => {
            let (message, suggestion) = wrong_kind(key, "a number", value);
            let bare = text.trim().trim_end_matches(|c: char| !c.is_ascii_digit());
            let suggestion = bare.parse::<f64>().map_or(suggestion, |_| {
                Some(format!("the unit is in the key: `{} = {bare}`", key.name))
            });
            return Err((message, suggestion));
        }
        other => return Err(wrong_kind(key, "a number", other)),
    };
    let Some(found) = found.filter(|v| v.is_finite()) else {
        return Err((
            format!("`{}` is not a finite number", key.name),
            Some(format!("write it as {}", sample(key))),
        ));
    };
    if (min..=max).contains(&found) {
        return Ok(found);
    }
    let slip = SLIPS.iter().find(|(suffix, per_unit, _)| {
        key.name.ends_with(suffix) && (min..=max).contains(&(found / per_unit)) && found > max
    });
    let suggestion = slip.map(|(_, per_unit, unit)| {
        format!("if {found} {unit} is meant, write `{} = {}`", key.name, found / per_unit)
    });
    Err((format!("`{}` is {found}, outside {min} to {max}", key.name), suggestion))
}

fn choice(key: &Key, words: &[&str], value: &DeValue) -> Result<Datum, Refusal> {
    let Some(text) = value.as_str() else {
        return Err(wrong_kind(key, "a word in quotes", value));
    };
    if let Some(word) = words.iter().find(|word| word.eq_ignore_ascii_case(text)) {
        return Ok(Datum::Text((*word).to_owned()));
    }
    let suggestion = nearest(text, words.iter().copied()).map_or_else(
        || format!("known: {}", words.join(", ")),
        |w| format!("did you mean \"{w}\"?"),
    );
    Err((format!("`{}` does not know \"{text}\"", key.name), Some(suggestion)))
}

fn time(key: &Key, value: &DeValue) -> Result<NaiveTime, Refusal> {
    let text = match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Datetime(moment) if moment.date.is_none() => moment.to_string(),
        other => return Err(wrong_kind(key, "a local time", other)),
    };
    let formats = ["%H:%M", "%H:%M:%S"];
    formats.iter().find_map(|format| NaiveTime::parse_from_str(&text, format).ok()).ok_or_else(
        || {
            let hint = if text.starts_with("24:00") {
                format!("midnight is written `{} = \"00:00\"`", key.name)
            } else {
                format!("write it as {}", sample(key))
            };
            (format!("\"{text}\" is not a local time from 00:00 to 23:59"), Some(hint))
        },
    )
}

fn days(key: &Key, value: &DeValue) -> Result<Vec<Weekday>, Refusal> {
    match value {
        DeValue::String(text) => match text.as_ref() {
            "every day" => Ok(WEEK.to_vec()),
            "weekdays" => Ok(WEEK[..5].to_vec()),
            "weekends" => Ok(WEEK[5..].to_vec()),
            other => day(other).map(|day| vec![day]),
        },
        DeValue::Array(names) if !names.is_empty() => day_list(key, names),
        other => Err(wrong_kind(key, "days", other)),
    }
}

fn day_list(key: &Key, names: &DeArray) -> Result<Vec<Weekday>, Refusal> {
    let mut days = Vec::new();
    for name in names {
        let Some(text) = name.get_ref().as_str() else {
            return Err(wrong_kind(key, "days", name.get_ref()));
        };
        let found = day(text)?;
        if days.contains(&found) {
            return Err((
                format!("\"{text}\" is named twice"),
                Some("name each day once".to_owned()),
            ));
        }
        days.push(found);
    }
    Ok(days)
}

fn day(text: &str) -> Result<Weekday, Refusal> {
    let index = DAY_NAMES.iter().position(|name| name.eq_ignore_ascii_case(text));
    index.map(|index| WEEK[index]).ok_or_else(|| {
        let known = DAY_GROUPS.iter().chain(&DAY_NAMES).copied();
        let hint = nearest(&text.to_lowercase(), known).map_or_else(
            || format!("known: {}, {}", DAY_GROUPS.join(", "), DAY_NAMES.join(", ")),
            |name| format!("did you mean \"{name}\"?"),
        );
        (format!("\"{text}\" is not a day"), Some(hint))
    })
}

fn instant(key: &Key, value: &DeValue) -> Result<Instant, Refusal> {
    let text = match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Datetime(moment) => moment.to_string(),
        other => return Err(wrong_kind(key, "an instant", other)),
    };
    DateTime::parse_from_rfc3339(&text).map(|at| Instant::from_unix(at.timestamp())).map_err(|_| {
        let message = format!("\"{text}\" is not an instant with date, time and offset");
        (message, Some(format!("write it as {}", sample(key))))
    })
}
