//! The plant, as commands know it.

use optimiser::units::Temperature;

/// The names and limits that commands are checked against.
#[derive(Debug, Clone, PartialEq)]
pub struct Plant {
    /// The stores.
    pub stores: Vec<PlantStore>,
}

/// A store, as commands know it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantStore {
    /// Name.
    pub name: String,
    /// Never hotter than this.
    pub ceiling: Temperature,
    /// Its heaters.
    pub heaters: Vec<PlantHeater>,
    /// How long they need to bring all of it from mains temperature to the ceiling
    /// [s]: longer makes no sense, even where no probe says so.
    pub full_s: i64,
}

/// A heater, as commands know it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlantHeater {
    /// Name.
    pub name: String,
    /// Power when fully on [W].
    pub power_w: u32,
}
