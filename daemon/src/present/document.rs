//! The plan as a JSON document, `stowheat/plan/1`: what `plan --json` prints
//! and what is published over MQTT.

#![allow(
    rustdoc::broken_intra_doc_links,
    reason = "the comments are the schema's descriptions, with units in plain brackets"
)]

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

mod filling;
mod plant_room;

pub use plant_room::{Job, Model, PlantRoom, Request, Requested, Told};

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/plan/1";

/// What a house does in the coming slots, what it costs, and why. Money is in
/// the minor unit of `currency`, energy in kWh, times are RFC 3339 with the
/// offset of the site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "stowheat plan", extend("$id" = "urn:stowheat:plan:1"))]
pub struct Document {
    /// Name and version of this document.
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    /// Name of the site.
    pub site: String,
    /// Drawn anew at each start of the service; not in a plan made by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boot_id: Option<String>,
    /// Rises with each plan of one start of the service; not in a plan made by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// When the plan was made.
    #[schemars(extend("format" = "date-time"))]
    pub issued_at: String,
    /// From when nobody may act on the plan any more.
    #[schemars(extend("format" = "date-time"))]
    pub valid_until: String,
    /// Name of the site's zone in the time-zone database.
    pub time_zone: String,
    /// ISO 4217 code of the currency.
    #[schemars(extend("pattern" = "^[A-Z]{3}$"))]
    pub currency: String,
    /// Where the plan comes from.
    pub status: Status,
    /// Who vouches for temperatures and litres.
    pub evidence: Evidence,
    /// Money over the whole plan.
    pub cost: Cost,
    /// Hot water that arrives cold, as litres at the temperature asked for [L].
    #[schemars(range(min = 0))]
    pub unmet_litres: f64,
    /// Heat of that water [kWh].
    #[schemars(range(min = 0))]
    pub unmet_kwh: f64,
    /// Heat missing from promised or reserved water, at its worst [kWh].
    #[schemars(range(min = 0))]
    pub short_kwh: f64,
    /// The published models behind the numbers of the plant room.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub models: Vec<Model>,
    /// What heat pumps are asked for by the four-state interface of two contacts,
    /// each state held for ten minutes or more; gaps do not occur.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub four_state: Vec<Request>,
    /// Pasteurisations that fall due.
    pub hygiene: Vec<Hygiene>,
    /// The slots, without gap, in order of time.
    pub slots: Vec<Slot>,
}

/// Where a plan comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Solved to optimality and checked.
    Optimal,
    /// The solver stopped at a limit; its answer was checked.
    LimitReached,
    /// No solution: thermostat in the cheapest allowed slots before each named time.
    Rule,
    /// No newer plan could be made, so this one is kept until its `valid_until`.
    Previous,
}

/// Who vouches for temperatures and litres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "by", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Evidence {
    /// Modelled, not simulated: they are the linear program's own.
    Modelled,
    /// The plan was run through the simulated plant.
    Simulated {
        /// Rounds of correcting the plan and solving again.
        rounds: usize,
        /// What trying small changes on the simulated plant gained [minor unit].
        polish_gain: f64,
    },
}

/// Money over the whole plan [minor unit]:
/// total = import − export_income + wear + fuel − end_value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cost {
    /// Paid for import; negative when paid to import [minor unit].
    pub import: f64,
    /// Earned by export [minor unit].
    pub export_income: f64,
    /// Wear of the battery [minor unit].
    pub wear: f64,
    /// Fuel burnt [minor unit].
    pub fuel: f64,
    /// Worth of heat and charge left at the end [minor unit].
    pub end_value: f64,
    /// The sum [minor unit].
    pub total: f64,
}

/// A pasteurisation that falls due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Hygiene {
    /// Name of the store.
    pub store: String,
    /// By when the hold must be complete.
    #[schemars(extend("format" = "date-time"))]
    pub due: String,
    /// Temperature that the coldest water must reach [°C].
    pub temperature_c: f64,
    /// How long it must hold [min].
    #[schemars(range(min = 0))]
    pub hold_minutes: f64,
    /// When the hold starts in this plan; null if it cannot be done in time.
    #[schemars(extend("format" = "date-time"))]
    pub starts: Option<String>,
}

