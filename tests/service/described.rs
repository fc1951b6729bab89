//! What is heard against the description of the interface.

use std::fs;

use serde_json::Value;
use stowheat::service::wire::topics::CHANNELS;

use crate::party::{Heard, PREFIX};

/// Everything heard on the own tree is in the interface description and valid
/// against the schema that stands there.
pub(crate) fn check_all(heard: &[Heard]) {
    let deploy = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy");
    let description = fs::read_to_string(format!("{deploy}/asyncapi.yaml")).expect("the file");
    let validators: Vec<_> = CHANNELS
        .iter()
        .map(|channel| {
            let address = format!("address: '{{prefix}}/{}'", channel.address);
            assert!(description.contains(&address), "{address} is not described");
            let path = format!("{deploy}/schemas/{}.json", channel.document);
            let schema = fs::read_to_string(path).expect("a schema");
            let schema: Value = serde_json::from_str(&schema).expect("JSON");
            (channel, jsonschema::validator_for(&schema).expect("a valid schema"))
        })
        .collect();
    let mut checked = 0;
    for message in heard {
        let Some(below) = message.topic.strip_prefix(&format!("{PREFIX}/")) else { continue };
        let (channel, validator) = validators
            .iter()
            .find(|(channel, _)| matches(channel.address, below))
            .unwrap_or_else(|| panic!("{} is not described", message.topic));
        let document = message.json();
        let errors: Vec<_> = validator.iter_errors(&document).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{} ({}): {errors:?}", message.topic, channel.document);
        checked += 1;
    }
    assert!(checked > 0, "nothing was heard");
}

fn matches(address: &str, topic: &str) -> bool {
    let (address, topic): (Vec<_>, Vec<_>) =
        (address.split('/').collect(), topic.split('/').collect());
    address.len() == topic.len()
        && address.iter().zip(topic).all(|(level, own)| level.starts_with('{') || *level == own)
}
