//! The JSON Schema of the site file, made from the same tables as its reader.

use serde_json::{Map, Value, json};

use super::keys::ROOT;
use super::scalar::{DAY_GROUPS, DAY_NAMES};
use super::shape::{Key, Kind, Need, Shape};

/// The JSON Schema (draft 2020-12) of a site file.
pub fn schema() -> Value {
    let mut schema = table(&ROOT);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!("stowheat site file");
    schema
}

fn table(shape: &Shape) -> Value {
    let properties: Map<String, Value> =
        shape.keys.iter().map(|key| (key.name.to_owned(), property(key))).collect();
    let required: Vec<&str> =
        shape.keys.iter().filter(|k| k.need == Need::Required).map(|k| k.name).collect();
    let mut schema = json!({
        "type": "object",
        "description": shape.about,
        "properties": properties,
        "additionalProperties": false,
    });
    if !required.is_empty() {
        schema["required"] = json!(required);
    }
    schema
}

fn property(key: &Key) -> Value {
    let (mut schema, usual) = match &key.kind {
        Kind::Number { min, max, usual } => {
            (json!({ "type": "number", "minimum": min, "maximum": max }), json!(usual))
        }
        Kind::Whole { min, max, usual } => {
            (json!({ "type": "integer", "minimum": min, "maximum": max }), json!(usual))
        }
        Kind::Numbers { min, max, usual } => (
            json!({ "type": "array", "minItems": 1, "items": { "type": "number", "minimum": min, "maximum": max } }),
            json!(usual),
        ),
        Kind::Text(usual) => (json!({ "type": "string", "minLength": 1 }), json!(usual)),
        Kind::Texts(usual) => (
            json!({ "type": "array", "minItems": 1, "items": { "type": "string", "minLength": 1 } }),
            json!(usual),
        ),
        Kind::Choice(words) => (json!({ "enum": words }), json!(words[0])),
        Kind::Flag(usual) => (json!({ "type": "boolean" }), json!(usual)),
        Kind::Time(usual) => (
            json!({ "type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?$" }),
            json!(usual),
        ),
        Kind::Days => (
            json!({ "anyOf": [
                { "enum": DAY_GROUPS },
                { "enum": DAY_NAMES },
                { "type": "array", "minItems": 1, "uniqueItems": true, "items": { "enum": DAY_NAMES } },
            ] }),
            json!(DAY_GROUPS[0]),
        ),
        Kind::Instant(usual) => (json!({ "type": "string", "format": "date-time" }), json!(usual)),
        Kind::Table(shape) => return described(table(shape), key),
        Kind::Tables(shape) => {
            return described(json!({ "type": "array", "items": table(shape) }), key);
        }
    };
    if key.need == Need::Assumed {
        schema["default"] = usual;
    } else {
        schema["examples"] = json!([usual]);
    }
    described(schema, key)
}

fn described(mut schema: Value, key: &Key) -> Value {
    schema["description"] = json!(key.about);
    schema
}
