//! Dispatch of stratified heat stores, battery and PV against time-varying
//! prices: physics, linear program, simulated plant. A pure library: no files,
//! clock, network, environment or time zones.

pub mod check;
pub mod estimate;
pub mod forecast;
pub mod judge;
mod lanes;
pub mod model;
pub mod physics;
pub mod plan;
pub mod plant;
pub mod problem;
pub mod published;
pub mod replay;
pub mod rule;
pub mod schedule;
pub mod site;
pub mod sizing;
pub mod solar;
pub mod solution;
pub mod solve;
pub mod standards;
pub mod time;
pub mod units;
pub mod water;
pub mod worth;

pub use problem::Problem;
pub use schedule::Schedule;
pub use site::Site;
