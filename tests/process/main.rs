//! Checks against real programs, each with a limit in time.

#[expect(dead_code, reason = "listeners with TLS are tried with the program")]
mod broker;
mod cuts;
mod documents;
mod link;
mod payloads;
mod year;
