//! Readings from any topic, believed only when nothing speaks against them.
//!
//! [`Shape`] finds the number in the payload, [`Unit`] makes it canonical, and a
//! [`Gate`] for each input judges it by what it may physically be.

mod fault;
mod gate;
mod limits;
mod payload;
mod unit;

pub use fault::{Kind, ReadingFault};
pub use gate::{Arrival, Freshness, Gate, Reading, Verdict};
pub use limits::{Limits, rise_limit};
pub use payload::{Raw, Shape};
pub use unit::{Quantity, Unit};
