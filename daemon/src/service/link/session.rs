//! One connection after the other, by the client library rumqttc.
//!
//! Two tasks work on a connection. The polling task only polls, because a poll
//! that is cancelled may lose what it read. The sending task takes from the
//! outbox and may wait for the client without holding up anybody else.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, LastWill, MqttOptions, NetworkOptions,
    Outgoing, Packet, Publish, QoS, StateError, SubAck, SubscribeFilter, SubscribeReasonCode,
    TlsConfiguration, Transport,
};
use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep, sleep_until, timeout};

use super::Shared;
use super::config::{Checked, MAX_PACKET, MAX_PAYLOAD};
use super::message::{LinkEvent, Message};
use super::pace::{Backoff, LogGate, TakeOvers};
use super::tls;
use super::topic::{Filter, Topic};

/// Messages that may wait inside the client; few, because they are lost with it.
const CLIENT_QUEUE: usize = 16;

/// Limit on the broker's answer to our subscriptions, and on an echo.
const ANSWER_LIMIT: Duration = Duration::from_secs(10);

/// A connection that held this long was a good one.
const GOOD_AFTER: Duration = Duration::from_secs(30);

/// How a connection ended.
struct Ended {
    cause: String,
    was_up: bool,
    /// The broker had everything.
    settled: bool,
}

/// Connects again and again until told to stop; returns whether the broker had
/// everything by then.
pub(super) async fn run(config: Checked, shared: Arc<Shared>) -> bool {
    let begin = Instant::now();
    let longest = Duration::from_secs(u64::from(config.longest_wait_s));
    let mut backoff = Backoff::new(longest, config.seed);
    let mut log = LogGate::default();
    let mut take_overs = TakeOvers::default();
    let mut stopping = shared.stopping.subscribe();
    loop {
        let started = Instant::now();
        let ended = Session::new(&config, &shared).run().await;
        shared.outbox().down();
        if *stopping.borrow() {
            return ended.settled;
        }
        let cause = ended.cause;
        if let Some(held_back) = log.allow(begin.elapsed(), &cause) {
            let (host, port) = (&config.host, config.port);
            tracing::warn!(cause, held_back, host, port, "no connection to the broker");
        }
        shared.tell(LinkEvent::Down { cause });
        if std::mem::take(&mut *shared.renew()) {
            continue;
        }
        if ended.was_up && take_overs.record(begin.elapsed()) {
            shared.tell(LinkEvent::Contested { client_id: config.client_id.clone() });
        }
        if ended.was_up && started.elapsed() >= GOOD_AFTER {
            backoff.reset();
        }
        config.pulse.beat();
        tokio::select! {
            () = sleep(backoff.wait()) => {}
            _ = stopping.wait_for(|stop| *stop) => return false,
        }
    }
}

/// One connection, from greeting to end.
struct Session<'a> {
    config: &'a Checked,
    shared: &'a Arc<Shared>,
    filters: Vec<Filter>,
    client: AsyncClient,
    event_loop: EventLoop,
    echo: Arc<Echo>,
    subscribed: Arc<Notify>,
    sender: Option<AbortOnDrop>,
    was_up: bool,
}

impl<'a> Session<'a> {
    fn new(config: &'a Checked, shared: &'a Arc<Shared>) -> Self {
        let (client, mut event_loop) = AsyncClient::new(options(config), CLIENT_QUEUE);
        let mut network = NetworkOptions::new();
        network.set_connection_timeout(u64::from(config.connect_timeout_s));
        network.set_tcp_nodelay(true);
        event_loop.set_network_options(network);
        let mut filters = shared.filters().clone();
        let own = config.echo.iter().chain(&config.never_kept);
        filters.extend(own.cloned().map(Filter::from));
        Self {
            config,
            shared,
            filters,
            client,
            event_loop,
            echo: Arc::default(),
            subscribed: Arc::default(),
            sender: None,
            was_up: false,
        }
    }

    async fn run(mut self) -> Ended {
        let mut stopping = self.shared.stopping.subscribe();
        // Until the greeting is answered nothing is lost by giving up.
        let mut next = tokio::select! {
            next = self.event_loop.poll() => next,
            _ = stopping.wait_for(|stop| *stop) => return self.ended("stopped"),
        };
        loop {
            self.config.pulse.beat();
            match next {
                Ok(Event::Outgoing(Outgoing::Disconnect)) => return self.ended("said good-bye"),
                Ok(event) => self.handle(event),
                Err(error) => return self.ended(&explain(&error)),
            }
            next = self.event_loop.poll().await;
        }
    }

