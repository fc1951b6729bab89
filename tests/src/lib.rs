//! Houses and days to try the optimiser on.

pub mod houses;
