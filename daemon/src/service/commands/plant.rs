//! The plant, as commands know it.

use optimiser::site::{Route, Sink, Source};
use optimiser::units::Temperature;

/// The names and limits that commands are checked against.
#[derive(Debug, Clone, PartialEq)]
pub struct Plant {
    /// The stores.
    pub stores: Vec<PlantStore>,
    /// Sources and circuits.
    pub feeders: Vec<PlantFeeder>,
    /// Whether there are heated rooms.
    pub rooms: bool,
}

impl Plant {
    /// Whether there is a heat pump or boiler.
    pub(super) fn has_machine(&self) -> bool {
        let machine = |own: &PlantFeeder| {
            matches!(own.feeder, Feeder::Source(Source::HeatPump(_) | Source::Boiler))
        };
        self.feeders.iter().any(machine)
    }
}

/// What can be told to heat something: a source, or a circuit of the buffer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Feeder {
    /// A source, which serves one sink at a time.
    Source(Source),
    /// A circuit that takes from the buffer for a sink, beside others.
    Circuit(Sink),
}

impl Feeder {
    /// Whose work a route is.
    pub fn of(route: Route) -> Self {
        match route.source {
            Source::Buffer => Self::Circuit(route.sink),
            source => Self::Source(source),
        }
    }
}

/// A source or circuit, as commands know it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlantFeeder {
    /// Name.
    pub name: String,
    /// Which.
    pub feeder: Feeder,
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
