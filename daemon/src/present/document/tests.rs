use jsonschema::Validator;
use serde_json::{Value, json};

use super::*;
use crate::present::{golden, sample};

fn validator() -> Validator {
    jsonschema::options()
        .with_draft(jsonschema::Draft::Draft202012)
        .should_validate_formats(true)
        .build(schema().as_value())
        .expect("our own schema is valid")
}

fn document(sample: &sample::Sample) -> Document {
    Document::new(&sample.plan())
}

#[test]
fn every_sample_fits_the_schema_and_reads_back() {
    let validator = validator();
    for sample in sample::all() {
        let document = document(&sample);
        let text = document.to_json();
        let value: Value = serde_json::from_str(&text).expect("JSON");
        let faults: Vec<String> =
            validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(faults.is_empty(), "{faults:#?}");
        assert_eq!(serde_json::from_str::<Document>(&text).expect("our own document"), document);
    }
}

#[test]
fn the_schema_refuses_what_the_contract_does_not_know() {
    let validator = validator();
    let good = serde_json::to_value(document(&sample::plain())).expect("JSON");
    assert!(validator.is_valid(&good));
    for (pointer, value) in [
        ("/schema", json!("stowheat/plan/2")),
        ("/status", json!("splendid")),
        ("/issued_at", json!("yesterday")),
        ("/currency", json!("kr")),
        ("/slots/0/import_kwh", json!(-0.1)),
        ("/slots/0/heaters/0/colour", json!("red")),
    ] {
        let mut bad = good.clone();
        match bad.pointer_mut(pointer) {
            Some(place) => *place = value,
            None => bad["slots"][0]["heaters"][0]["colour"] = value,
        }
        assert!(!validator.is_valid(&bad), "{pointer} was let through");
        if pointer.ends_with("colour") {
            assert!(serde_json::from_value::<Document>(bad).is_err());
        }
    }
}

#[test]
fn the_contract_fields_are_all_there() {
    let value = serde_json::to_value(document(&sample::summer())).expect("JSON");
    let has = |value: &Value, fields: &str| {
        for field in fields.split_whitespace() {
            assert!(value.get(field).is_some(), "{field} is missing");
        }
    };
    has(&value, "schema site issued_at valid_until time_zone currency status cost unmet_litres");
    has(&value["cost"], "import export_income wear fuel end_value total");
    let slot = &value["slots"][0];
    has(slot, "start end import_price export_price price_origin import_kwh export_kwh pv_kwh");
    has(slot, "curtailed_kwh base_load_kwh charge_kwh discharge_kwh battery_kwh");
    has(&slot["heaters"][0], "store heater power_kw minutes energy_kwh pv_kwh battery_kwh");
    has(&slot["heaters"][0], "grid_kwh why");
    has(&slot["stores"][0], "store stored_kwh top_c bottom_c usable_litres value_per_kwh");
}

#[test]
fn rounded_parts_sum_to_rounded_wholes() {
    for sample in sample::all() {
        let document = document(&sample);
        let cost = document.cost;
        let sum = cost.import - cost.export_income + cost.wear + cost.fuel - cost.end_value;
        assert!((sum - cost.total).abs() < 1e-9, "{sum} is not {}", cost.total);
        for heater in document.slots.iter().flat_map(|slot| &slot.heaters) {
            let sum = heater.pv_kwh + heater.battery_kwh + heater.grid_kwh;
            assert!((sum - heater.energy_kwh).abs() < 1e-9, "{heater:?}");
            assert!(heater.grid_kwh >= 0.0, "{heater:?}");
        }
    }
}

#[test]
fn no_number_is_minus_zero_or_longer_than_its_decimals() {
    for sample in sample::all() {
        let text = document(&sample).to_json();
        assert!(!text.contains("-0.0,") && !text.contains("-0.0\n"), "a minus zero");
        for token in text.split([' ', ',', '\n']).filter(|t| t.parse::<f64>().is_ok()) {
            let decimals = token.split_once('.').map_or(0, |(_, decimals)| decimals.len());
            assert!(decimals <= 4, "{token}");
        }
    }
}

#[test]
fn the_document_and_its_schema_are_as_they_were() {
    golden::check("plan-plain.json", &document(&sample::plain()).to_json());
    let schema = serde_json::to_string_pretty(schema().as_value()).expect("JSON");
    golden::check("plan.schema.json", &format!("{schema}\n"));
}
