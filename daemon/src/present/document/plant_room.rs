//! Parts of the document that only a whole plant room fills.

#![allow(
    rustdoc::broken_intra_doc_links,
    reason = "the comments are the schema's descriptions, with units in plain brackets"
)]

use optimiser::plant::JobCommand;
use optimiser::schedule as plan;
use optimiser::units::{Price, Temperature};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::filling::{COARSE, FINE};
use crate::present::digits::rounded;
use crate::present::four_state::{self, FourState};
use crate::present::{Plan, jobs, local, reasons};

/// A published model and what it is used for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// What it computes, such as the COP of a heat pump.
    pub of: String,
    /// Its name.
    pub name: String,
}

/// A state of the four-state interface that a heat pump is asked to be in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// Name of the heat pump.
    pub heat_pump: String,
    /// First instant.
    #[schemars(extend("format" = "date-time"))]
    pub start: String,
    /// First instant after it.
    #[schemars(extend("format" = "date-time"))]
    pub end: String,
    /// The state.
    pub state: Requested,
    /// Its number in the interface, 1 to 4.
    #[schemars(range(min = 1, max = 4))]
    pub number: u8,
    /// Whether the first contact is closed.
    pub contact_1: bool,
    /// Whether the second contact is closed.
    pub contact_2: bool,
}

/// A state of the four-state interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Requested {
    /// It must not run; never for longer than two hours.
    Blocked,
    /// It runs as it likes.
    Normal,
    /// It should run, if it can.
    Encouraged,
    /// It must run.
    Forced,
}

/// A source that serves a sink for a part of a slot;
/// pv_kwh + battery_kwh + grid_kwh = electricity_kwh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// Name of the source: a heat pump, `boiler`, `collectors`, `buffer element`
    /// or `buffer`.
    pub source: String,
    /// Name of the sink: a store (`store/coil` where it has several coils),
    /// `buffer`, `rooms` or `pool`.
    pub sink: String,
    /// Minutes after the start of the slot at which it begins [min].
    #[schemars(range(min = 0))]
    pub delay_minutes: f64,
    /// Minutes that it lasts [min].
    #[schemars(range(min = 0))]
    pub minutes: f64,
    /// Heat that reaches the sink [kWh].
    #[schemars(range(min = 0))]
    pub heat_kwh: f64,
    /// Electricity used, with pumps and controls [kWh].
    #[schemars(range(min = 0))]
    pub electricity_kwh: f64,
    /// Part of it from PV [kWh].
    #[schemars(range(min = 0))]
    pub pv_kwh: f64,
    /// Part of it from the battery [kWh].
    #[schemars(range(min = 0))]
    pub battery_kwh: f64,
    /// Part of it from the grid [kWh].
    #[schemars(range(min = 0))]
    pub grid_kwh: f64,
    /// Fuel burnt [kWh].
    #[schemars(range(min = 0))]
    pub fuel_kwh: f64,
    /// Heat for each unit of electricity; null where fuel or sun make the heat.
    pub cop: Option<f64>,
    /// Why it runs: a few words.
    pub why: String,
}

/// What a source is told, as a set-point says it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Told {
    /// Name of the source.
    pub source: String,
    /// What it is to serve.
    pub sink: String,
    /// Minutes after the start of the slot at which it is to begin [min].
    #[schemars(range(min = 0))]
    pub delay_minutes: f64,
    /// Minutes that it is to last [min].
    #[schemars(range(min = 0))]
    pub minutes: f64,
    /// Heat that is wished for meanwhile [kW]; it gives what it can and no more.
    #[schemars(range(min = 0))]
    pub heat_kw: f64,
}

/// Buffer, rooms and pool at the end of a slot; null where there is none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlantRoom {
    /// Water in the buffer [°C].
    pub buffer_c: Option<f64>,
    /// Air in the rooms [°C].
    pub rooms_air_c: Option<f64>,
    /// Walls and floors of the rooms [°C].
    pub rooms_mass_c: Option<f64>,
    /// Water in the pool [°C].
    pub pool_c: Option<f64>,
    /// Worth of one more kWh of heat in the buffer [minor unit/kWh].
    pub buffer_value_per_kwh: Option<f64>,
    /// Worth of one more kWh of heat in the rooms [minor unit/kWh].
    pub rooms_value_per_kwh: Option<f64>,
    /// Worth of one more kWh of heat in the pool [minor unit/kWh].
    pub pool_value_per_kwh: Option<f64>,
}

