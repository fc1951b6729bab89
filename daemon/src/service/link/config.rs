//! Settings of the link, checked so that the client cannot panic on them.

use rumqttc::tokio_native_tls::native_tls::TlsConnector;

use super::message::Message;
use super::tls::{self, Tls};
use super::topic::{Filter, Topic};
use crate::service::supervision::Pulse;

/// Largest payload taken in or given out [bytes].
pub const MAX_PAYLOAD: usize = 256 * 1024;

/// A packet above this ends the connection [bytes]. It stands well above
/// [`MAX_PAYLOAD`], so that a message somewhat too large is refused by us, with
/// its topic named, instead of by the client, which can only hang up.
pub const MAX_PACKET: usize = 4 * 1024 * 1024;

/// Settings of the link as given.
#[derive(Clone)]
pub struct LinkConfig {
    /// Name or address of the broker.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Name of this client at the broker; two clients of one name throw each
    /// other out.
    pub client_id: String,
    /// Name and password.
    pub credentials: Option<Credentials>,
    /// TLS; plain text if it is not asked for.
    pub tls: Option<Tls>,
    /// Time between signs of life; a dead peer is found after twice this [s].
    pub keep_alive_s: u16,
    /// Limit on name look-up, connection and greeting together [s].
    pub connect_timeout_s: u16,
    /// Longest wait between two attempts [s]; the shortest is 1 s.
    pub longest_wait_s: u16,
    /// What the broker says for us if we vanish; always retained.
    pub will: Option<Message>,
    /// What is sent first after each connection, before the latest values.
    pub opening: Vec<Message>,
    /// What is listened to.
    pub subscriptions: Vec<Filter>,
    /// One of our own retained topics, listened to so that we notice when the
    /// broker drops what we publish.
    pub echo: Option<Topic>,
    /// Our own topics on which nothing may be kept by the broker; what is, was put
    /// there by somebody else, and is taken off.
    pub never_kept: Vec<Topic>,
    /// Sign of life of the polling task.
    pub pulse: Pulse,
    /// Seed of the waiting times.
    pub seed: u64,
}

/// Name and password at the broker; never printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Credentials {
    /// Name of the user.
    pub user: String,
    /// Password.
    pub password: String,
}

impl std::fmt::Debug for Credentials {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Credentials").field("user", &self.user).finish_non_exhaustive()
    }
}

impl LinkConfig {
    /// Usual settings for a broker.
    pub fn new(host: impl Into<String>, port: u16, client_id: impl Into<String>) -> Self {
        Self {
            host: host.into(),
            port,
            client_id: client_id.into(),
            credentials: None,
            tls: None,
            keep_alive_s: 15,
            connect_timeout_s: 12,
            longest_wait_s: 8,
            will: None,
            opening: Vec::new(),
            subscriptions: Vec::new(),
            echo: None,
            never_kept: Vec::new(),
            pulse: Pulse::default(),
            seed: 0,
        }
    }

    /// Every setting that cannot work, each with its remedy.
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let mut rule = |holds: bool, text: &str| {
            if !holds {
                faults.push(text.to_owned());
            }
        };
        let host_fits = !self.host.is_empty()
            && !self.host.contains(|c: char| c.is_whitespace() || c.is_control() || c == '/');
        rule(host_fits, "host: give the name or address of the broker, without `mqtt://`");
        rule(self.port != 0, "port: 0 is no port; brokers usually listen on 1883");
        let id_fits = (1..=64).contains(&self.client_id.len())
            && self.client_id.chars().all(|c| c.is_ascii_graphic() && c != '+' && c != '#');
        rule(id_fits, "client_id: give 1 to 64 printable ASCII characters without `+` and `#`");
        rule((5..=300).contains(&self.keep_alive_s), "keep_alive_s: choose 5 to 300, usually 15");
        rule(
            (1..=60).contains(&self.connect_timeout_s),
            "connect_timeout_s: choose 1 to 60, usually 12",
        );
        rule(
            (1..=600).contains(&self.longest_wait_s),
            "longest_wait_s: choose 1 to 600, usually 8",
        );
        let will_fits = self.will.as_ref().is_none_or(|will| will.retained);
        rule(will_fits, "will: it must be retained, or nobody who connects later learns of it");
        let own = self.will.iter().chain(&self.opening);
        rule(
            own.clone().all(|message| message.payload.len() <= MAX_PAYLOAD),
            "will and opening: at most 256 KiB each",
        );
        faults
    }

    /// The same settings, once they are known to work.
    ///
    /// # Errors
    /// With every fault at once.
    pub fn check(self) -> Result<Checked, ConfigError> {
        let mut faults = self.faults();
        let connector = self.tls.as_ref().map(tls::connector).transpose();
        match connector {
            Ok(connector) if faults.is_empty() => Ok(Checked { config: self, connector }),
            Ok(_) => Err(ConfigError(faults)),
            Err(fault) => {
                faults.push(fault);
                Err(ConfigError(faults))
            }
        }
    }
}

/// Settings that are known to work.
#[derive(Clone)]
pub struct Checked {
    config: LinkConfig,
    /// What makes TLS of a connection.
    pub(super) connector: Option<TlsConnector>,
}

impl std::ops::Deref for Checked {
    type Target = LinkConfig;
    fn deref(&self) -> &LinkConfig {
        &self.config
    }
}

/// Settings of the link that cannot work.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the link to the broker cannot be set up: {}", .0.join("; "))]
pub struct ConfigError(pub Vec<String>);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn usual_settings_work() {
        assert_eq!(LinkConfig::new("127.0.0.1", 1883, "stowheat-mill").faults(), [""; 0]);
    }

    // The client library panics on a keep-alive below one second and on an empty
    // name with a kept session; both are refused here first.
    #[test]
    fn every_fault_is_named_at_once() {
        let mut config = LinkConfig::new("mqtt://broker", 0, "");
        config.keep_alive_s = 0;
        config.connect_timeout_s = 0;
        config.longest_wait_s = 0;
        config.will = Some(Message {
            topic: Topic::new("a").expect("a topic"),
            payload: vec![],
            retained: false,
        });
        let faults = config.check().err().expect("faults").0;
        let keys: Vec<_> = faults.iter().filter_map(|text| text.split(':').next()).collect();
        assert_eq!(
            keys,
            [
                "host",
                "port",
                "client_id",
                "keep_alive_s",
                "connect_timeout_s",
                "longest_wait_s",
                "will"
            ]
        );
    }

    #[test]
    fn a_password_is_never_printed() {
        let secret = Credentials { user: "mill".into(), password: "hunter2".into() };
        assert!(!format!("{secret:?}").contains("hunter2"));
    }
}
