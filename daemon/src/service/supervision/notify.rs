//! Words to the service manager, by `sd_notify(3)`: datagrams on the socket that
//! `NOTIFY_SOCKET` names. Written by hand, because it is one system call.

use std::env;
use std::ffi::OsStr;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::sync::Arc;
use std::time::Duration;

/// Where to tell the service manager; nowhere if nobody asked.
#[derive(Debug, Clone, Default)]
pub struct Notifier(Option<(Arc<UnixDatagram>, SocketAddr)>);

impl Notifier {
    /// By the variable `NOTIFY_SOCKET`.
    pub fn from_environment() -> Self {
        let Some(name) = env::var_os("NOTIFY_SOCKET").filter(|name| !name.is_empty()) else {
            return Self::default();
        };
        Self::to(&name).unwrap_or_else(|error| {
            tracing::warn!(%error, socket = %name.display(), "the service manager cannot be told");
            Self::default()
        })
    }

    /// To a socket: a path, or `@` and a name without a file.
    ///
    /// # Errors
    /// If that is no name of a socket.
    pub fn to(name: &OsStr) -> io::Result<Self> {
        let address = match name.as_bytes().strip_prefix(b"@") {
            Some(name) => SocketAddr::from_abstract_name(name)?,
            None => SocketAddr::from_pathname(name)?,
        };
        let socket = UnixDatagram::unbound()?;
        // A manager that does not listen must not hold up the service.
        socket.set_nonblocking(true)?;
        Ok(Self(Some((Arc::new(socket), address))))
    }

    /// Says something, one assignment a line.
    pub fn send(&self, words: &str) {
        let Some((socket, address)) = &self.0 else { return };
        if let Err(error) = socket.send_to_addr(words.as_bytes(), address) {
            tracing::debug!(%error, words, "the service manager was not told");
        }
    }
}

/// In which time the watchdog wants to be fed, if it watches this process.
pub(super) fn watchdog_limit() -> Option<Duration> {
    let number = |name: &str| env::var(name).ok()?.parse::<u64>().ok();
    let is_for_us = number("WATCHDOG_PID").is_none_or(|id| id == u64::from(std::process::id()));
    number("WATCHDOG_USEC").filter(|usec| is_for_us && *usec > 0).map(Duration::from_micros)
}

/// The monotonic clock as the service manager reads it [µs].
pub(super) fn monotonic_usec() -> i64 {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    time.tv_sec * 1_000_000 + time.tv_nsec / 1_000
}
