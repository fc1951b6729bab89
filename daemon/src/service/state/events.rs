//! What can happen, and what can be done about it: closed lists.

use std::collections::BTreeMap;

use optimiser::Schedule;
use optimiser::problem::{Guard, HeaterId};
use optimiser::site::Sink;
use optimiser::time::{Instant, Slot};
use optimiser::units::Temperature;

use super::fuses::Fuses;
use super::rescue::Rescue;
use super::sources::{Feed, SourceOrder};
use super::spells::Shortest;
use crate::service::archive::Record;
use crate::service::commands::{Feeder, Plant};
use crate::service::learning::Meter;
use crate::service::link::{Filter, LinkEvent, Topic};
use crate::service::planning::BatteryOrder;
use crate::service::readings::Gate;
use crate::service::setpoints::Due;
use crate::service::wire::{Answer, BatterySetPoint, Command, Fault, SetPoint};

/// What does not change while the service runs.
pub struct Settings {
    /// Name of the site; also the seed of its start offset.
    pub site: String,
    /// Drawn anew at each start.
    pub boot_id: String,
    /// Names and limits of the plant room.
    pub plant: Plant,
    /// The inputs.
    pub inputs: Vec<Input>,
    /// Where commands arrive.
    pub command: Filter,
    /// Whether switching on is spread over ten minutes.
    pub start_offset: bool,
    /// For each store, what keeps it from going cold without a schedule.
    pub comfort: Vec<Option<Comfort>>,
    /// What keeps the plant room safe and warm.
    pub plant_room: PlantRoomRules,
    /// The battery obeys set-points; otherwise it regulates itself.
    pub commands_battery: bool,
    /// Nothing is switched: another one steers the house.
    pub shadow: bool,
}

/// What keeps the plant room beyond stores and elements safe and warm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoomRules {
    /// Buffer, rooms and pool are not heated beyond this.
    pub limits: Vec<(Sink, Temperature)>,
    /// What the collectors serve, in order.
    pub solar_serves: Vec<Sink>,
    /// Their pump stops when they are less than this warmer [K].
    pub stop_difference_k: f64,
    /// For each store, where its water begins to be of use.
    pub useful: Vec<Temperature>,
    /// The lowest comfort of the rooms in the day.
    pub rooms_low: Option<Temperature>,
    /// How long machines run and rest at least.
    pub spells: BTreeMap<Feeder, Shortest>,
    /// What each phase carries, where phases are described.
    pub fuses: Option<Fuses>,
    /// What helps when something is too cold, the most needed and the cheapest first.
    pub rescues: Vec<Rescue>,
}

/// A thermostat that needs neither a schedule nor the time of day. It is the last
/// rung: without prices it keeps the water just useful, and no more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comfort {
    /// Index of the heater that it uses: the one that warms the least water.
    pub element: usize,
    /// Where that sits in the store, as a share of the height.
    pub height: f64,
    /// It heats when the hottest water is below this.
    pub below: Temperature,
    /// It stops when the hottest water is above this.
    pub above: Temperature,
}

/// An input.
pub struct Input {
    /// Its name.
    pub name: String,
    /// Where it arrives.
    pub topic: Topic,
    /// What it is to the plant room.
    pub role: Role,
    /// Where in its store a probe sits, as a share of the height.
    pub height: Option<f64>,
    /// Coils of its store that it lies beside: it must show their heat.
    pub coils: Vec<usize>,
    /// Its judge.
    pub gate: Gate,
}

/// What an input is to the plant room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A temperature in a store.
    Probe {
        /// Index of the store.
        store: usize,
    },
    /// State of charge of the battery.
    Charge,
    /// Power or energy.
    Meter(Meter),
    /// The air outside.
    Outdoor,
    /// Buffer, rooms or pool.
    Sink(Sink),
    /// The collectors.
    Collectors,
}

