//! Numbers of a site file by path, so that a study can put others in their place.
//!
//! A path goes down the tables by key, as `battery.capacity_kwh`. An entry of a
//! list of tables goes by its name, or by its number from 0:
//! `store.cylinder.element.bottom.power_kw`, `tariff.import.adders.1.rate_minor_per_kwh`.
//! Other numbers are written over the old ones in the text, so that whatever the
//! reader finds wrong is shown on its line of the file.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::fault::nearest;
use super::keys;
use super::shape::{Kind, Shape};

/// Keys by which entries of lists go, in this order.
const NAMES: [&str; 2] = ["name", "store"];

/// Where a number stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The path that found it.
    pub path: String,
    /// Keys on the way, without the entries of lists: `store.element.power_kw`.
    pub keys: String,
    /// Numbers of the entries of lists on the way, from 0.
    pub entries: Vec<usize>,
    /// Names on the way, of tables and entries, without the last key.
    pub names: Vec<String>,
    /// The last key, with its unit.
    pub key: String,
    /// The number that stands there.
    pub present: f64,
    span: Range<usize>,
}

/// Finds a number of a site file.
///
/// # Errors
/// If no number stands there: what is there instead, and what may be meant.
pub fn place(text: &str, path: &str) -> Result<Place, String> {
    let root = DeTable::parse(text).map_err(|error| format!("not TOML: {}", error.message()))?;
    let mut found = Place {
        path: path.to_owned(),
        keys: String::new(),
        entries: Vec::new(),
        names: Vec::new(),
        key: String::new(),
        present: 0.0,
        span: 0..0,
    };
    in_table(root.get_ref(), &keys::ROOT, path, &mut found)
        .map_err(|why| format!("`{path}`: {why}"))?;
    Ok(found)
}

/// The text with other numbers at some places.
#[must_use]
pub fn with_numbers(text: &str, numbers: &[(&Place, f64)]) -> String {
    let mut numbers = numbers.to_vec();
    numbers.sort_by_key(|(place, _)| std::cmp::Reverse(place.span.start));
    let mut text = text.to_owned();
    for (place, number) in numbers {
        text.replace_range(place.span.clone(), &number.to_string());
    }
    text
}

fn in_table(table: &DeTable, shape: &Shape, path: &str, found: &mut Place) -> Result<(), String> {
    let (name, rest) = path.split_once('.').unwrap_or((path, ""));
    let known = shape.key(name);
    let Some((key, value)) = table.iter().find(|(key, _)| key.get_ref().as_ref() == name) else {
        if known.is_some() {
            return Err(format!("`{name}` is not in the site file; add it with its present value"));
        }
        let given: Vec<&str> = table.iter().map(|(key, _)| key.get_ref().as_ref()).collect();
        let meant = nearest(name, given.iter().copied());
        let hint = meant.map_or_else(
            || format!("known there: {}", given.join(", ")),
            |meant| format!("did you mean `{meant}`?"),
        );
        return Err(format!("there is no `{name}`; {hint}"));
    };
    if !found.keys.is_empty() {
        found.keys.push('.');
    }
    found.keys += key.get_ref();
    let kind = known.map(|key| &key.kind);
    match (kind, value.get_ref()) {
        (Some(Kind::Table(shape)), DeValue::Table(table)) if !rest.is_empty() => {
            found.names.push(name.to_owned());
            in_table(table, shape, rest, found)
        }
        (Some(Kind::Tables(shape)), DeValue::Array(items)) => {
            let tables: Vec<&DeTable> =
                items.iter().filter_map(|i| i.get_ref().as_table()).collect();
            let (entry, rest) = entry(&tables, name, rest)?;
            found.entries.push(entry);
            found
                .names
                .push(own_name(tables[entry]).map_or_else(|| entry.to_string(), str::to_owned));
            in_table(tables[entry], shape, rest, found)
        }
        (
            Some(Kind::Number { .. } | Kind::Whole { .. }),
            DeValue::Integer(_) | DeValue::Float(_),
        ) if rest.is_empty() => {
            name.clone_into(&mut found.key);
            found.span = value.span();
            found.present = number(value.get_ref())
                .ok_or_else(|| "its present value is no finite number".to_owned())?;
            Ok(())
        }
        (Some(Kind::Table(_)), _) => {
            Err(format!("`{name}` is a table; go on with one of its keys"))
        }
        (Some(Kind::Number { .. } | Kind::Whole { .. }), _) if !rest.is_empty() => {
            Err(format!("`{name}` is a number; nothing is below it"))
        }
        _ => Err(format!("`{name}` is not a number")),
    }
}

