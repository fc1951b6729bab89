//! Houses and days to try the optimiser on.

#![expect(
    clippy::missing_panics_doc,
    reason = "a builder of a test panics on a mistake in the test"
)]

pub mod accounts;
pub mod clock;
pub mod days;
pub mod failures;
pub mod family;
pub mod fine;
pub mod houses;
pub mod invention;
pub mod parsers;
pub mod past;
pub mod plant_rooms;
pub mod real;
pub mod record;
pub mod ways;
pub mod worlds;
