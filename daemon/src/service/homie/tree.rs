//! The tree: its devices, and the messages they make.

use std::collections::BTreeSet;

use homie5::client::Publish;
use homie5::device_description::HomieDeviceDescription;
use homie5::{Homie5DeviceProtocol, HomieDeviceStatus, HomieDomain, HomieID, HomieValue};
use optimiser::time::Instant;

use super::description;
use super::request::{self, Request, SetError};
use super::spec::TreeSpec;
use crate::service::link::{Filter, Message, Topic};
use crate::service::wire::topics::level;

/// A device of the tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Device {
    /// The service.
    Root,
    /// A store, by its index.
    Store(usize),
    /// A heater, by the indices of store and heater.
    Heater(usize, usize),
    /// The battery.
    Battery,
    /// A source or circuit, by its index.
    Source(usize),
    /// Buffer, rooms or pool, by its index.
    Sink(usize),
}

/// What `$state` can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Values are being set up.
    Init,
    /// All is well.
    Ready,
    /// Stopped on purpose.
    Disconnected,
}

/// A value of a property.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value<'a> {
    /// A number.
    Float(f64),
    /// Yes or no.
    Bool(bool),
    /// A word or a JSON text.
    Text(&'a str),
    /// A time.
    At(Instant),
    /// A length of time [s].
    Seconds(i64),
}

/// Something that is wrong, shown at the root until it is resolved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Alert {
    /// Prices are missing.
    PricesMissing,
    /// The reading of a store is stale.
    ReadingStale(usize),
    /// No plan meets every wish.
    PlanInfeasible,
    /// A store is colder than promised.
    StoreBelowMinimum(usize),
    /// The time of day cannot be trusted.
    ClockUnsynced,
}

/// Why there is no such tree or value.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TreeError {
    /// A name does not make an id.
    #[error("`{0}` is no Homie id; use a-z, 0-9 and `-`")]
    Id(String),
    /// The domain is no topic level.
    #[error("`{0}` is no Homie domain; use one topic level, usually `homie`")]
    Domain(String),
    /// Two devices would have one id.
    #[error(
        "two devices would both be `{0}`; give stores, heaters and sources names that differ in letters or digits"
    )]
    Twice(String),
    /// A device or property that the tree does not have.
    #[error("the tree has no property `{node}/{property}` there")]
    NoProperty {
        /// Id of the node.
        node: &'static str,
        /// Id of the property.
        property: &'static str,
    },
    /// A value against the description.
    #[error("`{value}` does not fit `{node}/{property}`")]
    Value {
        /// Id of the node.
        node: &'static str,
        /// Id of the property.
        property: &'static str,
        /// The value.
        value: String,
    },
}

pub(super) struct Entry {
    pub(super) device: Device,
    pub(super) protocol: Homie5DeviceProtocol,
    pub(super) description: HomieDeviceDescription,
}

/// The devices, children before their parents.
pub struct Tree {
    entries: Vec<Entry>,
}

