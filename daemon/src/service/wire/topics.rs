//! Every topic of the own tree, `<prefix>/v1/…`, in one place.
//!
//! Retained documents carry their own end of validity; set-points, commands and
//! answers are never retained.

use crate::service::link::{Filter, Topic, TopicError};

/// A topic of the own tree as a pattern, for the interface description.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Channel {
    /// Address below the prefix, with `{}` parameters.
    pub address: &'static str,
    /// Name of the document.
    pub document: &'static str,
    /// Whether the broker keeps it.
    pub retained: bool,
    /// Whether the service sends it; otherwise it listens.
    pub sent: bool,
}

const fn channel(
    address: &'static str,
    document: &'static str,
    retained: bool,
    sent: bool,
) -> Channel {
    Channel { address, document, retained, sent }
}

/// Every channel of the own tree.
pub const CHANNELS: [Channel; 11] = [
    channel("v1/availability", "availability", true, true),
    channel("v1/plan", "plan", true, true),
    channel("v1/stores/{store}", "store", true, true),
    channel("v1/sinks/{sink}", "sink", true, true),
    channel("v1/faults", "faults", true, true),
    channel("v1/health", "health", true, true),
    channel("v1/heaters/{store}/{heater}/set-point", "set-point", false, true),
    channel("v1/sources/{source}/set-point", "source-set-point", false, true),
    channel("v1/battery/set-point", "battery", false, true),
    channel("v1/command", "command", false, false),
    channel("v1/answer", "answer", false, true),
];

/// The topics under a prefix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Topics {
    prefix: Topic,
}

impl Topics {
    /// Takes a prefix such as `stowheat/mill`.
    ///
    /// # Errors
    /// If it is no topic, or so long that the topics below it would not be.
    pub fn new(prefix: impl Into<String>) -> Result<Self, TopicError> {
        let prefix = Topic::new(prefix)?;
        // The longest address below the prefix with two names of 60 bytes.
        Topic::new(format!("{prefix}/v1/heaters/{0}/{0}/set-point", "x".repeat(60)))?;
        Ok(Self { prefix })
    }

    /// Whether the service is there.
    pub fn availability(&self) -> Topic {
        self.below("v1/availability")
    }

    /// The schedule.
    pub fn plan(&self) -> Topic {
        self.below("v1/plan")
    }

    /// What is known of a store.
    pub fn store(&self, store: &str) -> Topic {
        self.below(&format!("v1/stores/{}", level(store)))
    }

    /// What is known of buffer, rooms or pool.
    pub fn sink(&self, sink: &str) -> Topic {
        self.below(&format!("v1/sinks/{}", level(sink)))
    }

    /// What a source or circuit is to do.
    pub fn source_set_point(&self, source: &str) -> Topic {
        self.below(&format!("v1/sources/{}/set-point", level(source)))
    }

    /// What is wrong.
    pub fn faults(&self) -> Topic {
        self.below("v1/faults")
    }

    /// How the service is.
    pub fn health(&self) -> Topic {
        self.below("v1/health")
    }

    /// What a heater is to do.
    pub fn set_point(&self, store: &str, heater: &str) -> Topic {
        self.below(&format!("v1/heaters/{}/{}/set-point", level(store), level(heater)))
    }

    /// What the battery is to do.
    pub fn battery(&self) -> Topic {
        self.below("v1/battery/set-point")
    }

    /// What people ask for.
    pub fn command(&self) -> Filter {
        self.below("v1/command").into()
    }

    /// What became of it.
    pub fn answer(&self) -> Topic {
        self.below("v1/answer")
    }

    fn below(&self, address: &str) -> Topic {
        Topic::new(format!("{}/{address}", self.prefix))
            .expect("the prefix was checked with the longest address, and levels are clean")
    }
}

/// A name as one level of a topic: lower-case letters, digits and `-`, at most
/// 60 of them. The same form serves as an id in the Homie tree.
pub fn level(name: &str) -> String {
    let mut level = String::new();
    for c in name.chars().flat_map(char::to_lowercase) {
        if c.is_ascii_lowercase() || c.is_ascii_digit() {
            level.push(c);
        } else if !level.ends_with('-') && !level.is_empty() {
            level.push('-');
        }
        if level.len() == 60 {
            break;
        }
    }
    let trimmed = level.trim_end_matches('-');
    if trimmed.is_empty() { "unnamed".to_owned() } else { trimmed.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_levels() {
        assert_eq!(level("Hot-water cylinder"), "hot-water-cylinder");
        assert_eq!(level("Größe +/#"), "gr-e");
        assert_eq!(level("++"), "unnamed");
        assert_eq!(level(&"x".repeat(100)).len(), 60);
    }

    #[test]
    fn topics_stand_below_the_prefix() {
        let topics = Topics::new("stowheat/mill").expect("a prefix");
        assert_eq!(
            topics.set_point("Cylinder", "Upper element").as_str(),
            "stowheat/mill/v1/heaters/cylinder/upper-element/set-point"
        );
        assert!(Topics::new("a/#").is_err());
        assert!(Topics::new("x".repeat(450)).is_err());
    }

    #[test]
    fn every_topic_is_a_listed_channel() {
        let topics = Topics::new("p").expect("a prefix");
        let all = [
            topics.availability(),
            topics.plan(),
            topics.store("s"),
            topics.faults(),
            topics.health(),
            topics.sink("k"),
            topics.set_point("s", "h"),
            topics.source_set_point("p"),
            topics.battery(),
            topics.answer(),
        ];
        let mut addresses: Vec<String> = all
            .iter()
            .map(|topic| topic.as_str().trim_start_matches("p/").to_owned())
            .chain([topics.command().as_str().trim_start_matches("p/").to_owned()])
            .collect();
        let mut listed: Vec<String> = CHANNELS
            .iter()
            .map(|c| c.address.replace("{store}", "s").replace("{heater}", "h"))
            .map(|address| address.replace("{sink}", "k").replace("{source}", "p"))
            .collect();
        addresses.sort();
        listed.sort();
        assert_eq!(addresses, listed);
    }
}
