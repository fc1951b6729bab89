//! Houses and days to try the optimiser on.

pub mod houses;
pub mod invention;
pub mod record;
