//! What is to be sent: one latest value for each retained topic, and a few
//! momentary messages that are forgotten when the connection goes.

use std::collections::{BTreeMap, VecDeque};

use super::config::MAX_PAYLOAD;
use super::message::{Message, Rank, SendError};
use super::topic::Topic;

/// Momentary messages that may wait at once.
const MAX_WAITING: usize = 64;

#[derive(Debug, Clone)]
struct Latest {
    rank: Rank,
    /// Position among the topics of the same rank: the order in which they came.
    position: u64,
    payload: Vec<u8>,
}

/// The messages to be sent, without any networking.
#[derive(Debug, Default)]
pub(super) struct Outbox {
    latest: BTreeMap<Topic, Latest>,
    /// In the order in which they were cleared: a device is undiscovered first.
    cleared: Vec<Topic>,
    changed: VecDeque<Topic>,
    momentary: VecDeque<Message>,
    next_position: u64,
    online: bool,
    unacknowledged: usize,
}

impl Outbox {
    /// Sets the latest value of a retained topic; an equal value is not sent again.
    ///
    /// # Errors
    /// If the payload is too large.
    pub(super) fn set(
        &mut self,
        topic: Topic,
        payload: Vec<u8>,
        rank: Rank,
    ) -> Result<(), SendError> {
        fits(&payload)?;
        if self.latest.get(&topic).is_some_and(|held| held.payload == payload) {
            return Ok(());
        }
        let position = self.latest.get(&topic).map_or(self.next_position, |held| held.position);
        self.next_position += 1;
        self.cleared.retain(|cleared| *cleared != topic);
        self.latest.insert(topic.clone(), Latest { rank, position, payload });
        self.mark(topic);
        Ok(())
    }

    /// Takes a retained topic off the broker, now or after the next connection.
    pub(super) fn clear(&mut self, topic: Topic) {
        self.latest.remove(&topic);
        if !self.cleared.contains(&topic) {
            self.cleared.push(topic.clone());
        }
        self.mark(topic);
    }

    /// Adds a momentary message.
    ///
    /// # Errors
    /// If there is no connection, too many wait, or the payload is too large.
    pub(super) fn send_once(&mut self, topic: Topic, payload: Vec<u8>) -> Result<(), SendError> {
        fits(&payload)?;
        if !self.online {
            return Err(SendError::Offline);
        }
        if self.momentary.len() >= MAX_WAITING {
            return Err(SendError::Busy(self.momentary.len()));
        }
        self.momentary.push_back(Message { topic, payload, retained: false });
        Ok(())
    }

    /// A connection stands: everything retained is to be sent again, in order.
    pub(super) fn up(&mut self) {
        self.online = true;
        self.unacknowledged = 0;
        let mut topics: Vec<_> = self.latest.iter().collect();
        topics.sort_by_key(|(_, latest)| (latest.rank, latest.position));
        self.changed = self
            .cleared
            .iter()
            .chain(topics.into_iter().map(|(topic, _)| topic))
            .cloned()
            .collect();
    }

    /// The connection is gone, and momentary messages with it.
    pub(super) fn down(&mut self) {
        self.online = false;
        self.unacknowledged = 0;
        self.momentary.clear();
        self.changed.clear();
    }

    /// The next message to send: momentary ones first, then what changed.
    pub(super) fn next_message(&mut self) -> Option<Message> {
        if let Some(message) = self.momentary.pop_front() {
            return Some(message);
        }
        let topic = self.changed.pop_front()?;
        let payload = self.latest.get(&topic).map(|latest| latest.payload.clone());
        if payload.is_none() {
            self.cleared.retain(|cleared| *cleared != topic);
        }
        Some(Message { topic, payload: payload.unwrap_or_default(), retained: true })
    }

    /// A message left for the broker.
    pub(super) fn sent(&mut self) {
        self.unacknowledged += 1;
    }

    /// The broker has a message.
    pub(super) fn acknowledged(&mut self) {
        self.unacknowledged = self.unacknowledged.saturating_sub(1);
    }

    /// Whether the broker has everything.
    pub(super) fn is_settled(&self) -> bool {
        self.momentary.is_empty() && self.changed.is_empty() && self.unacknowledged == 0
    }

