//! The only place of the service that reads the time of day.
//!
//! The wall clock is an input like any other and can be wrong: boards without a
//! battery-backed clock start in the past, and time synchronisation steps it.
//! So the service also watches the monotonic clock and asks the system whether
//! its time is synchronised.
//!
//! The kernel's own answer (`adjtimex`) needs unsafe code. Instead the flag file
//! of systemd's time client is looked at, and where it is absent `timedatectl` is
//! asked, which reports the kernel's state whoever keeps the time.

use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use optimiser::time::Instant;

/// A source of time.
pub trait Clock: Send + Sync {
    /// Time of day, which may step.
    fn now(&self) -> Instant;
    /// Time since some fixed moment, which never steps.
    fn elapsed(&self) -> Duration;
    /// Whether the time of day can be trusted.
    fn synchronised(&self) -> Synchronised;
    /// How many of its seconds pass in a second.
    fn pace(&self) -> u32 {
        1
    }
}

/// Whether something keeps the system's time right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Synchronised {
    /// The system says so.
    Yes,
    /// The system says it is not.
    No,
    /// The system cannot tell, as in most containers.
    Unknown,
}

/// The first day of 2026: no time before it can be right.
const EARLIEST: Instant = Instant::from_unix(1_767_225_600);

/// Whether a time of day can be right at all.
pub fn is_plausible(now: Instant) -> bool {
    now >= EARLIEST
}

/// Whether a time of day can be trusted: the system does not say that it is wrong,
/// and it is not one from before this program was written.
pub fn is_right(now: Instant, synchronised: Synchronised) -> bool {
    is_plausible(now) && synchronised != Synchronised::No
}

/// The system's clocks.
#[derive(Debug)]
pub struct SystemClock {
    start: std::time::Instant,
}

impl SystemClock {
    /// Starts counting the elapsed time now.
    pub fn start() -> Self {
        Self { start: std::time::Instant::now() }
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Instant {
        let seconds = match SystemTime::now().duration_since(UNIX_EPOCH) {
            Ok(after) => after.as_secs() as i64,
            Err(before) => -(before.duration().as_secs() as i64),
        };
        Instant::from_unix(seconds)
    }

    fn elapsed(&self) -> Duration {
        self.start.elapsed()
    }

    fn synchronised(&self) -> Synchronised {
        if Path::new("/run/systemd/timesync/synchronized").exists() {
            return Synchronised::Yes;
        }
        let answer = Command::new("timedatectl")
            .args(["show", "--property=NTPSynchronized", "--value"])
            // It would speak to the service manager in our place.
            .env_remove("NOTIFY_SOCKET")
            .output();
        answer.map_or(Synchronised::Unknown, |output| read_property(&output.stdout))
    }
}

fn read_property(text: &[u8]) -> Synchronised {
    match text.trim_ascii() {
        b"yes" => Synchronised::Yes,
        b"no" => Synchronised::No,
        _ => Synchronised::Unknown,
    }
}

/// A clock for trials: it starts at an instant and runs faster than time.
#[derive(Debug)]
pub struct InventedClock {
    start: std::time::Instant,
    from: Instant,
    rate: u32,
}

impl InventedClock {
    /// Starts now at an instant, running so many times as fast.
    pub fn start(from: Instant, rate: u32) -> Self {
        Self { start: std::time::Instant::now(), from, rate }
    }
}

impl Clock for InventedClock {
    fn now(&self) -> Instant {
        self.from + self.elapsed().as_secs() as i64
    }

    fn elapsed(&self) -> Duration {
        self.start.elapsed() * self.rate
    }

    fn synchronised(&self) -> Synchronised {
        Synchronised::Yes
    }

    fn pace(&self) -> u32 {
        self.rate.max(1)
    }
}

/// A clock for tests: it stands until it is moved.
#[derive(Debug)]
pub struct TestClock(Mutex<(Instant, Duration, Synchronised)>);

impl TestClock {
    /// Stands at an instant, synchronised.
    pub fn at(now: Instant) -> Self {
        Self(Mutex::new((now, Duration::ZERO, Synchronised::Yes)))
    }

    /// Lets seconds pass on both clocks.
    pub fn pass(&self, seconds: u32) {
        let mut inner = self.inner();
        inner.0 = inner.0 + i64::from(seconds);
        inner.1 += Duration::from_secs(u64::from(seconds));
    }

    /// Steps the time of day without time passing.
    pub fn step(&self, seconds: i64) {
        let mut inner = self.inner();
        inner.0 = inner.0 + seconds;
    }

    /// Sets what is said about synchronisation.
    pub fn say(&self, synchronised: Synchronised) {
        self.inner().2 = synchronised;
    }

    fn inner(&self) -> std::sync::MutexGuard<'_, (Instant, Duration, Synchronised)> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clock for TestClock {
    fn now(&self) -> Instant {
        self.inner().0
    }

    fn elapsed(&self) -> Duration {
        self.inner().1
    }

    fn synchronised(&self) -> Synchronised {
        self.inner().2
    }
}

/// Finds steps of the time of day by comparing it with the elapsed time.
///
/// The monotonic clock stands still while the machine sleeps, so a resume looks
/// like a step forward; both ask for the same answer, a new plan.
#[derive(Debug, Clone, Copy, Default)]
pub struct StepWatch {
    last: Option<(Instant, Duration)>,
}

/// Differences up to this are the rounding to seconds and slow correction [s].
const STEP_TOLERANCE_S: i64 = 2;

impl StepWatch {
    /// Looks at both clocks; returns how far the time of day stepped [s].
    pub fn look(&mut self, now: Instant, elapsed: Duration) -> Option<i64> {
        let before = self.last.replace((now, elapsed))?;
        let passed = elapsed.saturating_sub(before.1).as_secs() as i64;
        let step = (now - before.0) - passed;
        (step.abs() > STEP_TOLERANCE_S).then_some(step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passing_time_is_no_step_and_a_correction_is() {
        let clock = TestClock::at(Instant::from_unix(1_000));
        let mut watch = StepWatch::default();
        assert_eq!(watch.look(clock.now(), clock.elapsed()), None);
        clock.pass(30);
        assert_eq!(watch.look(clock.now(), clock.elapsed()), None);
        clock.pass(30);
        clock.step(-86_400);
        assert_eq!(watch.look(clock.now(), clock.elapsed()), Some(-86_400));
        clock.pass(30);
        assert_eq!(watch.look(clock.now(), clock.elapsed()), None, "a step is told once");
    }

    #[test]
    fn the_property_of_the_system_is_read() {
        assert_eq!(read_property(b"yes\n"), Synchronised::Yes);
        assert_eq!(read_property(b"no\n"), Synchronised::No);
        assert_eq!(read_property(b"Failed to connect to bus"), Synchronised::Unknown);
    }
}
