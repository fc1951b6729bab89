//! Physics of sources and sinks as pure functions: temperatures in, heat and
//! electricity out. Nothing here knows time; the simulated plant steps through
//! it with these functions.

pub mod boiler;
pub mod charging;
pub mod coil;
pub mod collector;
pub mod evaporation;
pub mod heat_pump;
pub mod pool;
pub mod pool_day;
pub mod rooms;
