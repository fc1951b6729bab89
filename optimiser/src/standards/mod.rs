//! Published rules and reference values about hot-water stores and their
//! supply, as pure functions.

pub mod electrics;
pub mod hygiene;
pub mod losses;
pub mod pipes;
pub mod scald;
pub mod vessel;
pub mod volume;

#[cfg(test)]
mod arithmetic;
