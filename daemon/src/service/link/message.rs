//! What travels on the link, and what the link tells its owner.

use super::topic::{Filter, Topic};

/// A message to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Where it goes.
    pub topic: Topic,
    /// What it says.
    pub payload: Vec<u8>,
    /// Whether the broker keeps it for those who come later.
    pub retained: bool,
}

/// When a latest value is sent after a new connection: all of one rank before
/// any of the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    /// What describes the values that follow.
    Description,
    /// The values.
    Value,
    /// What says that everything is there.
    Ready,
}

/// What happened on the link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LinkEvent {
    /// Connected, and every subscription that could be confirmed is.
    Up,
    /// Not connected, or no longer.
    Down {
        /// Why, for people.
        cause: String,
    },
    /// A message arrived.
    Message {
        /// Its topic.
        topic: String,
        /// What it says.
        payload: Vec<u8>,
        /// It was kept by the broker, so its age is unknown.
        retained: bool,
    },
    /// The broker does not let us listen there.
    SubscriptionRefused {
        /// What we asked for.
        filter: Filter,
    },
    /// A message was too large and was thrown away unread.
    TooLarge {
        /// Its topic.
        topic: String,
        /// Its size [bytes].
        bytes: usize,
    },
    /// The broker kept a message where nothing may be kept, such as a command of
    /// long ago; it is taken off the broker.
    KeptCommand {
        /// Where it was.
        topic: String,
    },
    /// Something we published did not come back: the broker drops it.
    EchoMissing {
        /// Where it was published.
        topic: Topic,
    },
    /// We are thrown out again and again; another client seems to use our name.
    Contested {
        /// Our name at the broker.
        client_id: String,
    },
    /// Messages came faster than they were read, and this many were lost.
    Overrun {
        /// Messages lost since this was last said.
        lost: u64,
    },
}

/// Why something was not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// A momentary message is never kept for later.
    #[error("not sent: no connection to the broker, and a momentary message is not kept for later")]
    Offline,
    /// Too many momentary messages wait.
    #[error("not sent: {0} momentary messages wait already; send fewer or look at the network")]
    Busy(usize),
    /// The payload would end the connection.
    #[error("not sent: {bytes} bytes are more than the {limit} a message may have")]
    TooLarge {
        /// Size of the payload [bytes].
        bytes: usize,
        /// Largest size [bytes].
        limit: usize,
    },
}
