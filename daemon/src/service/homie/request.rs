//! What is asked for on the `set` topics.

use homie5::client::mqtt_payload_to_string;
use homie5::{HomieID, HomieValue};
use optimiser::time::Instant;

use super::tree::{Device, Entry, message};
use crate::service::link::Message;
use crate::service::wire::Stamp;

/// What somebody asks for through the tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Request {
    /// Make a new plan.
    Replan,
    /// The plan decides over everything again.
    Auto,
    /// Heat every store now.
    BoostAll,
    /// Nobody is at home.
    Away,
    /// Do not heat.
    Off,
    /// Another temperature to aim at.
    Target {
        /// Index of the store.
        store: usize,
        /// The temperature [°C].
        celsius: f64,
    },
    /// The store ready by then.
    ReadyBy {
        /// Index of the store.
        store: usize,
        /// By then.
        by: Instant,
    },
    /// One heater on for a time; zero ends it.
    Boost {
        /// Index of the store.
        store: usize,
        /// Index of the heater.
        heater: usize,
        /// How long [s].
        seconds: i64,
    },
}

/// Why a value that was asked for is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{topic}`: {rule}")]
pub struct SetError {
    /// The topic.
    pub topic: String,
    /// Which rule was broken.
    pub rule: String,
}

pub(super) fn read(
    entry: &Entry,
    topic: &str,
    payload: &[u8],
    retained: bool,
) -> Option<Result<(Request, Option<Message>), SetError>> {
    let state = entry.protocol.publish_state(homie5::HomieDeviceStatus::Init).topic;
    let device = state.strip_suffix("$state")?;
    let path = topic.strip_prefix(device)?.strip_suffix("/set")?;
    let (node, property) = path.split_once('/')?;
    let node_id = HomieID::try_from(node.to_owned()).ok()?;
    let property_id = HomieID::try_from(property.to_owned()).ok()?;
    let described = entry.description.get_property_by_id(&node_id, &property_id)?;
    if !described.settable {
        return None;
    }
    let refuse = |rule: String| Some(Err(SetError { topic: topic.to_owned(), rule }));
    if retained {
        return refuse("a `set` that the broker kept is not obeyed; remove it".to_owned());
    }
    let Ok(text) = mqtt_payload_to_string(payload) else {
        return refuse("the payload is not UTF-8 text".to_owned());
    };
    let value = match HomieValue::parse(&text, described) {
        Ok(value) => value,
        Err(error) => return refuse(error.to_string()),
    };
    let Some(request) = meaning(entry.device, property, &text, &value) else {
        return refuse("the value has no meaning here; write times with an offset".to_owned());
    };
    let target = described.retained.then(|| {
        message(entry.protocol.publish_target(&node_id, &property_id, value.to_string(), true))
    });
    Some(Ok((request, target)))
}

fn meaning(device: Device, property: &str, text: &str, value: &HomieValue) -> Option<Request> {
    Some(match (device, property, value) {
        (Device::Root, "replan", HomieValue::Bool(true)) => Request::Replan,
        (Device::Root, "mode", HomieValue::Enum(mode)) => match mode.as_str() {
            "auto" => Request::Auto,
            "boost" => Request::BoostAll,
            "away" => Request::Away,
            "off" => Request::Off,
            _ => return None,
        },
        (Device::Store(store), "target", HomieValue::Float(celsius)) => {
            Request::Target { store, celsius: *celsius }
        }
        // The crate also takes times without offset; which one is meant is unknown.
        (Device::Store(store), "ready-by", HomieValue::DateTime(_)) => {
            Request::ReadyBy { store, by: text.parse::<Stamp>().ok()?.0 }
        }
        (Device::Heater(store, heater), "boost", HomieValue::Duration(duration)) => {
            Request::Boost { store, heater, seconds: duration.num_seconds() }
        }
        _ => return None,
    })
}