impl From<FourState> for Requested {
    fn from(state: FourState) -> Self {
        match state {
            FourState::Blocked => Self::Blocked,
            FourState::Normal => Self::Normal,
            FourState::Encouraged => Self::Encouraged,
            FourState::Forced => Self::Forced,
        }
    }
}

impl Model {
    pub(super) fn of(shown: &Plan<'_>) -> Vec<Self> {
        let models = jobs::models(shown).into_iter();
        models.map(|(of, name)| Self { of, name: name.to_owned() }).collect()
    }
}

impl Request {
    pub(super) fn of(shown: &Plan<'_>) -> Vec<Self> {
        let pumps = shown.problem.site.plant_room.heat_pumps.iter().enumerate();
        pumps
            .flat_map(|(index, pump)| {
                four_state::requests(shown.schedule, index).into_iter().map(|(span, state)| {
                    let [contact_1, contact_2] = state.contacts();
                    Self {
                        heat_pump: pump.name.clone(),
                        start: local::rfc_3339(shown.zone(), span.start()),
                        end: local::rfc_3339(shown.zone(), span.end()),
                        state: state.into(),
                        number: state.number(),
                        contact_1,
                        contact_2,
                    }
                })
            })
            .collect()
    }
}

impl Job {
    pub(super) fn new(shown: &Plan<'_>, slot: &plan::SlotPlan, job: &plan::Job) -> Self {
        // The grid takes what rounding leaves, so that the parts sum to the whole.
        let electricity_kwh = rounded(job.electricity.kwh(), FINE);
        let pv_kwh = rounded(job.pv.kwh(), FINE).min(electricity_kwh);
        let left = rounded(electricity_kwh - pv_kwh, FINE);
        let battery_kwh = rounded(job.battery.kwh(), FINE).min(left);
        let sum = jobs::Sum::of([job]);
        let pumped = matches!(job.route.source, optimiser::site::Source::HeatPump(_));
        Self {
            source: shown.house.source_name(job.route.source),
            sink: shown.house.sink_name(job.route.sink),
            delay_minutes: rounded(job.delay_minutes, COARSE),
            minutes: rounded(job.minutes, COARSE),
            heat_kwh: rounded(job.heat.kwh(), FINE),
            electricity_kwh,
            pv_kwh,
            battery_kwh,
            grid_kwh: rounded(left - battery_kwh, FINE),
            fuel_kwh: rounded(job.fuel.kwh(), FINE),
            cop: sum.cop().filter(|_| pumped).map(|cop| rounded(cop, COARSE)),
            why: reasons::short(shown, job.why, slot.slot.start()),
        }
    }
}

impl Told {
    pub(super) fn new(shown: &Plan<'_>, command: &JobCommand) -> Self {
        Self {
            source: shown.house.source_name(command.route.source),
            sink: shown.house.sink_name(command.route.sink),
            delay_minutes: rounded(command.delay_minutes, COARSE),
            minutes: rounded(command.minutes, COARSE),
            heat_kw: rounded(command.heat.kw(), FINE),
        }
    }
}

impl PlantRoom {
    pub(super) fn of(room: &plan::PlantRoomPlan) -> Option<Self> {
        let celsius = |t: Option<Temperature>| t.map(|t| rounded(t.celsius(), COARSE));
        let value = |price: Option<Price>| price.map(|price| rounded(price.per_kwh(), FINE));
        let described = room.buffer.is_some() || room.rooms.is_some() || room.pool.is_some();
        described.then(|| Self {
            buffer_c: celsius(room.buffer),
            rooms_air_c: celsius(room.rooms.map(|rooms| rooms.air)),
            rooms_mass_c: celsius(room.rooms.map(|rooms| rooms.mass)),
            pool_c: celsius(room.pool),
            buffer_value_per_kwh: value(room.buffer_value),
            rooms_value_per_kwh: value(room.rooms_value),
            pool_value_per_kwh: value(room.pool_value),
        })
    }
}
