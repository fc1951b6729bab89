//! Time that was worked, whatever else the machine does.

use std::time::Duration;

use rustix::time::{ClockId, clock_gettime};

/// What this thread has had of a processor; unlike a clock it does not run on while
/// other programs work.
pub fn processor_time() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::try_from(time).expect("such a clock begins at zero")
}
