//! The site file from the outside: what is refused and how it is shown, the
//! schema, the demo and example files, and the summary.

mod arrays;
mod plant_room;
mod refusals;
mod warnings;

use std::fmt::Write as _;

use optimiser::units::Power;
use serde_json::Value;
use stowheat::house::{BaseLoad, DrawKind};
use stowheat::site_file::{Checked, Fault, read, schema, summary};
use stowheat::tariff::Rates;

const DEMO: &str = include_str!("../../fixtures/sites/harbour-row.toml");
const SMALL: &str = include_str!("../../fixtures/sites/mill-cottage.toml");
const LARGE: &str = include_str!("../../fixtures/sites/twin-gables.toml");
const KILN: &str = include_str!("../../fixtures/sites/kiln-house.toml");
const WEIR: &str = include_str!("../../fixtures/sites/weir-lodge.toml");
const FOUNDRY: &str = include_str!("../../fixtures/sites/old-foundry.toml");
const EXAMPLE: &str = include_str!("../../deploy/site.example.toml");

fn good(text: &str) -> Checked {
    read(text, "house.toml").unwrap_or_else(|report| panic!("{report}"))
}

fn faults(text: &str) -> Vec<Fault> {
    read(text, "house.toml").expect_err("it must be refused").faults
}

/// A file with one piece of text exchanged.
fn with(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "`{old}` is not in the file");
    text.replacen(old, new, 1)
}

#[test]
fn the_files_that_ship_are_read_without_warnings() {
    for (name, text) in [
        ("demo", DEMO),
        ("small", SMALL),
        ("large", LARGE),
        ("kiln", KILN),
        ("weir", WEIR),
        ("foundry", FOUNDRY),
        ("example", EXAMPLE),
    ] {
        let warnings = good(text).warnings;
        let shown = warnings.iter().fold(String::new(), |mut all, fault| {
            let _ = write!(all, "{fault}");
            all
        });
        assert!(warnings.is_empty(), "{name}: {shown}");
    }
}

#[test]
fn the_demo_means_what_it_says() {
    let house = good(DEMO).house;
    assert_eq!(house.name, "Harbour Row");
    assert_eq!(house.time_zone.name(), "Europe/London");
    let store = &house.site.stores[0];
    assert_eq!(store.elements.len(), 2);
    assert_eq!(store.elements[1].power, Power::constant(3.0));
    // 1.55 kWh per 24 h at 45 K is 1.435 W/K by the label (HW-11), × 1.25 in place.
    assert!((store.heat_loss.watts_per_kelvin() - 1.794).abs() < 0.001);
    // Without an import limit the fuse is the limit: EL-04, 80 A at 230 V.
    assert!((house.site.grid.import_limit.kw() - 18.4).abs() < 1e-9);
    assert!(matches!(&house.tariff.import, Rates::Indexed(index) if index.adders.len() == 3));
    assert!(matches!(&house.base_load, BaseLoad::Daily(steps) if steps.len() == 6));
    assert_eq!(house.ready.len(), 2);
    assert_eq!(house.state.stores[0].len(), 5);
}

// C03: 35 L that leave the store at 60 °C carry 2.035 kWh above 10 °C; mixed at
// 40 °C they are 58.3 L. Common practice, no published source.
#[test]
fn mixed_and_stored_litres() {
    let list = "list = [{ at = \"07:00\", stored_litres = 35, at_celsius = 60 }, { at = \"08:00\", mixed_litres = 35, at_celsius = 40 }]";
    let text = with(SMALL, "pattern = \"M\"\nlitres_per_day = 120", list);
    let house = good(&text).house;
    let DrawKind::Daily(draws) = &house.draws[0].kind else { panic!("a list") };
    assert!((draws[0].volume.litres() - 58.333).abs() < 0.001);
    assert!((draws[0].temperature.celsius() - 40.0).abs() < 1e-12);
    assert!((draws[1].volume.litres() - 35.0).abs() < 1e-12);
    let unsaid = with(&text, "stored_litres = 35, ", "");
    assert!(
        faults(&unsaid)[0].message.contains("none of `mixed_litres`, `stored_litres` is given")
    );
}

