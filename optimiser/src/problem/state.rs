//! What is in stores, battery and plant room at the start.

use super::ProblemError;
use crate::site::{Sink, Site};
use crate::units::{Energy, Temperature};

/// What is in the stores, the battery and the plant room at the start.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Stored energy of the battery above empty; ignored without a battery.
    pub battery: Energy,
    /// For each store, temperatures of equal layers from bottom to top; any
    /// number of layers, at least one.
    pub stores: Vec<Vec<Temperature>>,
    /// The plant room beyond them.
    pub plant_room: PlantRoomState,
}

/// State of what a plant room has beyond stores and battery.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoomState {
    /// Water in the buffer.
    pub buffer: Option<Temperature>,
    /// Water in the pool.
    pub pool: Option<Temperature>,
    /// The rooms.
    pub rooms: Option<RoomsState>,
    /// The heat pumps; those missing have rested for long.
    pub heat_pumps: Vec<RunState>,
    /// The boiler.
    pub boiler: RunState,
    /// Water in the pipe of each store's return loop; at the temperature
    /// around it where missing.
    pub return_pipes: Vec<Temperature>,
}

/// Temperatures in the rooms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomsState {
    /// The air.
    pub air: Temperature,
    /// The inner mass.
    pub mass: Temperature,
}

/// Whether a machine runs, and since when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunState {
    /// What it serves; `None` at rest.
    pub serves: Option<Sink>,
    /// Since when it runs or rests [s]; infinite for a long rest.
    pub seconds: f64,
}

impl Default for RunState {
    /// Rested for long.
    fn default() -> Self {
        Self { serves: None, seconds: f64::INFINITY }
    }
}

impl State {
    /// Checks that everything in the site that holds heat has a temperature.
    ///
    /// # Errors
    /// The first part that is not described.
    pub fn fits(&self, site: &Site) -> Result<(), ProblemError> {
        let stores = site.stores.len();
        if self.stores.len() != stores || self.stores.iter().any(Vec::is_empty) {
            return Err(ProblemError::State { given: self.stores.len(), stores });
        }
        let room = &site.plant_room;
        let here = &self.plant_room;
        for (what, missing) in [
            ("the temperature of the buffer", room.buffer.is_some() && here.buffer.is_none()),
            ("the temperature of the pool", room.pool.is_some() && here.pool.is_none()),
            ("the temperatures of the rooms", room.rooms.is_some() && here.rooms.is_none()),
        ] {
            if missing {
                return Err(ProblemError::Missing { what });
            }
        }
        Ok(())
    }
}