/// The entry of a list that a path begins with, and the rest of the path. Names
/// may hold dots.
fn entry<'p>(tables: &[&DeTable], list: &str, path: &'p str) -> Result<(usize, &'p str), String> {
    let begins = |name: &str| {
        let rest = path.strip_prefix(name)?;
        if rest.is_empty() { Some(rest) } else { rest.strip_prefix('.') }
    };
    let named = |index: usize, table: &DeTable| {
        let by_name = own_name(table).and_then(begins);
        by_name.or_else(|| begins(&index.to_string())).map(|rest| (index, rest))
    };
    let found = tables.iter().enumerate().find_map(|(index, table)| named(index, table));
    found.filter(|(_, rest)| !rest.is_empty()).ok_or_else(|| {
        let names: Vec<String> = tables
            .iter()
            .enumerate()
            .map(|(index, table)| own_name(table).map_or(index.to_string(), str::to_owned))
            .collect();
        let meant =
            nearest(path.split('.').next().unwrap_or(path), names.iter().map(String::as_str));
        let hint = meant.map_or(String::new(), |meant| format!("; did you mean `{meant}`?"));
        format!("go on after `{list}` with {} and a key{hint}", names.join(" or "))
    })
}

fn own_name<'t>(table: &'t DeTable<'_>) -> Option<&'t str> {
    NAMES.iter().find_map(|name| table.get(*name)?.get_ref().as_str())
}

fn number(value: &DeValue) -> Option<f64> {
    let found = match value {
        DeValue::Integer(digits) => {
            i64::from_str_radix(digits.as_str(), digits.radix()).ok().map(|v| v as f64)
        }
        DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
        _ => None,
    };
    found.filter(|value| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEMO: &str = include_str!("../../../fixtures/sites/harbour-row.toml");

    #[track_caller]
    fn at(path: &str) -> Place {
        place(DEMO, path).expect("a number")
    }

    #[test]
    fn numbers_are_found_by_name_and_by_number() {
        let bottom = at("store.cylinder.element.bottom.power_kw");
        assert_eq!(bottom.keys, "store.element.power_kw");
        assert_eq!((bottom.entries, bottom.present), (vec![0, 0], 3.0));
        assert_eq!(at("store.0.element.top.height_fraction").entries, [0, 1]);
        assert!((at("battery.capacity_kwh").present - 8.0).abs() < 1e-12);
        assert!((at("tariff.import.adders.1.rate_minor_per_kwh").present - 21.0).abs() < 1e-12);
        assert!((at("tariff.import.factor").present - 1.15).abs() < 1e-12);
    }

    #[test]
    fn other_numbers_change_nothing_else() {
        let (volume, power) =
            (at("store.cylinder.volume_litres"), at("store.cylinder.element.top.power_kw"));
        let text = with_numbers(DEMO, &[(&volume, 300.0), (&power, 4.5)]);
        assert_eq!(text.lines().count(), DEMO.lines().count());
        let changed: Vec<&str> =
            text.lines().zip(DEMO.lines()).filter(|(a, b)| a != b).map(|(a, _)| a).collect();
        assert_eq!(changed, ["volume_litres = 300", "power_kw = 4.5"]);
    }

    #[test]
    fn what_is_not_a_number_is_named() {
        for (path, words) in [
            ("batery.capacity_kwh", "did you mean `battery`?"),
            ("battery.capacity", "did you mean `capacity_kwh`?"),
            ("store.cylindr.volume_litres", "did you mean `cylinder`?"),
            ("store.cylinder", "go on after `store` with cylinder and a key"),
            ("store.cylinder.element.power_kw", "with bottom or top and a key"),
            ("grid", "`grid` is a table"),
            ("grid.agreed_import_limit_kw.x", "no `agreed_import_limit_kw`"),
            ("site.name", "`name` is not a number"),
            ("grid.fuse_amperes.max", "nothing is below it"),
        ] {
            let error = place(DEMO, path).expect_err(path);
            assert!(error.contains(words), "{path}: {error}");
        }
    }
}
