//! Whoever started the service is told how it is, and whether it still lives.
//!
//! The service manager takes a few words on a datagram socket (`sd_notify(3)`).
//! A timer that fed its watchdog would prove nothing, so it is fed by the task that
//! owns everything, and only while the link and the solver's thread move as well. A
//! panic anywhere but in the solver, whose thread catches it, ends the process:
//! set-points run out by themselves, and half a service is worse than none.

mod notify;
mod panics;
mod pulse;

use std::time::{Duration, Instant};

pub use notify::Notifier;
pub use panics::{EXIT_AFTER_PANIC, end_on_panic};
pub use pulse::Pulse;

/// Name of the thread whose panics are caught.
pub const SOLVER_THREAD: &str = "solver";

/// The link gives a sign of life at each packet, at least every 15 s, and between
/// attempts to connect, which take 12 s and at most 8 s apart.
const LINK_LIMIT: Duration = Duration::from_mins(1);

/// A solve may take 20 s until its thread is left behind, and the next thread is
/// asked 60 s later.
const SOLVER_LIMIT: Duration = Duration::from_secs(90);

/// What is to happen to a running service.
pub enum Order<T> {
    /// It is to end.
    Stop,
    /// It is to go on with what the site file says now, or that is wrong in words.
    Reload(Result<Box<T>, String>),
}

/// The service's side of its supervision.
#[derive(Debug, Clone)]
pub struct Supervision {
    notifier: Notifier,
    /// Half the time in which the watchdog wants to be fed.
    every: Option<Duration>,
    fed: Option<Instant>,
    parts: Vec<Part>,
    stands_still: bool,
    /// Sign of life of the link.
    pub link: Pulse,
    /// Sign of life of the solver's thread.
    pub solver: Pulse,
}

#[derive(Debug, Clone)]
struct Part {
    name: &'static str,
    pulse: Pulse,
    limit: Duration,
}

impl Supervision {
    /// By what the service manager left in the environment.
    pub fn from_environment() -> Self {
        Self::new(Notifier::from_environment(), notify::watchdog_limit())
    }

    /// Nobody supervises, as in tests.
    pub fn none() -> Self {
        Self::new(Notifier::default(), None)
    }

    fn new(notifier: Notifier, limit: Option<Duration>) -> Self {
        let (link, solver) = (Pulse::default(), Pulse::default());
        let part = |name, pulse: &Pulse, limit| Part { name, pulse: pulse.clone(), limit };
        let parts = vec![part("link", &link, LINK_LIMIT), part("solver", &solver, SOLVER_LIMIT)];
        let every = limit.map(|limit| limit / 2);
        Self { notifier, every, fed: None, parts, stands_still: false, link, solver }
    }

    /// Called by the task that owns everything, whenever it gets round to it.
    pub fn turn(&mut self) {
        if self.fed.is_some_and(|fed| self.every.is_none_or(|every| fed.elapsed() < every)) {
            return;
        }
        let stuck = self.parts.iter().find(|part| part.pulse.age() > part.limit);
        if let Some(part) = stuck {
            if !std::mem::replace(&mut self.stands_still, true) {
                let (part, seconds) = (part.name, part.pulse.age().as_secs());
                tracing::error!(part, seconds, "stands still; the watchdog is not fed");
            }
            return;
        }
        self.stands_still = false;
        self.fed = Some(Instant::now());
        self.notifier.send("WATCHDOG=1");
    }

    /// The service works.
    pub fn ready(&self, status: &str) {
        self.notifier.send(&format!("READY=1\nSTATUS={}", line(status)));
    }

    /// How it is, in a line.
    pub fn status(&self, status: &str) {
        self.notifier.send(&format!("STATUS={}", line(status)));
    }

    /// It reads its site file again; to be followed by [`Self::ready`].
    pub fn reloading(&self) {
        let usec = notify::monotonic_usec();
        self.notifier.send(&format!("RELOADING=1\nMONOTONIC_USEC={usec}"));
    }

    /// It is about to end.
    pub fn stopping(&self) {
        self.notifier.send("STOPPING=1\nSTATUS=switching everything off");
    }
}

/// A status is one line; a second one would be read as another assignment.
fn line(status: &str) -> String {
    status.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(manager: &std::os::unix::net::UnixDatagram) -> Vec<String> {
        let mut words = [0; 512];
        std::iter::from_fn(|| {
            let length = manager.recv(&mut words).ok()?;
            Some(String::from_utf8_lossy(&words[..length]).into_owned())
        })
        .collect()
    }

    // Failure case 30.
    #[test]
    fn the_watchdog_is_fed_only_while_every_part_moves() {
        let path = std::env::temp_dir().join(format!("stowheat-dog-{}", std::process::id()));
        let _none = std::fs::remove_file(&path);
        let manager = std::os::unix::net::UnixDatagram::bind(&path).expect("a socket");
        manager.set_nonblocking(true).expect("a socket");
        let notifier = Notifier::to(path.as_os_str()).expect("its address");
        let mut supervision = Supervision::new(notifier, Some(Duration::ZERO));
        supervision.turn();
        assert_eq!(heard(&manager), ["WATCHDOG=1"]);
        for part in 0..2 {
            supervision.parts[part].limit = Duration::ZERO;
            std::thread::sleep(Duration::from_millis(2));
            supervision.turn();
            assert_eq!(heard(&manager), [""; 0], "{}", supervision.parts[part].name);
            supervision.parts[part].limit = Duration::from_mins(1);
            supervision.turn();
            assert_eq!(heard(&manager), ["WATCHDOG=1"]);
        }
        supervision.status("two\nlines");
        assert_eq!(heard(&manager), ["STATUS=two lines"]);
        let _gone = std::fs::remove_file(&path);
    }
}