/// What happened. The loop has one queue of these.
pub enum Event {
    /// Time went on: every few seconds, never more than 30.
    Tick {
        /// The time of day can be trusted.
        clock_is_right: bool,
        /// The time of day stepped by this [s].
        step_s: Option<i64>,
    },
    /// Something happened on the link to the broker.
    Link(LinkEvent),
    /// A command from another door: the Homie tree, the page.
    Command(Command),
    /// The planner has an answer: a schedule, from whichever rung of the chain, or
    /// the reason why there is none.
    Planned(Result<Current, String>),
    /// Prices changed.
    Prices {
        /// They are known until then.
        known_until: Instant,
    },
    /// A forecast came, or grew too old to plan with.
    Forecast,
    /// Litres at the temperature of use in each store, where probes speak for it.
    Usable(Vec<Option<f64>>),
    /// Readings say something else than the schedule expects by now.
    Drift,
    /// The schedule was made in a hurry, and there is time for a better one.
    Unpolished,
    /// A set-point did not leave; it is due again at the next tick.
    Unsent(HeaterId),
    /// The same of a source.
    SourceUnsent(Feeder),
    /// A set-point for the battery did not leave.
    BatteryUnsent,
    /// How a source of prices or forecasts is.
    Source {
        /// Its name.
        name: &'static str,
        /// What is wrong with it: a short name, and words.
        fault: Option<(&'static str, String)>,
    },
    /// A heater's meter was read for a half-hour.
    Excess {
        /// Which heater.
        heater: HeaterId,
        /// What it used beyond what it was told [kWh], if that is worth a word.
        kwh: Option<f64>,
    },
    /// Whether the archive took the last batch.
    Persisted(bool),
    /// The service is to end.
    Stop,
}

/// What is to be done.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Make a new schedule.
    Plan(Why),
    /// Send a set-point, momentary.
    SetPoint(HeaterId, SetPoint),
    /// Send a set-point of a source, momentary.
    SourceSetPoint(Feeder, Due<SourceOrder>),
    /// Send what the battery is to do, momentary.
    BatterySetPoint(BatterySetPoint),
    /// Send an answer, momentary.
    Answer(Answer),
    /// Publish what is wrong, retained; also as alerts in the Homie tree.
    Faults(Vec<Fault>),
    /// Remember something.
    Keep(Record),
    /// A message for somebody else: the Homie tree or a price reader.
    Pass {
        /// Its topic.
        topic: String,
        /// What it says.
        payload: Vec<u8>,
        /// It was kept by the broker.
        retained: bool,
    },
    /// Publish `offline` and end the link.
    Leave,
}

/// Why a new schedule is needed; the last of several is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// The old one is old.
    Age,
    /// A slot began.
    Slot,
    /// A store was lost from sight or found, or readings depart from the schedule.
    Reading,
    /// A forecast came or grew old.
    Forecast,
    /// Prices changed.
    Prices,
    /// Something was asked for by hand, or ended.
    Command,
    /// The time of day stepped, or became trustworthy or not.
    Clock,
    /// The service started.
    Start,
}

/// A schedule with its times.
#[derive(Debug, Clone, PartialEq)]
pub struct Current {
    /// When it was made.
    pub issued_at: Instant,
    /// It is not acted on from then.
    pub valid_until: Instant,
    /// What is to be done.
    pub schedule: Schedule,
    /// For each slot and heater of the schedule, why; empty if nobody wrote it.
    pub reasons: Vec<Vec<String>>,
    /// Heaters that stand guard over the slots of the schedule.
    pub guards: Vec<Guard>,
    /// For each slot, what sources and circuits are told in it.
    pub feeds: Vec<Vec<Feed>>,
    /// For each slot, what the battery is to do; empty without a battery.
    pub battery: Vec<BatteryOrder>,
    /// The network limits what it may use.
    pub is_limited: bool,
    /// Why it is not the best schedule there could be.
    pub fell_because: Option<String>,
}

impl Current {
    /// The slot that an instant lies in.
    pub fn slot_at(&self, now: Instant) -> Option<Slot> {
        self.schedule.slots.iter().map(|plan| plan.slot).find(|slot| slot.contains(now))
    }
}
