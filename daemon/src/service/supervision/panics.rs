//! What a panic means.

use super::SOLVER_THREAD;

/// Exit code after a panic, `EX_SOFTWARE` of sysexits.h.
pub const EXIT_AFTER_PANIC: i32 = 70;

/// From now on a panic outside the solver's thread is logged and ends the process.
pub fn end_on_panic() {
    std::panic::set_hook(Box::new(|panic| {
        let thread = std::thread::current();
        let name = thread.name().unwrap_or("unnamed");
        tracing::error!(thread = name, "panic: {panic}");
        if name != SOLVER_THREAD {
            leave();
        }
    }));
}

#[expect(clippy::exit, clippy::disallowed_methods, reason = "half a service is worse than none")]
fn leave() {
    std::process::exit(EXIT_AFTER_PANIC);
}