#[test]
fn a_pattern_scales_to_litres_or_heat() {
    let total = |text: &str| {
        let house = good(text).house;
        let DrawKind::Daily(draws) = &house.draws[0].kind else { panic!("a pattern") };
        let litres: f64 = draws.iter().map(|d| d.volume.litres()).sum();
        let kwh: f64 = draws
            .iter()
            .map(|d| optimiser::water::heat_kwh(d.volume.litres(), d.temperature.celsius() - 10.0))
            .sum();
        (litres, kwh)
    };
    assert!((total(SMALL).0 - 120.0).abs() < 1e-9);
    let by_heat = with(SMALL, "litres_per_day = 120", "kwh_per_day = 7");
    assert!((total(&by_heat).1 - 7.0).abs() < 1e-9);
    let plain = with(SMALL, "litres_per_day = 120\n", "");
    assert!((total(&plain).1 - 5.845).abs() < 1e-9);
}

/// Every key of a JSON document must be known to the schema at its place.
fn assert_known(value: &Value, schema: &Value, path: &str) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let known = &schema["properties"][key];
                assert!(known.is_object(), "{path}.{key} is not in the schema");
                assert_known(inner, known, &format!("{path}.{key}"));
            }
        }
        Value::Array(items) if schema["items"].is_object() => {
            for item in items {
                assert_known(item, &schema["items"], path);
            }
        }
        _ => {}
    }
}

fn keys_of(schema: &Value, found: &mut Vec<String>) {
    if let Some(properties) = schema["properties"].as_object() {
        for (key, inner) in properties {
            found.push(key.clone());
            keys_of(inner, found);
        }
    }
    if schema["items"].is_object() {
        keys_of(&schema["items"], found);
    }
}

#[test]
fn the_schema_and_the_files_agree() {
    let schema = schema();
    let validator = jsonschema::draft202012::new(&schema).expect("a valid schema");
    for text in [DEMO, SMALL, LARGE, KILN, WEIR, FOUNDRY, EXAMPLE] {
        let document: Value = toml::from_str(text).expect("TOML");
        assert_known(&document, &schema, "");
        let problems: Vec<String> =
            validator.iter_errors(&document).map(|error| error.to_string()).collect();
        assert!(problems.is_empty(), "{problems:#?}");
    }
    let misspelt: Value =
        toml::from_str(&with(SMALL, "volume_litres", "volumee_litres")).expect("TOML");
    assert!(!validator.is_valid(&misspelt));
}

#[test]
fn the_example_shows_every_key() {
    let mut keys = Vec::new();
    keys_of(&schema(), &mut keys);
    assert!(keys.len() > 190, "{}", keys.len());
    for key in keys {
        let shown = [format!("{key} = "), format!("[{key}]"), format!(".{key}]")];
        assert!(shown.iter().any(|s| EXAMPLE.contains(s)), "`{key}` is not in the example");
    }
}

#[test]
fn the_summary_has_the_figures_an_installer_needs() {
    let text = summary(&good(DEMO));
    for expected in [
        // EL-01 and EL-04.
        "3 kW: 13.0 A, circuit of 16 A, headroom 3.0 A",
        "80 A on 1 phase of 230 V: 18.4 kW",
        "26.1 A on a phase; headroom to the main fuse 53.9 A",
        // 250 L × 60 K × 1.163 Wh/(L·K).
        "17.45 kWh from 10 °C to the ceiling of 70 °C",
        // V40 by the selection formula of ST-03 and the mixed bound of C05.
        "500 L if perfectly layered, 250 L if fully mixed",
        "EU class B",
        "follows the price series `market_index_price_gbp_per_mwh` × 1.15 plus an adder, then 5 % VAT, never above 95",
        "110 L at 40 °C by 06:30 every day",
        "the coldest water at 60 °C for 60 min every 7 days",
        // Boyle's law with the growth of HW-05, 250 L from 10 to 70 °C.
        "15 L or more if unvented, filled at 3 bar with an expansion valve of 6 bar",
        "no diversity is assumed",
        "stowheat is not a safety device",
    ] {
        assert!(text.contains(expected), "no `{expected}` in\n{text}");
    }
    assert!(text.lines().all(|line| line == line.trim_end()));
    assert!(text.ends_with(".\n"));
}

// The demo's series fit each other: half-hours without gap, prices of both signs.
#[test]
fn the_demo_series_are_whole_days_with_negative_prices() {
    let prices = include_str!("../../fixtures/prices/harbour-row.csv");
    let weather = include_str!("../../fixtures/weather/harbour-row.csv");
    let starts = |text: &str| -> Vec<String> {
        text.lines().skip(1).map(|l| l.split(',').next().expect("a field").to_owned()).collect()
    };
    assert_eq!(starts(prices), starts(weather));
    assert_eq!(starts(prices).len(), 3 * 48);
    let negative = prices.lines().skip(1).filter(|line| line.contains(",-")).count();
    assert!((4..=20).contains(&negative), "{negative}");
}
