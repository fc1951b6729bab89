//! Checks against real programs, each with a limit in time.

mod broker;
mod documents;
mod link;
