//! The schemas that the program prints hold for what it prints and reads.

use serde_json::Value;

use super::{DEMO, LARGE, SMALL, done, fixture, fixture_plans, with};

fn schema(of: &str) -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(&done(&["schema", of]).data).expect("JSON");
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&schema)
        .expect("a valid schema")
}

#[track_caller]
fn assert_valid(validator: &jsonschema::Validator, document: &Value, what: &str) {
    let problems: Vec<String> = validator
        .iter_errors(document)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert!(problems.is_empty(), "{what}: {problems:#?}");
}

#[test]
fn every_plan_fits_its_schema_and_stands_alone_on_standard_output() {
    let validator = schema("plan");
    for arguments in fixture_plans("schema") {
        let ran = done(&with(&arguments, &["--json"]));
        assert!(ran.data.ends_with("\n}\n"), "one line feed at the end");
        let document: Value = serde_json::from_str(&ran.data).expect("one JSON document");
        assert_valid(&validator, &document, &format!("{arguments:?}"));
        let slots = document["slots"].as_array().expect("slots");
        assert!(slots.len() > 60, "{}", slots.len());
        assert!(
            ["optimal", "limit-reached"].contains(&document["status"].as_str().expect("a status")),
            "{arguments:?}: {}",
            document["status"]
        );
        assert!(!ran.messages.contains("planned by rule"), "{}", ran.messages);
    }
}

#[test]
fn every_site_file_fits_its_schema() {
    let validator = schema("site");
    for path in [DEMO, SMALL, LARGE, "deploy/site.example.toml"] {
        let document: Value = toml::from_str(&fixture(path)).expect("TOML");
        assert_valid(&validator, &document, path);
    }
    let mut broken: Value = toml::from_str(&fixture(DEMO)).expect("TOML");
    broken["grid"]["fuse_amperes"] = Value::from("80 A");
    broken["pv"]["peak"] = Value::from(4.2);
    assert_eq!(validator.iter_errors(&broken).count(), 2);
}
