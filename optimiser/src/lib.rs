//! Dispatch of stratified heat stores, battery and PV against time-varying
//! prices: physics, linear program, simulated plant. A pure library: no files,
//! clock, network, environment or time zones.

pub mod plant;
pub mod problem;
pub mod schedule;
pub mod site;
pub mod time;
pub mod units;
pub mod water;

pub use problem::Problem;
pub use schedule::Schedule;
pub use site::Site;
