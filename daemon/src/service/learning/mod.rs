//! What the house learns from its own meters: half-hours as they were measured,
//! and how cautious plans must be. The forecasts made of it are the library's, the
//! same that a replay uses.

mod drawn;
mod logbook;
mod meters;

pub use drawn::{DrawWatch, Drawn};
pub use logbook::{Logbook, Logged};
pub use meters::{Meter, Meters};
