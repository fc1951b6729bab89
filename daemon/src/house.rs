//! A house as its site file means it: the physical site, and everything that
//! ties it to local time, money and habits.

mod plant_room;
mod seasons;

use chrono::{NaiveTime, Weekday};
use chrono_tz::Tz;
use optimiser::Site;
use optimiser::problem::PlantRoomState;
pub use optimiser::solar::Location;
use optimiser::solar::PvSystem;
use optimiser::standards::hygiene;
use optimiser::time::Instant;
use optimiser::units::{Current, Energy, Flow, Power, Temperature, Volume};

pub use self::plant_room::{
    Climate, LoopHabit, Months, PlantRoomFacts, PoolComfort, PoolWish, RoomsWish,
};
use crate::series::Marks;
use crate::tariff::Tariff;

/// A house, checked and ready to be planned.
#[derive(Debug, Clone, PartialEq)]
pub struct House {
    /// Name of the site.
    pub name: String,
    /// Zone of every local time in the site file.
    pub time_zone: Tz,
    /// What the rows of its series files mark.
    pub series_marks: Marks,
    /// Where it stands, for sun and weather.
    pub location: Option<Location>,
    /// Stores, battery and grid limits.
    pub site: Site,
    /// Cold water of each store by month, where it is given so [°C]. The site has that
    /// of the coldest, and [`House::in_season`] that of a day.
    pub cold_water: Vec<Option<Months>>,
    /// Names, weather and wishes of the plant room.
    pub plant_room: PlantRoomFacts,
    /// The electrical supply behind the grid limits.
    pub supply: Supply,
    /// How prices become unit rates.
    pub tariff: Tariff,
    /// The PV system.
    pub pv: Option<Pv>,
    /// What the rest of the house takes.
    pub base_load: BaseLoad,
    /// Hot-water habits, one entry per source of draws.
    pub draws: Vec<DrawHabit>,
    /// Promises by local time.
    pub ready: Vec<ReadyTime>,
    /// Pasteurisation rules, at most one per store.
    pub hygiene: Vec<HygieneRule>,
    /// State of the plant when the file was written, for plans without readings.
    pub state: PresentState,
}

/// The electrical supply as on the cut-out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Main fuse per phase.
    pub fuse: Current,
    /// Number of phases, 1 or 3.
    pub phases: u8,
    /// Voltage of a phase [V].
    pub volts: f64,
}

/// Where PV energy is known from.
#[derive(Debug, Clone, PartialEq)]
pub enum Pv {
    /// A forecast series of AC energy or power is given; it is scaled by this factor.
    Forecast {
        /// Factor on the series.
        scale: f64,
    },
    /// Peak power times an irradiance series: `kWp · G / 1 kW/m² · performance ratio`.
    Irradiance {
        /// Power at 1 kW/m².
        peak: Power,
        /// Share that reaches the meter.
        performance_ratio: f64,
        /// Most AC power of the inverter.
        inverter_limit: Option<Power>,
    },
    /// Arrays by orientation, fed with irradiance, temperature and wind.
    Arrays(PvSystem),
}

/// What the rest of the house takes.
#[derive(Debug, Clone, PartialEq)]
pub enum BaseLoad {
    /// Power by local time of day, as steps from each time to the next; never
    /// empty, the first at 00:00.
    Daily(Vec<(NaiveTime, Power)>),
    /// A load series is given; it is scaled by this factor.
    Series {
        /// Factor on the series.
        scale: f64,
    },
}

/// Hot-water habits of one store.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawHabit {
    /// Index of the store.
    pub store: usize,
    /// What is drawn when.
    pub kind: DrawKind,
}

/// Ways to state hot-water habits.
#[derive(Debug, Clone, PartialEq)]
pub enum DrawKind {
    /// The same list every day the weekday is in.
    Daily(Vec<DailyDraw>),
    /// A series of litres; the column is named here.
    Series {
        /// Header of the column, such as `draw_l_200lpd`.
        column: String,
        /// Temperature at the tap that the litres are mixed at.
        temperature: Temperature,
        /// Flow at the tap.
        flow: Flow,
        /// Factor on the series.
        scale: f64,
    },
}

/// A draw at a local time of day.
#[derive(Debug, Clone, PartialEq)]
pub struct DailyDraw {
    /// Local time the tap opens.
    pub at: NaiveTime,
    /// Days on which it happens; all seven if every day.
    pub days: Vec<Weekday>,
    /// Litres at the tap, mixed at `temperature`.
    pub volume: Volume,
    /// Temperature asked for at the tap.
    pub temperature: Temperature,
    /// Flow at the tap.
    pub flow: Flow,
}

/// An amount promised by a local time of day.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadyTime {
    /// Index of the store.
    pub store: usize,
    /// Local time by which it stands ready.
    pub by: NaiveTime,
    /// Days on which it is promised.
    pub days: Vec<Weekday>,
    /// Litres at the tap, mixed at `temperature`.
    pub volume: Volume,
    /// Temperature at the tap.
    pub temperature: Temperature,
}

/// A pasteurisation rule.
#[derive(Debug, Clone, PartialEq)]
pub struct HygieneRule {
    /// Index of the store.
    pub store: usize,
    /// Temperature the coldest water must reach.
    pub temperature: Temperature,
    /// How long it must hold [min].
    pub hold_minutes: f64,
    /// Longest time between two holds [days].
    pub every_days: f64,
    /// When a hold was last proven, if ever.
    pub last_proven: Option<Instant>,
}

impl HygieneRule {
    /// The usual hold for a store whose site file has none: it is never due by itself.
    fn usual(store: usize) -> Self {
        Self {
            store,
            temperature: Temperature::constant(hygiene::STORE_CELSIUS),
            hold_minutes: 60.0,
            every_days: f64::INFINITY,
            last_proven: None,
        }
    }

    /// Whether the site file has it, so that it falls due.
    pub fn is_of_file(&self) -> bool {
        self.every_days.is_finite()
    }
}

impl House {
    /// What a pasteurisation of each store is: the rules of the site file first, then
    /// the usual hold for the other stores, as is asked of water that has stood.
    pub fn hygiene_of_all(&self) -> Vec<HygieneRule> {
        let has_rule = |store: &usize| self.hygiene.iter().any(|rule| rule.store == *store);
        let others = (0..self.site.stores.len()).filter(|store| !has_rule(store));
        self.hygiene.iter().cloned().chain(others.map(HygieneRule::usual)).collect()
    }
}

/// State of the plant at the start.
#[derive(Debug, Clone, PartialEq)]
pub struct PresentState {
    /// Energy in the battery above empty.
    pub battery: Energy,
    /// For each store, temperatures of equal layers from bottom to top.
    pub stores: Vec<Vec<Temperature>>,
    /// Buffer, rooms and pool.
    pub plant_room: PlantRoomState,
}
