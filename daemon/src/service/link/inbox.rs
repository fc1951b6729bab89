//! What arrived and was not read yet: bounded, whatever the broker sends.

use std::collections::{HashMap, VecDeque};

use super::message::LinkEvent;

/// Unread messages kept for one topic; the oldest goes first.
const MAX_PER_TOPIC: usize = 8;

/// Unread payloads kept in all [bytes].
const MAX_BYTES: usize = 4 * 1024 * 1024;

/// Unread events kept in all.
const MAX_EVENTS: usize = 4_096;

/// Events in the order they happened.
#[derive(Debug, Default)]
pub(super) struct Inbox {
    events: VecDeque<LinkEvent>,
    per_topic: HashMap<String, usize>,
    bytes: usize,
    lost: u64,
}

impl Inbox {
    /// Adds an event. Of a topic that floods, the newest messages are kept.
    pub(super) fn push(&mut self, event: LinkEvent) {
        if let LinkEvent::Message { topic, payload, .. } = &event {
            if self.per_topic.get(topic).is_some_and(|count| *count >= MAX_PER_TOPIC) {
                self.drop_oldest(topic);
            }
            if self.bytes + payload.len() > MAX_BYTES || self.events.len() >= MAX_EVENTS {
                self.lost += 1;
                return;
            }
            self.bytes += payload.len();
            *self.per_topic.entry(topic.clone()).or_default() += 1;
        } else if self.events.len() >= 2 * MAX_EVENTS {
            self.lost += 1;
            return;
        }
        self.events.push_back(event);
    }

    /// The next event.
    pub(super) fn pop(&mut self) -> Option<LinkEvent> {
        if self.lost > 0 {
            return Some(LinkEvent::Overrun { lost: std::mem::take(&mut self.lost) });
        }
        let event = self.events.pop_front()?;
        self.forget(&event);
        Some(event)
    }

    fn drop_oldest(&mut self, name: &str) {
        let found = self
            .events
            .iter()
            .position(|event| matches!(event, LinkEvent::Message { topic, .. } if topic == name));
        if let Some(event) = found.and_then(|index| self.events.remove(index)) {
            self.forget(&event);
            self.lost += 1;
        }
    }

    fn forget(&mut self, event: &LinkEvent) {
        if let LinkEvent::Message { topic, payload, .. } = event {
            self.bytes -= payload.len();
            if let Some(count) = self.per_topic.get_mut(topic) {
                *count -= 1;
                if *count == 0 {
                    self.per_topic.remove(topic);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(topic: &str, payload: &str) -> LinkEvent {
        LinkEvent::Message { topic: topic.into(), payload: payload.into(), retained: false }
    }

    #[test]
    fn a_flood_keeps_its_newest_and_spares_the_others() {
        let mut inbox = Inbox::default();
        inbox.push(message("command", "boost"));
        for i in 0..10_000 {
            inbox.push(message("meter", &i.to_string()));
        }
        assert_eq!(inbox.pop(), Some(LinkEvent::Overrun { lost: 9_992 }));
        assert_eq!(inbox.pop(), Some(message("command", "boost")));
        let rest: Vec<_> = std::iter::from_fn(|| inbox.pop()).collect();
        assert_eq!(rest.len(), 8);
        assert_eq!(rest.last(), Some(&message("meter", "9999")));
        assert_eq!((inbox.bytes, inbox.per_topic.len()), (0, 0));
    }

    #[test]
    fn memory_is_bounded_over_many_topics() {
        let mut inbox = Inbox::default();
        for i in 0..1_000 {
            inbox.push(message(&format!("t/{i}"), &"x".repeat(100_000)));
        }
        assert!(inbox.bytes <= MAX_BYTES);
        inbox.push(LinkEvent::Up);
        let events: Vec<_> = std::iter::from_fn(|| inbox.pop()).collect();
        assert_eq!(events.last(), Some(&LinkEvent::Up), "the link's own events still pass");
    }
}
