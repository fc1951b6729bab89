//! Names on the broker that cannot be refused by it.

use std::fmt;

/// Longest name in bytes; MQTT allows 65 535, nobody needs it.
const MAX_BYTES: usize = 512;

/// Why a text is not a topic or filter.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("topic `{}` {rule}", shorten(.text))]
pub struct TopicError {
    text: String,
    rule: &'static str,
}

fn shorten(text: &str) -> String {
    text.chars().take(60).flat_map(char::escape_debug).collect()
}

/// A topic to publish on: not empty, no wildcard, no control character, not too
/// long, and not in the broker's own `$` space.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Topic(String);

impl Topic {
    /// Checks the text.
    ///
    /// # Errors
    /// If a broker could refuse it.
    pub fn new(text: impl Into<String>) -> Result<Self, TopicError> {
        let text = text.into();
        let rule = broken_rule(&text).or_else(|| {
            text.contains(['+', '#']).then_some("has a wildcard; messages go to one topic only")
        });
        match rule {
            Some(rule) => Err(TopicError { text, rule }),
            None => Ok(Self(text)),
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What is subscribed to: a topic in which `+` may stand for one level. `#` is
/// refused, because one fat or hostile message anywhere below would be ours.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Filter(String);

impl Filter {
    /// Checks the text.
    ///
    /// # Errors
    /// If a broker could refuse it, or it is wider than one level.
    pub fn new(text: impl Into<String>) -> Result<Self, TopicError> {
        let text = text.into();
        let rule = broken_rule(&text).or_else(|| {
            if text.contains('#') {
                Some("has `#`; name the topics, or use `+` for one level")
            } else if text.split('/').any(|level| level.len() > 1 && level.contains('+')) {
                Some("has `+` beside other characters; it stands for a whole level")
            } else {
                None
            }
        });
        match rule {
            Some(rule) => Err(TopicError { text, rule }),
            None => Ok(Self(text)),
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether a message on the topic arrives through this filter.
    pub fn matches(&self, topic: &str) -> bool {
        let (mut ours, mut theirs) = (self.0.split('/'), topic.split('/'));
        loop {
            match (ours.next(), theirs.next()) {
                (None, None) => return true,
                (Some("+"), Some(_)) => {}
                (Some(a), Some(b)) if a == b => {}
                _ => return false,
            }
        }
    }
}

impl From<Topic> for Filter {
    fn from(topic: Topic) -> Self {
        Self(topic.0)
    }
}

fn broken_rule(text: &str) -> Option<&'static str> {
    if text.is_empty() {
        Some("is empty")
    } else if text.len() > MAX_BYTES {
        Some("is longer than 512 bytes")
    } else if text.chars().any(char::is_control) {
        Some("has a control character")
    } else if text.starts_with('$') {
        Some("begins with `$`, which is the broker's own")
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_never_sees_a_bad_topic() {
        for bad in ["", "a/+", "a/#", "a\0b", "a\nb", "$SYS/x", &"x".repeat(513)] {
            assert!(Topic::new(bad).is_err(), "{bad:?}");
        }
        assert_eq!(
            Topic::new("homie/5/mill/$state").expect("a topic").as_str(),
            "homie/5/mill/$state"
        );
        let text = Topic::new("a\0b").expect_err("a NUL").to_string();
        assert_eq!(text, "topic `a\\0b` has a control character");
    }

    #[test]
    fn a_filter_is_one_level_wide_at_most() {
        for bad in ["", "#", "a/#", "a/b+", "a\0", "$SYS/+"] {
            assert!(Filter::new(bad).is_err(), "{bad:?}");
        }
        let filter = Filter::new("a/+/c").expect("a filter");
        assert!(filter.matches("a/b/c") && filter.matches("a//c"));
        assert!(!filter.matches("a/b/c/d") && !filter.matches("a/b") && !filter.matches("x/b/c"));
    }
}
