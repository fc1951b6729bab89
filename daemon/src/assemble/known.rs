//! What is known beside the site: prices, weather and series.

use std::sync::Arc;

use optimiser::forecast::{Caution, Diary};
use optimiser::time::Slot;
use optimiser::units::{Power, Temperature};

use crate::series::SeriesFile;
use crate::tariff::Wholesale;
use crate::weather::{Reading, Weather};

/// Everything that a plan may know.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Prices that the tariff follows.
    pub wholesale: Wholesale,
    /// Interval of the price series [s]; 0 without one.
    pub price_step_seconds: i64,
    /// Weather.
    pub weather: Option<Reading>,
    /// A forecast of the air alone, which goes before that of the weather.
    pub outdoor: Option<Weather>,
    /// The air as it is measured now.
    pub outside: Option<Temperature>,
    /// A series of PV energy or power.
    pub pv: Option<SeriesFile>,
    /// A series of the base load.
    pub load: Option<SeriesFile>,
    /// A series of draws.
    pub draws: Option<SeriesFile>,
    /// What the house's own meters taught.
    pub learned: Option<Arc<Learned>>,
    /// What the network allows at the meter, where that is less than the fuse.
    pub allowances: Vec<Allowance>,
}

/// Most power at the meter for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowance {
    /// When.
    pub slot: Slot,
    /// How much.
    pub power: Power,
    /// Of import; of export otherwise.
    pub is_import: bool,
}

/// What the house's own meters taught.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// Half-hours as they were measured, around now.
    pub diary: Diary,
    /// How cautious plans must be.
    pub caution: Caution,
}