impl Tree {
    /// Describes the devices.
    ///
    /// # Errors
    /// If a name makes no id, or two make the same.
    pub fn new(spec: &TreeSpec) -> Result<Self, TreeError> {
        let id = |text: String| HomieID::try_from(text.clone()).map_err(|_| TreeError::Id(text));
        let root_id = id(spec.instance.clone())?;
        let domain = HomieDomain::try_from(spec.domain.clone())
            .ok()
            .filter(|domain| !matches!(domain, HomieDomain::All))
            .ok_or_else(|| TreeError::Domain(spec.domain.clone()))?;
        let (root, _) = Homie5DeviceProtocol::new(root_id.clone(), domain);
        let mut entries = Vec::new();
        let mut children = Vec::new();
        let mut add = |device, child: HomieID, description| {
            let protocol = root.clone_for_child(child.clone());
            entries.push(Entry { device, protocol, description });
            children.push(child);
        };
        for (s, store) in spec.stores.iter().enumerate() {
            let store_id = id(format!("{root_id}-{}", level(&store.name)))?;
            for (h, heater) in store.heaters.iter().enumerate() {
                let heater_id = id(format!("{store_id}-{}", level(heater)))?;
                let description = description::heater(heater, &root_id, &store_id);
                add(Device::Heater(s, h), heater_id, description);
            }
            add(Device::Store(s), store_id, description::store(&store.name, &root_id));
        }
        if spec.battery {
            let battery = id(format!("{root_id}-battery"))?;
            add(Device::Battery, battery, description::battery(&root_id));
        }
        for (index, source) in spec.sources.iter().enumerate() {
            let own = id(format!("{root_id}-source-{}", level(&source.name)))?;
            add(Device::Source(index), own, description::source(source, &root_id));
        }
        for (index, sink) in spec.sinks.iter().enumerate() {
            let own = id(format!("{root_id}-sink-{}", level(&sink.name)))?;
            add(Device::Sink(index), own, description::sink(sink, &root_id));
        }
        let mut seen = BTreeSet::from([&root_id]);
        if let Some(twice) = children.iter().find(|child| !seen.insert(child)) {
            return Err(TreeError::Twice(twice.to_string()));
        }
        let mut tree = Self { entries };
        for (s, _) in spec.stores.iter().enumerate() {
            tree.adopt(s);
        }
        let top: Vec<HomieID> = tree
            .entries
            .iter()
            .filter(|entry| entry.description.parent.is_none())
            .map(|entry| entry.protocol.id().clone())
            .collect();
        let description = description::root(spec, &top);
        tree.entries.push(Entry { device: Device::Root, protocol: root, description });
        Ok(tree)
    }

    /// The last will: the root is lost, and every child with it.
    pub fn will(&self) -> Message {
        let root = self.root();
        message(root.protocol.publish_state(HomieDeviceStatus::Lost))
    }

    /// `$state` of every device; children before their parents, except while
    /// setting up, when the root comes first.
    pub fn states(&self, status: Status) -> Vec<Message> {
        let state = match status {
            Status::Init => HomieDeviceStatus::Init,
            Status::Ready => HomieDeviceStatus::Ready,
            Status::Disconnected => HomieDeviceStatus::Disconnected,
        };
        let mut messages: Vec<_> =
            self.entries.iter().map(|e| message(e.protocol.publish_state(state))).collect();
        if status == Status::Init {
            messages.reverse();
        }
        messages
    }

    /// `$description` of every device.
    pub fn descriptions(&self) -> Vec<Message> {
        self.entries.iter().map(Entry::describe).collect()
    }

    /// Topics on which values are asked for.
    pub fn filters(&self) -> Vec<Filter> {
        self.entries.iter().flat_map(Entry::filters).collect()
    }

    /// A value of a property.
    ///
    /// # Errors
    /// If there is no such property, or the value does not fit its description.
    pub fn value(
        &self,
        device: Device,
        node: &'static str,
        property: &'static str,
        value: Value<'_>,
    ) -> Result<Message, TreeError> {
        let (entry, text, retained) = self.checked(device, node, property, value)?;
        let (node, property) = (HomieID::new_const(node), HomieID::new_const(property));
        Ok(message(entry.protocol.publish_value(&node, &property, text, retained)))
    }

    /// The value that a property is on its way to.
    ///
    /// # Errors
    /// As for [`Tree::value`].
    pub fn target(
        &self,
        device: Device,
        node: &'static str,
        property: &'static str,
        value: Value<'_>,
    ) -> Result<Message, TreeError> {
        let (entry, text, retained) = self.checked(device, node, property, value)?;
        let (node, property) = (HomieID::new_const(node), HomieID::new_const(property));
        Ok(message(entry.protocol.publish_target(&node, &property, text, retained)))
    }

    /// An alert at the root, or its removal.
    pub fn alert(&self, alert: Alert, text: Option<&str>) -> Message {
        let store = |store: usize| {
            let entry = self.entry(Device::Store(store));
            entry.map_or_else(String::new, |entry| entry.protocol.id().to_string())
        };
        let name = match alert {
            Alert::PricesMissing => "prices-missing".to_owned(),
            Alert::ReadingStale(s) => format!("reading-stale-{}", store(s)),
            Alert::PlanInfeasible => "plan-infeasible".to_owned(),
            Alert::StoreBelowMinimum(s) => format!("store-below-minimum-{}", store(s)),
            Alert::ClockUnsynced => "clock-unsynced".to_owned(),
        };
        let id = alert_id(name);
        let protocol = &self.root().protocol;
        message(match text {
            Some(text) => protocol.publish_alert(&id, text),
            None => protocol.publish_clear_alert(&id),
        })
    }