    fn ended(&self, cause: &str) -> Ended {
        let settled = self.was_up && self.shared.outbox().is_settled();
        Ended { cause: cause.to_owned(), was_up: self.was_up, settled }
    }

    fn handle(&mut self, event: Event) {
        match event {
            Event::Incoming(Packet::ConnAck(_)) => self.greeted(),
            Event::Incoming(Packet::SubAck(answer)) => self.subscribed(&answer),
            Event::Incoming(Packet::Publish(publish)) => self.received(&publish),
            Event::Incoming(Packet::PubAck(_)) => {
                self.shared.outbox().acknowledged();
                self.shared.changed.notify_one();
            }
            _ => {}
        }
    }

    fn greeted(&mut self) {
        let sending = Sending {
            client: self.client.clone(),
            shared: Arc::clone(self.shared),
            echo: Arc::clone(&self.echo),
            subscribed: Arc::clone(&self.subscribed),
            config: self.config.clone(),
        };
        self.sender = Some(AbortOnDrop(tokio::spawn(sending.run())));
        if self.filters.is_empty() {
            self.up();
            return;
        }
        let wanted = self
            .filters
            .iter()
            .map(|filter| SubscribeFilter::new(filter.as_str().to_owned(), QoS::AtLeastOnce));
        // The queue is empty here, so there is room. Were there none, the
        // sending task would end the connection for want of an answer.
        if let Err(error) = self.client.try_subscribe_many(wanted) {
            tracing::error!(%error, "subscriptions were not taken by the client");
        }
    }

    fn subscribed(&mut self, answer: &SubAck) {
        for (filter, code) in self.filters.iter().zip(&answer.return_codes) {
            if *code == SubscribeReasonCode::Failure {
                tracing::error!(topic = filter.as_str(), "the broker refused a subscription");
                self.shared.tell(LinkEvent::SubscriptionRefused { filter: filter.clone() });
            }
        }
        self.up();
    }

    fn up(&mut self) {
        self.was_up = true;
        self.shared.outbox().up();
        tracing::info!(host = %self.config.host, port = self.config.port, "connected to the broker");
        self.shared.tell(LinkEvent::Up);
        self.subscribed.notify_one();
    }

    fn received(&self, publish: &Publish) {
        let bytes = publish.payload.len();
        if self.config.echo.as_ref().is_some_and(|echo| echo.as_str() == publish.topic) {
            self.echo.heard(&publish.payload);
        } else if self.config.never_kept.iter().any(|own| own.as_str() == publish.topic) {
            self.sweep(publish);
        } else if bytes > MAX_PAYLOAD {
            self.shared.tell(LinkEvent::TooLarge { topic: publish.topic.clone(), bytes });
        } else {
            self.shared.tell(LinkEvent::Message {
                topic: publish.topic.clone(),
                payload: publish.payload.to_vec(),
                retained: publish.retain,
            });
        }
    }
}

impl Session<'_> {
    /// Takes a kept message off a topic where none may be. What is not kept is what
    /// we just said ourselves.
    fn sweep(&self, publish: &Publish) {
        if !publish.retain || publish.payload.is_empty() {
            return;
        }
        if let Ok(topic) = Topic::new(publish.topic.clone()) {
            tracing::error!(topic = topic.as_str(), "a kept command is taken off the broker");
            self.shared.outbox().clear(topic);
            self.shared.changed.notify_one();
        }
        self.shared.tell(LinkEvent::KeptCommand { topic: publish.topic.clone() });
    }
}

/// The task that sends.
struct Sending {
    client: AsyncClient,
    shared: Arc<Shared>,
    echo: Arc<Echo>,
    subscribed: Arc<Notify>,
    config: Checked,
}

