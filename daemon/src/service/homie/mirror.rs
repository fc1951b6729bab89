//! The same tree for controllers that only know Homie 4 (tag v4.0.0).
//!
//! Version 4 has no children, so every device stands on its own, and no
//! durations, times and JSON, which become strings. The connection's last will is
//! needed for version 5, so after a crash a version 4 controller sees the devices
//! as ready until the service is back; the values then stand still.

use homie5::HomieDataType;
use homie5::device_description::HomiePropertyFormat;

use super::tree::{Entry, Status, Tree};
use crate::service::link::{Filter, Message, Topic};

/// A Homie 4 view of a tree.
pub struct Mirror<'a> {
    tree: &'a Tree,
}

impl<'a> Mirror<'a> {
    /// Mirrors a tree.
    pub fn new(tree: &'a Tree) -> Self {
        Self { tree }
    }

    /// Every attribute of every device but `$state`.
    pub fn descriptions(&self) -> Vec<Message> {
        self.tree.entries().iter().flat_map(describe).collect()
    }

    /// `$state` of every device.
    pub fn states(&self, status: Status) -> Vec<Message> {
        let state = match status {
            Status::Init => "init",
            Status::Ready => "ready",
            Status::Disconnected => "disconnected",
        };
        self.tree.entries().iter().map(|e| retained(format!("{}/$state", base(e)), state)).collect()
    }

    /// Every retained topic of the mirror: emptied in this order, it is gone.
    pub fn topics(&self) -> Vec<Topic> {
        let attributes = self.states(Status::Init).into_iter().chain(self.descriptions());
        let values = self.tree.topics().into_iter().filter(|topic| !topic.as_str().contains('$'));
        attributes
            .map(|message| message.topic)
            .chain(values.filter_map(|topic| Topic::new(without_version(topic.as_str())?).ok()))
            .collect()
    }

    /// Topics on which values are asked for.
    pub fn filters(&self) -> Vec<Filter> {
        self.tree
            .filters()
            .into_iter()
            .filter_map(|filter| Filter::new(without_version(filter.as_str())?).ok())
            .collect()
    }

    /// The same value in the mirror; `None` for what version 4 does not have, such
    /// as targets and alerts.
    pub fn value(&self, message: &Message) -> Option<Message> {
        let topic = message.topic.as_str();
        if topic.contains('$') || message.payload == [0] {
            return None;
        }
        let topic = Topic::new(without_version(topic)?).ok()?;
        Some(Message { topic, ..message.clone() })
    }

    /// The version 5 topic that a mirrored `set` topic stands for.
    pub fn original(&self, topic: &str) -> Option<String> {
        let (domain, rest) = topic.split_once('/')?;
        (!rest.starts_with("5/")).then(|| format!("{domain}/5/{rest}"))
    }
}

fn describe(entry: &Entry) -> Vec<Message> {
    let base = base(entry);
    let description = &entry.description;
    let name = description.name.clone().unwrap_or_default();
    let nodes: Vec<_> = description.nodes.keys().map(ToString::to_string).collect();
    let mut messages = vec![
        retained(format!("{base}/$homie"), "4.0.0"),
        retained(format!("{base}/$name"), &name),
        retained(format!("{base}/$nodes"), &nodes.join(",")),
        // The attribute is required; one space stands for an empty list, because
        // an empty payload would delete it.
        retained(format!("{base}/$extensions"), " "),
    ];
    for (id, node) in &description.nodes {
        let properties: Vec<_> = node.properties.keys().map(ToString::to_string).collect();
        let node_name = node.name.clone().unwrap_or_else(|| id.to_string());
        messages.extend([
            retained(format!("{base}/{id}/$name"), &node_name),
            retained(format!("{base}/{id}/$type"), id.as_str()),
            retained(format!("{base}/{id}/$properties"), &properties.join(",")),
        ]);
        for (property_id, property) in &node.properties {
            let at = |attribute: &str| format!("{base}/{id}/{property_id}/${attribute}");
            let label = property.name.clone().unwrap_or_else(|| property_id.to_string());
            let datatype = match property.datatype {
                HomieDataType::Integer => "integer",
                HomieDataType::Float => "float",
                HomieDataType::Boolean => "boolean",
                HomieDataType::Enum => "enum",
                HomieDataType::Color => "color",
                HomieDataType::String
                | HomieDataType::Datetime
                | HomieDataType::Duration
                | HomieDataType::JSON => "string",
            };
            messages.push(retained(at("name"), &label));
            messages.push(retained(at("datatype"), datatype));
            messages.push(retained(at("settable"), &property.settable.to_string()));
            messages.push(retained(at("retained"), &property.retained.to_string()));
            match &property.format {
                HomiePropertyFormat::Enum(values) => {
                    messages.push(retained(at("format"), &values.join(",")));
                }
                HomiePropertyFormat::FloatRange(range) => {
                    if let (Some(min), Some(max)) = (range.min, range.max) {
                        messages.push(retained(at("format"), &format!("{min}:{max}")));
                    }
                }
                _ => {}
            }
            messages.extend(property.unit.as_ref().map(|unit| retained(at("unit"), unit)));
        }
    }
    messages
}

fn base(entry: &Entry) -> String {
    format!("{}/{}", entry.protocol.homie_domain().as_str(), entry.protocol.id())
}

fn without_version(topic: &str) -> Option<String> {
    let (domain, rest) = topic.split_once("/5/")?;
    Some(format!("{domain}/{rest}"))
}

fn retained(topic: String, payload: &str) -> Message {
    let topic = Topic::new(topic).expect("checked ids make topics without wildcards");
    Message { topic, payload: payload.as_bytes().to_vec(), retained: true }
}