/// One slot, from `start` until just before `end`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slot {
    /// First instant.
    #[schemars(extend("format" = "date-time"))]
    pub start: String,
    /// First instant after the slot.
    #[schemars(extend("format" = "date-time"))]
    pub end: String,
    /// Unit rate of import [minor unit/kWh].
    pub import_price: f64,
    /// Unit rate of export [minor unit/kWh].
    pub export_price: f64,
    /// Whether the prices are published or forecast.
    pub price_origin: PriceOrigin,
    /// Worth of one more kWh at the house [minor unit/kWh].
    pub electricity_value: f64,
    /// Net energy from the grid [kWh].
    #[schemars(range(min = 0))]
    pub import_kwh: f64,
    /// Net energy to the grid; zero where `import_kwh` is not [kWh].
    #[schemars(range(min = 0))]
    pub export_kwh: f64,
    /// Energy that passes the meter both ways inside the slot, besides the net
    /// flow, because an on/off element draws more than the surplus while on
    /// [kWh].
    #[schemars(range(min = 0))]
    pub swing_kwh: f64,
    /// PV energy used or exported [kWh].
    #[schemars(range(min = 0))]
    pub pv_kwh: f64,
    /// PV energy given up [kWh].
    #[schemars(range(min = 0))]
    pub curtailed_kwh: f64,
    /// Energy of the rest of the house [kWh].
    #[schemars(range(min = 0))]
    pub base_load_kwh: f64,
    /// AC energy into the battery [kWh].
    #[schemars(range(min = 0))]
    pub charge_kwh: f64,
    /// AC energy out of the battery [kWh].
    #[schemars(range(min = 0))]
    pub discharge_kwh: f64,
    /// Energy in the battery at the end of the slot, above empty [kWh].
    #[schemars(range(min = 0))]
    pub battery_kwh: f64,
    /// What the battery does inside the slot; null without a battery.
    pub battery_mode: Option<BatteryMode>,
    /// Every element of the site.
    pub heaters: Vec<Heater>,
    /// Every store, at the end of the slot.
    pub stores: Vec<Store>,
    /// What heat pumps, boiler, collectors and buffer do, in the order in which
    /// they do it; jobs of one source do not overlap.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub jobs: Vec<Job>,
    /// What they are told for that. It asks for more than comes of it where a
    /// thermostat or a cold buffer holds a source back.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub told: Vec<Told>,
    /// Buffer, rooms and pool at the end of the slot; not without them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plant_room: Option<PlantRoom>,
}

/// Where the prices of a slot come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PriceOrigin {
    /// Published by the market or fixed in the contract.
    Published,
    /// Our own forecast.
    Forecast,
}

/// What a battery does inside a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BatteryMode {
    /// Neither charges nor discharges.
    Hold,
    /// Keeps the grid flow at zero within its limits.
    Follow,
    /// Charges at the planned power, from PV and grid.
    Charge,
    /// Discharges at the planned power, into house and grid.
    Discharge,
    /// Takes what would go to the grid, gives nothing.
    Absorb,
    /// Gives what would come from the grid, takes nothing.
    Supply,
}

/// One immersion element in one slot; pv_kwh + battery_kwh + grid_kwh = energy_kwh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Heater {
    /// Name of its store.
    pub store: String,
    /// Name of the element.
    pub heater: String,
    /// Power while on [kW].
    #[schemars(range(min = 0))]
    pub power_kw: f64,
    /// Minutes on [min].
    #[schemars(range(min = 0))]
    pub minutes: f64,
    /// Minutes after the start of the slot at which it goes on [min].
    #[schemars(range(min = 0))]
    pub delay_minutes: f64,
    /// Energy used [kWh].
    #[schemars(range(min = 0))]
    pub energy_kwh: f64,
    /// Part of it from PV [kWh].
    #[schemars(range(min = 0))]
    pub pv_kwh: f64,
    /// Part of it from the battery [kWh].
    #[schemars(range(min = 0))]
    pub battery_kwh: f64,
    /// Part of it from the grid [kWh].
    #[schemars(range(min = 0))]
    pub grid_kwh: f64,
    /// Why it is on, or why it is not: one sentence.
    pub why: String,
}

/// One store at the end of a slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Store {
    /// Name of the store.
    pub store: String,
    /// Heat above the temperature of the cold water [kWh].
    #[schemars(range(min = 0))]
    pub stored_kwh: f64,
    /// Temperature at the top [°C].
    pub top_c: f64,
    /// Temperature at the bottom [°C].
    pub bottom_c: f64,
    /// Water at the store's use temperature that could be drawn now [L].
    #[schemars(range(min = 0))]
    pub usable_litres: f64,
    /// Heat that arrives cold in this slot [kWh].
    #[schemars(range(min = 0))]
    pub unmet_kwh: f64,
    /// Worth of one more kWh of heat in the store [minor unit/kWh].
    pub value_per_kwh: f64,
}

/// JSON Schema 2020-12 of [`Document`].
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Document)
}

impl Document {
    /// The document as indented JSON that ends with a line feed.
    ///
    /// # Panics
    /// Never: every part of the document has a JSON form.
    pub fn to_json(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).expect("the document has a JSON form");
        text.push('\n');
        text
    }
}

#[cfg(test)]
mod tests;
