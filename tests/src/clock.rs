//! Time that was worked, whatever else the machine does.

use std::time::Duration;

use rustix::time::{ClockId, clock_gettime};

/// Counts what this thread has of a processor; unlike a clock it does not run on while
/// other programs work.
#[derive(Debug, Clone, Copy)]
pub struct Stopwatch(Duration);

impl Stopwatch {
    /// Begins to count.
    pub fn start() -> Self {
        Self(processor_time())
    }

    /// Since it began.
    pub fn elapsed(self) -> Duration {
        processor_time().saturating_sub(self.0)
    }
}

fn processor_time() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::try_from(time).expect("such a clock begins at zero")
}
