//! The program as a whole: the real binary, Debian's mosquitto, and mosquitto's
//! own clients as everybody else. Every wait is for a condition, with a limit.

mod battery;
mod chain;
mod days;
mod described;
mod figures;
mod homie;
mod life;
mod meters;
#[expect(dead_code, reason = "other tests use more of it")]
mod party;
mod plant_rooms;
mod restart;

#[expect(dead_code, reason = "refusing subscriptions is tried with the link alone")]
#[path = "../process/broker.rs"]
mod broker;