impl Sending {
    /// Ends when the client is gone or good-bye was said.
    async fn run(self) {
        if timeout(ANSWER_LIMIT, self.subscribed.notified()).await.is_err() {
            tracing::error!("the broker does not answer our subscriptions");
            let _gone = self.client.disconnect().await;
            return;
        }
        for message in self.config.opening.clone() {
            if self.send(message).await.is_none() {
                return;
            }
        }
        loop {
            let changed = self.shared.changed.notified();
            loop {
                // Its own statement, so that the lock is not held while sending.
                let message = self.shared.outbox().next_message();
                let Some(message) = message else { break };
                if self.send(message).await.is_none() {
                    return;
                }
            }
            let leave = *self.shared.stopping.borrow() || *self.shared.renew();
            if leave && self.shared.outbox().is_settled() {
                let _gone = self.client.disconnect().await;
                return;
            }
            match self.echo.due() {
                None => changed.await,
                Some(due) => tokio::select! {
                    () = changed => {}
                    () = sleep_until(due) => self.miss_echo(),
                },
            }
        }
    }

    async fn send(&self, message: Message) -> Option<()> {
        let Message { topic, payload, retained } = message;
        if self.config.echo.as_ref() == Some(&topic) && !payload.is_empty() {
            self.echo.expect(&payload);
        }
        // Counted before the client has it, so that good-bye waits for its answer.
        self.shared.outbox().sent();
        self.client.publish(topic.as_str(), QoS::AtLeastOnce, retained, payload).await.ok()
    }

    fn miss_echo(&self) {
        if let (true, Some(topic)) = (self.echo.missed(), &self.config.echo) {
            tracing::error!(topic = topic.as_str(), "the broker drops what we publish");
            self.shared.tell(LinkEvent::EchoMissing { topic: topic.clone() });
        }
    }
}

/// A message of our own that should come back.
#[derive(Default)]
struct Echo(Mutex<Option<(Vec<u8>, Instant)>>);

impl Echo {
    fn inner(&self) -> std::sync::MutexGuard<'_, Option<(Vec<u8>, Instant)>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn expect(&self, payload: &[u8]) {
        *self.inner() = Some((payload.to_vec(), Instant::now() + ANSWER_LIMIT));
    }

    fn heard(&self, payload: &[u8]) {
        self.inner().take_if(|(expected, _)| expected == payload);
    }

    fn due(&self) -> Option<Instant> {
        self.inner().as_ref().map(|(_, due)| *due)
    }

    fn missed(&self) -> bool {
        self.inner().take_if(|(_, due)| *due <= Instant::now()).is_some()
    }
}

struct AbortOnDrop(JoinHandle<()>);

impl Drop for AbortOnDrop {
    fn drop(&mut self) {
        self.0.abort();
    }
}

fn options(config: &Checked) -> MqttOptions {
    let mut options = MqttOptions::new(&config.client_id, &config.host, config.port);
    options
        .set_keep_alive(Duration::from_secs(u64::from(config.keep_alive_s)))
        .set_clean_session(true)
        .set_max_packet_size(MAX_PACKET, MAX_PACKET)
        .set_inflight(32);
    if let Some(connector) = &config.connector {
        let tls = TlsConfiguration::NativeConnector(connector.clone());
        options.set_transport(Transport::tls_with_config(tls));
    }
    if let Some(credentials) = &config.credentials {
        options.set_credentials(&credentials.user, &credentials.password);
    }
    if let Some(will) = &config.will {
        let payload = will.payload.clone();
        let will = LastWill::new(will.topic.as_str(), payload, QoS::AtLeastOnce, will.retained);
        options.set_last_will(will);
    }
    options
}

/// What went wrong, in words that stay the same while the cause does.
fn explain(error: &ConnectionError) -> String {
    use rumqttc::mqttbytes::Error as Packets;
    if let Some(cause) = tls::cause(&error.to_string()) {
        return cause;
    }
    if let ConnectionError::Tls(error) = error {
        return format!(
            "the broker broke off the start of TLS ({error}); is this its port for TLS, usually 8883?"
        );
    }
    match error {
        ConnectionError::MqttState(StateError::Deserialization(
            Packets::PayloadSizeLimitExceeded(_),
        )) => format!(
            "a message above {MAX_PACKET} bytes came on a subscribed topic; remove it from the broker"
        ),
        ConnectionError::MqttState(StateError::Io(error)) | ConnectionError::Io(error) => {
            error.to_string()
        }
        ConnectionError::MqttState(StateError::AwaitPingResp) => {
            "the broker gave no sign of life".to_owned()
        }
        ConnectionError::NetworkTimeout => "the broker did not answer in time".to_owned(),
        ConnectionError::ConnectionRefused(code) => format!("the broker refused us: {code:?}"),
        other => other.to_string(),
    }
}
