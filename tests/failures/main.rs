//! What can go wrong, one case after the other, with the program itself, Debian's
//! mosquitto and, where it must be, something that breaks between them. Every wait
//! is for a condition, with a limit.

mod clocks;
mod disks;
mod installed;
mod kills;
mod losses;
mod probes;
mod strangers;
mod supervised;
mod tls;

#[path = "../process/broker.rs"]
mod broker;
#[expect(dead_code, reason = "other tests use the rest of it")]
#[path = "../service/party.rs"]
mod party;

/// Everybody may do everything.
const OPEN: &str = "topic readwrite #\n";

/// Whether a message tells the small site's heater this power.
fn set_point(message: &party::Heard, power_w: u32) -> bool {
    message.is("heaters/cylinder/immersion/set-point") && message.json()["power_w"] == power_w
}

/// Whether a message tells of a fault whose document has these words.
fn fault(message: &party::Heard, words: &str) -> bool {
    message.is("faults") && message.payload.contains(words)
}

/// A line for the log of the tests.
#[expect(clippy::print_stdout, reason = "figures are for people")]
fn report(text: &str) {
    println!("{text}");
}

/// A number of repetitions that a variable may change.
fn count(variable: &str, usual: u64) -> u64 {
    std::env::var(variable).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}
