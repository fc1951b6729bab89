//! What ties a plant room to names, local time and weather.

use chrono::{NaiveTime, Weekday};
use optimiser::problem::Band;
use optimiser::site::{Sink, Source};
use optimiser::units::{Fraction, Temperature};

use super::House;

/// Facts about a plant room that are not physics.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoomFacts {
    /// Names of the coils, `[store][coil]`.
    pub coils: Vec<Vec<String>>,
    /// Runs of circulation pumps.
    pub loop_runs: Vec<LoopHabit>,
    /// What is assumed of the weather.
    pub climate: Climate,
    /// Share of light that the ground before the collectors throws back.
    pub albedo: Option<Fraction>,
    /// What is asked of the rooms.
    pub rooms: Option<RoomsWish>,
    /// What is asked of the pool.
    pub pool: Option<PoolWish>,
}

/// A run of the pump of a return loop.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopHabit {
    /// Index of the store.
    pub store: usize,
    /// Local time it starts.
    pub at: NaiveTime,
    /// Days on which it happens.
    pub days: Vec<Weekday>,
    /// How long it runs [s].
    pub seconds: i64,
}

/// Values from January to December.
pub type Months = [f64; 12];

/// What is assumed where the weather is silent.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Climate {
    /// Mean outdoor temperature [°C]; nothing is assumed without it.
    pub outdoor: Option<Months>,
    /// Brine from the ground [°C].
    pub brine: Option<Months>,
    /// Wind of the weather station [m/s].
    pub wind: Option<Months>,
    /// Relative humidity, 0 to 1.
    pub humidity: Option<Months>,
}

/// What is asked of the rooms.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomsWish {
    /// Indoor temperature of the design day.
    pub design_indoor: Temperature,
    /// Air by local time of day, from each time to the next, the first at 00:00.
    pub comfort: Vec<(NaiveTime, Band)>,
}

/// What is asked of the pool.
#[derive(Debug, Clone, PartialEq)]
pub struct PoolWish {
    /// Its temperature.
    pub comfort: PoolComfort,
    /// Local times under the cover; one that ends before it begins runs past
    /// midnight.
    pub covered: Vec<(NaiveTime, NaiveTime)>,
}

/// How warm the pool is wanted.
#[derive(Debug, Clone, PartialEq)]
pub enum PoolComfort {
    /// By local time of day, from each time to the next, the first at 00:00.
    Bands(Vec<(NaiveTime, Band)>),
    /// The mean air of the day and so many degrees [K].
    AboveAir(f64),
}

impl House {
    /// The words for a sink.
    pub fn sink_name(&self, sink: Sink) -> String {
        match sink {
            Sink::Coil { store, coil } => {
                let name = &self.site.stores[store].name;
                match self.plant_room.coils.get(store).map(Vec::as_slice) {
                    Some(coils) if coils.len() > 1 => format!("{name}/{}", coils[coil]),
                    _ => name.clone(),
                }
            }
            Sink::Buffer => "buffer".to_owned(),
            Sink::Rooms => "rooms".to_owned(),
            Sink::Pool => "pool".to_owned(),
        }
    }

    /// The words for a source.
    pub fn source_name(&self, source: Source) -> String {
        match source {
            Source::HeatPump(index) => self.site.plant_room.heat_pumps[index].name.clone(),
            Source::Boiler => "boiler".to_owned(),
            Source::Collectors => "collectors".to_owned(),
            Source::Immersion => "buffer element".to_owned(),
            Source::Buffer => "buffer".to_owned(),
        }
    }
}
