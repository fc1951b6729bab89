//! Physics of sources and sinks as pure functions: temperatures in, heat and
//! electricity out. The simulated plant steps through time with them; nothing
//! here knows time.

pub mod coil;
