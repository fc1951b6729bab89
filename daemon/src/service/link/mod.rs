//! The link to the MQTT broker. No other module names the client library.
//!
//! What is published is state, not a queue: one latest value for each retained
//! topic, sent after every connection and on change. Momentary messages
//! (set-points) go out now or not at all. One task polls the client and does
//! nothing else; after any error the client is thrown away with everything it
//! still held, and a new one is built after a pause.
//!
//! There is one last will for each connection. With the Homie tree on, it is the
//! root device's `$state` = `lost`, as the convention asks; the own availability
//! document then tells the same by its `valid_until`, which a dead service no
//! longer moves. Without the tree the will is the own `offline` document.

mod config;
mod inbox;
mod message;
mod outbox;
mod pace;
mod session;
mod tls;
mod topic;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::task::JoinHandle;

pub use config::{Checked, ConfigError, Credentials, LinkConfig, MAX_PACKET, MAX_PAYLOAD};
pub use message::{LinkEvent, Message, Rank, SendError};
pub use tls::{Identity, Tls};
pub use topic::{Filter, Topic, TopicError};

use inbox::Inbox;
use outbox::Outbox;

/// Limit on saying good-bye [s].
const FLUSH_LIMIT: Duration = Duration::from_secs(2);

/// What the service needs of a broker connection, whoever makes it.
pub trait Link {
    /// Sets the latest value of a retained topic: sent now if connected, and
    /// after every connection from now on.
    ///
    /// # Errors
    /// If the payload is too large.
    fn publish_latest(&self, topic: Topic, payload: Vec<u8>, rank: Rank) -> Result<(), SendError>;

    /// Takes a retained topic off the broker.
    fn clear_latest(&self, topic: Topic);

    /// Sends a message that is never retained and never kept for later.
    ///
    /// # Errors
    /// If there is no connection, too many wait, or the payload is too large.
    fn publish_once(&self, topic: Topic, payload: Vec<u8>) -> Result<(), SendError>;

    /// Listens to these from now on, instead of what was listened to before; a
    /// change renews the connection.
    fn subscribe(&self, filters: Vec<Filter>);

    /// Waits for what happens next.
    fn next_event(&self) -> impl Future<Output = LinkEvent> + Send;
}

/// What the polling task, the sending task and the handle share.
struct Shared {
    outbox: Mutex<Outbox>,
    inbox: Mutex<Inbox>,
    filters: Mutex<Vec<Filter>>,
    /// Something is to be sent, acknowledged or told to the sending task.
    changed: Notify,
    /// Something arrived.
    arrived: Notify,
    /// The owner wants to stop.
    stopping: tokio::sync::watch::Sender<bool>,
    /// The connection is to be made anew, without waiting.
    renew: Mutex<bool>,
}

impl Shared {
    fn outbox(&self) -> MutexGuard<'_, Outbox> {
        self.outbox.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn filters(&self) -> MutexGuard<'_, Vec<Filter>> {
        self.filters.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn renew(&self) -> MutexGuard<'_, bool> {
        self.renew.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, event: LinkEvent) {
        self.inbox.lock().unwrap_or_else(PoisonError::into_inner).push(event);
        self.arrived.notify_one();
    }

    fn next(&self) -> Option<LinkEvent> {
        self.inbox.lock().unwrap_or_else(PoisonError::into_inner).pop()
    }
}

/// A running link to a broker over TCP, with TLS if the settings ask for it.
pub struct BrokerLink {
    shared: Arc<Shared>,
    task: JoinHandle<bool>,
}

impl BrokerLink {
    /// Starts to connect, within a tokio runtime.
    pub fn start(config: Checked) -> Self {
        let shared = Arc::new(Shared {
            outbox: Mutex::default(),
            inbox: Mutex::default(),
            filters: Mutex::new(config.subscriptions.clone()),
            changed: Notify::new(),
            arrived: Notify::new(),
            stopping: tokio::sync::watch::Sender::new(false),
            renew: Mutex::new(false),
        });
        let task = tokio::spawn(session::run(config, Arc::clone(&shared)));
        Self { shared, task }
    }

    /// Sends what is still to be sent, says good-bye and ends, within 2 s. Set
    /// the `offline` values first: a clean good-bye suppresses the will.
    /// Returns whether the broker has everything.
    pub async fn stop(self) -> bool {
        self.shared.stopping.send_replace(true);
        self.shared.changed.notify_one();
        let abort = self.task.abort_handle();
        let ended = tokio::time::timeout(FLUSH_LIMIT, self.task).await;
        abort.abort();
        matches!(ended, Ok(Ok(true)))
    }
}

impl Link for BrokerLink {
    fn publish_latest(&self, topic: Topic, payload: Vec<u8>, rank: Rank) -> Result<(), SendError> {
        self.shared.outbox().set(topic, payload, rank)?;
        self.shared.changed.notify_one();
        Ok(())
    }

    fn clear_latest(&self, topic: Topic) {
        self.shared.outbox().clear(topic);
        self.shared.changed.notify_one();
    }

    fn publish_once(&self, topic: Topic, payload: Vec<u8>) -> Result<(), SendError> {
        self.shared.outbox().send_once(topic, payload)?;
        self.shared.changed.notify_one();
        Ok(())
    }

    fn subscribe(&self, filters: Vec<Filter>) {
        let mut held = self.shared.filters();
        if *held != filters {
            *held = filters;
            *self.shared.renew() = true;
            self.shared.changed.notify_one();
        }
    }

    async fn next_event(&self) -> LinkEvent {
        loop {
            let arrived = self.shared.arrived.notified();
            if let Some(event) = self.shared.next() {
                return event;
            }
            arrived.await;
        }
    }
}