    fn mark(&mut self, topic: Topic) {
        if self.online && !self.changed.contains(&topic) {
            self.changed.push_back(topic);
        }
    }
}

fn fits(payload: &[u8]) -> Result<(), SendError> {
    let bytes = payload.len();
    if bytes > MAX_PAYLOAD {
        Err(SendError::TooLarge { bytes, limit: MAX_PAYLOAD })
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn topic(text: &str) -> Topic {
        Topic::new(text).expect("a topic")
    }

    fn drain(outbox: &mut Outbox) -> Vec<(String, String, bool)> {
        std::iter::from_fn(|| outbox.next_message())
            .map(|m| {
                (m.topic.to_string(), String::from_utf8_lossy(&m.payload).into_owned(), m.retained)
            })
            .collect()
    }

    fn say(topic: &str, payload: &str) -> (String, String, bool) {
        (topic.into(), payload.into(), true)
    }

    // A long outage ends with one current message for each topic, no backlog.
    #[test]
    fn after_an_outage_each_topic_is_sent_once() {
        let mut outbox = Outbox::default();
        for hour in 0..24 {
            outbox.set(topic("plan"), format!("at {hour}").into(), Rank::Value).expect("fits");
            assert_eq!(outbox.send_once(topic("set"), b"on".to_vec()), Err(SendError::Offline));
        }
        assert_eq!(drain(&mut outbox), []);
        outbox.up();
        assert_eq!(drain(&mut outbox), [say("plan", "at 23")]);
        outbox.down();
        outbox.up();
        assert_eq!(drain(&mut outbox), [say("plan", "at 23")], "again on each connection");
    }

    #[test]
    fn ranks_order_the_first_messages_and_changes_go_as_they_come() {
        let mut outbox = Outbox::default();
        outbox.set(topic("state"), b"ready".to_vec(), Rank::Ready).expect("fits");
        outbox.set(topic("z"), b"1".to_vec(), Rank::Value).expect("fits");
        outbox.set(topic("a"), b"2".to_vec(), Rank::Value).expect("fits");
        outbox.set(topic("about"), b"{}".to_vec(), Rank::Description).expect("fits");
        outbox.up();
        assert_eq!(
            drain(&mut outbox),
            [say("about", "{}"), say("z", "1"), say("a", "2"), say("state", "ready")]
        );
        outbox.set(topic("a"), b"3".to_vec(), Rank::Value).expect("fits");
        outbox.set(topic("z"), b"1".to_vec(), Rank::Value).expect("fits");
        outbox.send_once(topic("set"), b"on".to_vec()).expect("online");
        assert_eq!(drain(&mut outbox), [("set".into(), "on".into(), false), say("a", "3")]);
    }

    #[test]
    fn momentary_messages_die_with_the_connection() {
        let mut outbox = Outbox::default();
        outbox.up();
        outbox.send_once(topic("set"), b"on".to_vec()).expect("online");
        outbox.down();
        outbox.up();
        assert_eq!(drain(&mut outbox), []);
    }

    #[test]
    fn a_cleared_topic_is_emptied_once_even_when_offline() {
        let mut outbox = Outbox::default();
        outbox.set(topic("old"), b"x".to_vec(), Rank::Value).expect("fits");
        outbox.clear(topic("old"));
        outbox.clear(topic("even older"));
        outbox.up();
        assert_eq!(drain(&mut outbox), [say("old", ""), say("even older", "")], "as cleared");
        outbox.down();
        outbox.up();
        assert_eq!(drain(&mut outbox), []);
    }

    #[test]
    fn the_own_payload_cannot_kill_the_link() {
        let mut outbox = Outbox::default();
        let fat = vec![b'x'; MAX_PAYLOAD + 1];
        let refused = outbox.set(topic("plan"), fat, Rank::Value);
        assert!(matches!(refused, Err(SendError::TooLarge { .. })));
    }

    #[test]
    fn it_is_settled_when_the_broker_has_everything() {
        let mut outbox = Outbox::default();
        outbox.up();
        outbox.set(topic("a"), b"1".to_vec(), Rank::Value).expect("fits");
        assert!(!outbox.is_settled());
        drain(&mut outbox);
        outbox.sent();
        assert!(!outbox.is_settled());
        outbox.acknowledged();
        assert!(outbox.is_settled());
    }
}
