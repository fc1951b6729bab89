//! What the service says is valid against the schemas that it publishes.

use optimiser::time::Instant;
use serde_json::{Value, json};
use stowheat::service::commands::{Overrides, Plant, read};
use stowheat::service::setpoints::{Issuer, Wanted};
use stowheat::service::wire::{SetPoint, schemas};

fn check(document: &str, value: &Value) -> Result<(), String> {
    let schemas = schemas();
    let (_, schema) = schemas.iter().find(|(name, _)| *name == document).expect("a document");
    let validator = jsonschema::validator_for(schema.as_value()).expect("a valid schema");
    let errors: Vec<_> = validator.iter_errors(value).map(|error| error.to_string()).collect();
    if errors.is_empty() { Ok(()) } else { Err(errors.join("; ")) }
}

fn as_value(document: impl serde::Serialize) -> Value {
    serde_json::to_value(document).expect("JSON")
}

#[test]
fn what_is_sent_is_valid() {
    let now = Instant::from_unix(1_767_225_600);
    let wanted = Wanted { order: 3_000_u32, until: now + 1_800, reason: "as planned".into() };
    let set_point = Issuer::default().issue(now, 0, wanted).expect("the first is due");
    let set_point = SetPoint::new("b1", set_point);
    assert_eq!(check("set-point", &as_value(set_point)), Ok(()));

    let command = json!({"schema": "stowheat/command/1", "id": "1", "action": {"kind": "replan"}});
    let text = command.to_string();
    let read = read(text.as_bytes(), false, now).expect("a command");
    let answer =
        Overrides::new(Plant { stores: vec![], feeders: vec![], rooms: false }).apply(now, &read);
    assert_eq!(check("answer", &as_value(answer)), Ok(()));
    assert_eq!(as_value(read), command, "a command is written as it was read");
}

#[test]
fn what_the_reader_refuses_the_schema_refuses_too() {
    let command =
        |action: Value| json!({"schema": "stowheat/command/1", "id": "1", "action": action});
    let until = "2026-01-01T12:00:00Z";
    for good in [
        json!({"kind": "boost", "store": "cylinder", "minutes": 60}),
        json!({"kind": "off", "until": until}),
        json!({"kind": "away", "from": until, "to": until}),
        json!({"kind": "ready-by", "store": "s", "by": until, "litres": 80, "temperature_c": 40}),
        json!({"kind": "resume"}),
    ] {
        assert_eq!(check("command", &command(good.clone())), Ok(()), "{good}");
    }
    for bad in [
        json!({"kind": "boost", "store": "cylinder", "minutes": 60, "speed": 1}),
        json!({"kind": "boost", "minutes": 60}),
        json!({"kind": "boost", "store": "cylinder", "minutes": 1e6}),
        json!({"kind": "explode"}),
        json!({"store": "cylinder"}),
    ] {
        assert!(check("command", &command(bad.clone())).is_err(), "{bad}");
    }
}
