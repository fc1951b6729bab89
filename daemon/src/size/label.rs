//! Names of candidates.

use crate::site_file::Place;

/// Suffixes of keys and the signs of their units.
const UNITS: [(&str, &str); 11] = [
    ("_kwh_per_24h", "kWh/24 h"),
    ("_minor_per_kwh", "minor/kWh"),
    ("_kwh", "kWh"),
    ("_kw", "kW"),
    ("_litres", "L"),
    ("_square_metres", "m²"),
    ("_amperes", "A"),
    ("_celsius", "°C"),
    ("_metres", "m"),
    ("_percent", "%"),
    ("_fraction", ""),
];

/// A number as a name: `bottom 6 kW`, `cylinder 300 L`, `battery 8 kWh`.
pub(super) fn label(place: &Place, to: f64) -> String {
    let owner = place.names.last().map_or("", String::as_str);
    if is_removal(place, to) {
        return format!("no {owner}");
    }
    let found =
        UNITS.iter().find_map(|(suffix, unit)| Some((place.key.strip_suffix(suffix)?, unit)));
    let (word, unit) = found.map_or((place.key.as_str(), ""), |(word, unit)| (word, *unit));
    let what = match place.keys.as_str() {
        "store.element.power_kw" | "store.volume_litres" | "battery.capacity_kwh" => String::new(),
        _ => format!(" {}", word.replace('_', " ")),
    };
    format!("{owner}{what} {to} {unit}").trim_end().to_owned()
}

/// A battery or an element of no size is left out.
pub(super) fn is_removal(place: &Place, to: f64) -> bool {
    to.abs() < 1e-12
        && matches!(place.keys.as_str(), "battery.capacity_kwh" | "store.element.power_kw")
}