    /// Every retained topic of the tree but the alerts, `$state` first: emptied in
    /// this order, the parents before their children, the tree is gone.
    pub fn topics(&self) -> Vec<Topic> {
        self.entries.iter().rev().flat_map(Entry::topics).collect()
    }

    /// What a message on one of [`Tree::filters`] asks for, and the answer that
    /// the convention wants on `$target`; `None` for other topics.
    pub fn request(
        &self,
        topic: &str,
        payload: &[u8],
        retained: bool,
    ) -> Option<Result<(Request, Option<Message>), SetError>> {
        self.entries.iter().find_map(|entry| request::read(entry, topic, payload, retained))
    }

    pub(super) fn entries(&self) -> &[Entry] {
        &self.entries
    }

    fn root(&self) -> &Entry {
        self.entries.last().expect("the root is added last")
    }

    fn entry(&self, device: Device) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.device == device)
    }

    /// Lists the heaters of a store as its children.
    fn adopt(&mut self, store: usize) {
        let Some(parent) = self.entry(Device::Store(store)).map(|e| e.protocol.id().clone()) else {
            return;
        };
        let children: Vec<HomieID> = self
            .entries
            .iter()
            .filter(|entry| entry.description.parent.as_ref() == Some(&parent))
            .map(|entry| entry.protocol.id().clone())
            .collect();
        for entry in &mut self.entries {
            if entry.device == Device::Store(store) {
                entry.description.children.clone_from(&children);
                entry.description.update_version();
            }
        }
    }

    fn checked(
        &self,
        device: Device,
        node: &'static str,
        property: &'static str,
        value: Value<'_>,
    ) -> Result<(&Entry, String, bool), TreeError> {
        let entry = self.entry(device).ok_or(TreeError::NoProperty { node, property })?;
        let (node_id, property_id) = (HomieID::new_const(node), HomieID::new_const(property));
        let described = entry.description.get_property_by_id(&node_id, &property_id);
        let described = described.ok_or(TreeError::NoProperty { node, property })?;
        let text = value.text();
        match HomieValue::parse(&text, described) {
            Ok(_) => Ok((entry, text, described.retained)),
            Err(_) => Err(TreeError::Value { node, property, value: text }),
        }
    }
}

/// The invariant of every entry: its description names the root of its protocol.
const SAME_ROOT: &str = "the description names the root it was made for";

impl Entry {
    fn describe(&self) -> Message {
        message(self.protocol.publish_description(&self.description).expect(SAME_ROOT))
    }

    fn filters(&self) -> Vec<Filter> {
        let wanted = self.protocol.subscribe_props(&self.description).expect(SAME_ROOT);
        wanted
            .map(|wanted| Filter::new(wanted.topic).expect("ids make topics without wildcards"))
            .collect()
    }

    fn topics(&self) -> Vec<Topic> {
        let removal = self.protocol.remove_device(&self.description).expect(SAME_ROOT);
        removal.map(|publish| message(publish).topic).collect()
    }
}

fn alert_id(name: String) -> HomieID {
    HomieID::try_from(name).expect("words and an id joined by hyphens")
}

impl Value<'_> {
    fn text(self) -> String {
        match self {
            // Three decimals are a watt, a watt-hour or a millikelvin.
            Self::Float(number) => ((number * 1_000.0).round() / 1_000.0).to_string(),
            Self::Bool(value) => value.to_string(),
            Self::Text(text) => text.to_owned(),
            Self::At(instant) => instant.to_string(),
            Self::Seconds(seconds) => {
                let seconds = seconds.max(0);
                format!("PT{}H{}M{}S", seconds / 3_600, seconds / 60 % 60, seconds % 60)
            }
        }
    }
}

pub(super) fn message(publish: Publish) -> Message {
    let Publish { topic, retain, payload, .. } = publish;
    let topic = Topic::new(topic).expect("checked ids make topics without wildcards");
    Message { topic, payload, retained: retain }
}
