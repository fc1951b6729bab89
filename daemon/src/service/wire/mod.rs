//! The documents that go over the wire, and where they go.
//!
//! Every document names its schema, so that a reader can refuse what it does not
//! know, and everything that ages says until when it holds: a document past its
//! `valid_until` is as good as none. Numbers carry their unit in the key.

mod documents;
mod plant_room;
pub mod topics;

use std::str::FromStr;

use chrono::DateTime;
use optimiser::time::Instant;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

pub use documents::{
    Action, Answer, Availability, AvailabilityState, BatterySetPoint, Command, Fault, Faults,
    Health, InputHealth, Mode, Outcome, SetPoint, StoreState,
};
pub use plant_room::{Contacts, SinkState, SourceSetPoint};

/// An instant as text: RFC 3339, written in UTC, read with any offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp(pub Instant);

impl FromStr for Stamp {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        DateTime::parse_from_rfc3339(text)
            .map(|time| Self(Instant::from_unix(time.timestamp())))
            .map_err(|error| {
                format!("`{text}` is no time ({error}); write it like 2026-01-31T17:00:00Z")
            })
    }
}

impl Serialize for Stamp {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Stamp {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

impl JsonSchema for Stamp {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Stamp".into()
    }

    fn inline_schema() -> bool {
        true
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date-time" })
    }
}

/// Names, and JSON Schemas (2020-12) of every document of the tree.
pub fn schemas() -> Vec<(&'static str, Schema)> {
    vec![
        ("availability", schemars::schema_for!(Availability)),
        ("plan", crate::present::document::schema()),
        ("store", schemars::schema_for!(StoreState)),
        ("faults", schemars::schema_for!(Faults)),
        ("health", schemars::schema_for!(Health)),
        ("sink", schemars::schema_for!(SinkState)),
        ("set-point", schemars::schema_for!(SetPoint)),
        ("source-set-point", schemars::schema_for!(SourceSetPoint)),
        ("battery", schemars::schema_for!(BatterySetPoint)),
        ("command", schemars::schema_for!(Command)),
        ("answer", schemars::schema_for!(Answer)),
    ]
}

#[cfg(test)]
mod tests;
