//! What is kept on the broker for those who come later.

use super::effects::{json, log_unsent};
use super::{App, devices, documents, metrics, plant_room};
use crate::present::document::{Document, Status};
use crate::service::archive::Record;
use crate::service::homie::Mirror;
use crate::service::http;
use crate::service::link::{Link, Message, Rank, Topic};

impl App {
    pub(super) fn publish(&self, topic: Topic, payload: Vec<u8>, rank: Rank) {
        let name = topic.as_str().to_owned();
        if let Err(error) = self.link.publish_latest(topic, payload, rank) {
            log_unsent(&name, error);
        }
    }

    /// A message of the tree.
    pub(super) fn set(&self, message: Message, rank: Rank) {
        if message.retained {
            self.publish(message.topic, message.payload, rank);
        } else if let Err(error) = self.link.publish_once(message.topic, message.payload) {
            tracing::debug!(%error, "a momentary value did not leave");
        }
    }

    /// A new schedule, numbered.
    pub(super) fn tell_document(&mut self, mut document: Document) {
        document.boot_id = Some(self.boot_id.clone());
        document.seq = Some(self.plan_number);
        let payload = json(&document);
        let now = self.now();
        if let Ok(json) = String::from_utf8(payload.clone()) {
            self.memory.keep(now, Record::Plan { issued_at: now, json });
        }
        self.schedule_json = serde_json::to_string(&document.slots).unwrap_or_default();
        self.publish(self.topics.plan(), payload, Rank::Value);
    }

    /// The schedule before is kept, and says so.
    pub(super) fn tell_schedule(&mut self) {
        let now = self.now();
        let Some(made) = self.made.as_deref().filter(|made| now < made.valid_until) else {
            return;
        };
        let mut document = made.document(&self.house);
        document.status = Status::Previous;
        document.boot_id = Some(self.boot_id.clone());
        document.seq = Some(self.plan_number);
        self.publish(self.topics.plan(), json(&document), Rank::Value);
        self.refresh();
    }

    /// Everything that says how things are, now.
    pub(super) fn refresh(&mut self) {
        self.estimate();
        let view = self.view();
        let now = view.now;
        let online = documents::availability(&self.boot_id, Some(now));
        let health = documents::health(&view, &self.boot_id);
        let stores: Vec<_> =
            (0..self.stores.len()).map(|index| documents::store(&view, index)).collect();
        let sinks = plant_room::sinks(&self.house).into_iter();
        let sinks: Vec<_> =
            sinks.filter_map(|(sink, name)| documents::sink(&view, sink, name)).collect();
        self.publish(self.topics.availability(), json(&online), Rank::Ready);
        self.publish(self.topics.health(), json(&health), Rank::Value);
        for store in stores {
            self.publish(self.topics.store(&store.store), json(&store), Rank::Value);
        }
        for sink in sinks {
            self.publish(self.topics.sink(&sink.sink), json(&sink), Rank::Value);
        }
        self.refreshed = Some(now);
        self.show();
    }

    /// The tree and the monitoring.
    pub(super) fn show(&mut self) {
        let view = self.view();
        let now = view.now;
        if let Some(tree) = &self.tree {
            for message in devices::values(tree, &view, &self.schedule_json) {
                if self.settings.homie.mirror
                    && let Some(mirrored) = Mirror::new(tree).value(&message)
                {
                    self.set(mirrored, Rank::Value);
                }
                self.set(message, Rank::Value);
            }
        }
        let status =
            http::Status { not_ready: self.state.not_ready(now), metrics: metrics::metrics(&view) };
        self.status.send_replace(status);
        self.shown = Some(now);
    }
}
