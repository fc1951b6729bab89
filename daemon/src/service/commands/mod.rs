//! What people ask for: checked, answered, obeyed, and ended by itself.
//!
//! The hand beats the plan, the later command beats the earlier one, and the
//! ceilings beat them all. Nothing lasts for ever: each command has an end, and
//! [`Overrides::tick`] reports it.

mod overrides;
mod plant;
mod reader;

pub use overrides::{Overrides, StoreReading, Verdict, Wish, WishKind};
pub use plant::{Plant, PlantHeater, PlantStore};
pub use reader::{Refusal, read};

#[cfg(test)]
mod tests;
