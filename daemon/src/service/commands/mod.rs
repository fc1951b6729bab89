//! What people ask for: checked, answered, obeyed, and ended by itself.
//!
//! The hand beats the plan, the later command beats the earlier one, and the
//! ceilings beat them all. Nothing lasts for ever: each command has an end, and
//! [`Overrides::tick`] reports it.

mod overrides;
mod plant;
mod reader;
mod wish;

pub use overrides::{Overrides, StoreReading, Verdict};
pub use plant::{Feeder, Plant, PlantFeeder, PlantHeater, PlantStore};
pub use reader::{Refusal, read};
pub use wish::{Wish, WishKind};

#[cfg(test)]
mod tests;
