//! What is asked for on the `set` topics.

use homie5::client::mqtt_payload_to_string;
use homie5::{HomieID, HomieValue};
use optimiser::time::Instant;

use super::tree::{Device, Entry, message};
use crate::service::commands::{Plant, PlantStore};
use crate::service::link::Message;
use crate::service::wire::{Action, Stamp};

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
    /// A source or circuit off for a time; zero ends it.
    SourceOff {
        /// Index of the source.
        source: usize,
        /// How long [s].
        seconds: i64,
    },
    /// Another lowest temperature of the rooms [°C].
    Rooms(f64),
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

/// How long a mode or target set in the tree holds, which gives no end [s].
const MODE_S: i64 = 86_400;
const AWAY_S: i64 = 14 * 86_400;
const TARGET_S: i64 = 30 * 86_400;

/// What is promised by a time set in the tree, which gives no amount.
const READY_LITRES: f64 = 80.0;
const READY_C: f64 = 40.0;

/// How long a boost of the whole house lasts [min].
const BOOST_MINUTES: u32 = 60;

impl Request {
    /// The same as commands; everything that the tree leaves open gets an end.
    pub fn actions(self, now: Instant, plant: &Plant) -> Vec<Action> {
        let stores = &plant.stores;
        let store_name = |store: usize| stores.get(store).map(|s| s.name.clone());
        let one = match self {
            Self::Replan => Some(Action::Replan),
            Self::Auto => Some(Action::Resume),
            Self::BoostAll => {
                let boost = |store: &PlantStore| Action::Boost {
                    store: store.name.clone(),
                    heater: None,
                    minutes: Some(BOOST_MINUTES),
                    until_c: None,
                };
                return stores.iter().map(boost).collect();
            }
            Self::Away => Some(Action::Away { from: Stamp(now), to: Stamp(now + AWAY_S) }),
            Self::Off => {
                let until = Stamp(now + MODE_S);
                Some(Action::Off { store: None, heater: None, source: None, until })
            }
            Self::SourceOff { source, seconds } => plant.feeders.get(source).map(|own| {
                let (source, until) = (Some(own.name.clone()), Stamp(now + seconds.max(1)));
                Action::Off { store: None, heater: None, source, until }
            }),
            Self::Rooms(low_c) => Some(Action::Rooms { low_c, until: Stamp(now + TARGET_S) }),
            Self::Target { store, celsius } => store_name(store).map(|store| Action::Target {
                store,
                temperature_c: celsius,
                until: Stamp(now + TARGET_S),
            }),
            Self::ReadyBy { store, by } => store_name(store).map(|store| Action::ReadyBy {
                store,
                by: Stamp(by),
                litres: READY_LITRES,
                temperature_c: READY_C,
            }),
            Self::Boost { store, heater, seconds } => stores.get(store).and_then(|s| {
                let heater = Some(s.heaters.get(heater)?.name.clone());
                let store = s.name.clone();
                // Zero takes the place of a running boost and is over at once.
                Some(if seconds > 0 {
                    let minutes = u32::try_from((seconds + 59) / 60).unwrap_or(u32::MAX);
                    Action::Boost { store, heater, minutes: Some(minutes), until_c: None }
                } else {
                    let until = Stamp(now + 1);
                    Action::Off { store: Some(store), heater, source: None, until }
                })
            }),
        };
        one.into_iter().collect()
    }
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
        (Device::Source(source), "off", HomieValue::Duration(duration)) => {
            Request::SourceOff { source, seconds: duration.num_seconds() }
        }
        (Device::Sink(_), "low", HomieValue::Float(celsius)) => Request::Rooms(*celsius),
        _ => return None,
    })
}
