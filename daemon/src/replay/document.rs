//! The replay as JSON, `stowheat/replay/1`: what `replay --json` prints.

#![allow(
    rustdoc::broken_intra_doc_links,
    reason = "the comments are the schema's descriptions, with units in plain brackets"
)]

mod plant_room;

pub use plant_room::{Kept, PlantRoom, Route};

use optimiser::replay::bound::Bound as Found;
use optimiser::replay::{Ledger, StoredWorth};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Entry, Replayed, reasons};
use crate::house::House;
use crate::present::{digits::rounded, local};
use crate::size::margins::Value;

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/replay/1";

/// A period of past data in a closed loop: stowheat beside rules that are tuned
/// in hindsight. Money is in the minor unit of `currency`, energy in kWh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "stowheat replay", extend("$id" = "urn:stowheat:replay:1"))]
pub struct Document {
    /// Name and version of this document.
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    /// Name of the site.
    pub site: String,
    /// Name of the site's zone in the time-zone database.
    pub time_zone: String,
    /// ISO 4217 code of the currency.
    pub currency: String,
    /// First local day.
    #[schemars(extend("format" = "date"))]
    pub first_day: String,
    /// Last local day.
    #[schemars(extend("format" = "date"))]
    pub last_day: String,
    /// Standing charge over the period, in no other sum [minor unit].
    pub standing_charge: f64,
    /// What a kWh of heat left over is valued at [minor unit/kWh].
    pub worth_of_heat: f64,
    /// What a kWh of heat left over in buffer, rooms and pool is valued at [minor unit/kWh].
    pub worth_of_heat_elsewhere: f64,
    /// What a kWh of charge left over is valued at [minor unit/kWh].
    pub worth_of_charge: f64,
    /// Half-hours in the period and those with a value.
    pub coverage: Coverage,
    /// stowheat first, then the rules.
    pub controllers: Vec<Controller>,
    /// What knowing everything would have cost; null if not asked for or not found.
    pub bound: Option<Bound>,
    /// The same, obliged to keep water ready for draws nobody knows; likewise.
    pub bound_at_equal_comfort: Option<Bound>,
    /// What a unit more of each capacity would have saved somebody who knew the whole
    /// period, near the present sizes only; null if not asked for or not found.
    #[serde(default)]
    pub limits: Option<Vec<Value>>,
    /// stowheat over the same days with something known beforehand; null if not asked for.
    #[serde(default)]
    pub remainder: Option<Vec<Knowing>>,
    /// The rule that stowheat is compared with.
    pub best_rule: Option<String>,
    /// Cost under that rule less cost under stowheat [minor unit].
    pub saving: Option<f64>,
    /// Share of the saving that the bound at equal comfort would have made; null
    /// without a bound, and where stowheat or the rule was not comfortable.
    pub captured: Option<f64>,
    /// Half-hours that stowheat decided by rule, for want of a plan.
    pub decided_by_rule: usize,
    /// Everything that was assumed.
    pub notes: Vec<String>,
}

/// Half-hours in the period and those with a value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Coverage {
    /// Half-hours in the period.
    pub half_hours: usize,
    /// With a price of import and export.
    pub prices: usize,
    /// With PV energy.
    pub pv: usize,
    /// With base load.
    pub load: usize,
    /// With outdoor temperature; null where no plant room needs it.
    pub weather: Option<usize>,
}

/// What knowing everything would have cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bound {
    /// Cost that nobody can be below, counted as the cost of a controller [minor unit].
    pub cost: f64,
    /// By how much the least cost may lie above that; 0 where this is it [minor unit].
    #[serde(default)]
    pub open: f64,
    /// Whether it is certain that nobody can be below it. In a plant room it is not: the
    /// linear program is not everywhere kinder than the simulated plant.
    #[serde(default = "certain")]
    pub certain: bool,
    /// Draw heat left unmet [kWh].
    pub unmet_kwh: f64,
    /// How much colder than asked it leaves the rooms in the mean [K].
    #[serde(default)]
    pub rooms_below_k: f64,
    /// The same for the pool [K].
    #[serde(default)]
    pub pool_below_k: f64,
}

/// Documents from before plant rooms had one.
const fn certain() -> bool {
    true
}

/// stowheat with something known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Knowing {
    /// What was known.
    pub what: String,
    /// Counted as the cost of a controller [minor unit].
    pub cost: f64,
    /// Draw heat left unmet [%].
    pub unmet_percent: f64,
}

/// A controller and what came of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Controller {
    /// Its name.
    pub name: String,
    /// Settings of a rule, in words.
    pub settings: Option<String>,
    /// Whether unmet draw heat stayed within one in a thousand, and rooms and pool were
    /// not too cold by more than 0.05 and 0.25 K in the mean.
    pub comfortable: bool,
    /// Ends of the pasteurisation holds that the plant proved, by rule of the site.
    pub holds: Vec<Vec<String>>,
    /// The whole period.
    pub whole: Sums,
    /// Each local month.
    pub months: Vec<Month>,
}

/// A local month, as far as the period covers it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Month {
    /// First day that is in the period.
    #[schemars(extend("format" = "date"))]
    pub first_day: String,
    /// Its sums.
    pub sums: Sums,
}

/// Sums: bill = import_cost − export_income;
/// cost = bill + plant_room.fuel_cost + unpriced_cost + wear − stored_gain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states quantity and unit")]
pub struct Sums {
    pub half_hours: usize,
    pub unpriced_half_hours: usize,
    pub unpriced_import_kwh: f64,
    pub import_cost: f64,
    pub export_income: f64,
    pub bill: f64,
    pub unpriced_cost: f64,
    pub wear: f64,
    pub stored_gain: f64,
    pub cost: f64,
    pub import_kwh: f64,
    pub export_kwh: f64,
    pub pv_kwh: f64,
    pub curtailed_kwh: f64,
    pub base_load_kwh: f64,
    pub heaters_kwh: Vec<f64>,
    pub charge_kwh: f64,
    pub discharge_kwh: f64,
    pub heat_lost_kwh: f64,
    pub stored_at_start_kwh: f64,
    pub stored_at_end_kwh: f64,
    pub battery_at_start_kwh: f64,
    pub battery_at_end_kwh: f64,
    pub draws: usize,
    pub failed_draws: usize,
    pub asked_kwh: f64,
    pub unmet_kwh: f64,
    pub unmet_percent: f64,
    pub litre_degrees: f64,
    pub peak_import_kw: f64,
    pub overload_kwh: f64,
    pub hours_at_import_limit: f64,
    pub hours_pv_given_up: f64,
    pub hours_battery_full: f64,
    pub hours_battery_at_reserve: f64,
    pub hours_all_elements: f64,
    /// Null for a house of stores and elements.
    pub plant_room: Option<PlantRoom>,
}

/// The JSON Schema of the document.
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Document)
}

impl Document {
    /// The document of a replay.
    pub fn new(replayed: &Replayed<'_>) -> Self {
        let gaps = replayed.gaps();
        let best = replayed.best_rule();
        let bound = |index: usize| {
            let bounds = replayed.bounds.as_ref()?;
            bounds[index].as_ref().ok().map(|found: &Found| Bound {
                cost: money(found.cost),
                open: money(found.open),
                certain: replayed.stage.has_bound(),
                unmet_kwh: fine(found.unmet_kwh),
                rooms_below_k: fine(found.too_cold.rooms),
                pool_below_k: fine(found.too_cold.pool),
            })
        };
        Self {
            schema: SCHEMA.to_owned(),
            site: replayed.house.name.clone(),
            time_zone: replayed.house.time_zone.name().to_owned(),
            currency: replayed.house.tariff.currency.clone(),
            first_day: replayed.period.days.0.to_string(),
            last_day: replayed.period.days.1.to_string(),
            standing_charge: money(replayed.standing_charge()),
            worth_of_heat: fine(replayed.worth.heat),
            worth_of_heat_elsewhere: fine(replayed.worth.elsewhere),
            worth_of_charge: fine(replayed.worth.battery),
            coverage: Coverage {
                half_hours: gaps.slots,
                prices: gaps.slots - gaps.prices,
                pv: gaps.slots - gaps.pv,
                load: gaps.slots - gaps.load,
                weather: gaps.weather.map(|missing| gaps.slots - missing),
            },
            controllers: replayed.entries.iter().map(|e| Controller::new(replayed, e)).collect(),
            bound: bound(0),
            bound_at_equal_comfort: bound(1),
            limits: replayed.limits.as_ref().and_then(|found| found.as_ref().ok()).cloned(),
            remainder: replayed.remainder.as_ref().map(|all| {
                let one = |one: &reasons::Knowing| Knowing {
                    what: one.what.to_owned(),
                    cost: money(one.cost),
                    unmet_percent: fine(one.unmet_percent),
                };
                all.iter().map(one).collect()
            }),
            best_rule: best.map(|rule| rule.name.to_owned()),
            saving: best.map(|rule| money(replayed.saving(rule))),
            captured: replayed.captured().map(fine),
            decided_by_rule: replayed.by_rule.0,
            notes: replayed.period.notes.clone(),
        }
    }

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

impl Controller {
    fn new(replayed: &Replayed<'_>, entry: &Entry) -> Self {
        let zone = replayed.house.time_zone;
        let time = |end: &optimiser::time::Instant| local::rfc_3339(zone, *end);
        let month = |(first, ledger): &(chrono::NaiveDate, Ledger)| Month {
            first_day: first.to_string(),
            sums: Sums::new(replayed.house, ledger, replayed.worth),
        };
        Self {
            name: entry.name.to_owned(),
            settings: entry.settings.clone(),
            comfortable: entry.comfortable,
            holds: entry.run.holds.iter().map(|holds| holds.iter().map(time).collect()).collect(),
            whole: Sums::new(replayed.house, &entry.whole, replayed.worth),
            months: entry.months.iter().map(month).collect(),
        }
    }
}

impl Sums {
    fn new(site: &House, ledger: &Ledger, worth: StoredWorth) -> Self {
        let house = &ledger.house;
        let room = ledger.plant_room.as_ref();
        Self {
            half_hours: ledger.slots,
            unpriced_half_hours: ledger.unpriced_slots,
            unpriced_import_kwh: fine(ledger.unpriced_import_kwh),
            import_cost: money(ledger.import_cost),
            export_income: money(ledger.export_income),
            bill: money(ledger.bill()),
            unpriced_cost: money(ledger.unpriced_cost),
            wear: money(ledger.wear),
            stored_gain: money(ledger.stored_gain(worth)),
            cost: money(ledger.cost(worth)),
            import_kwh: fine(house.import_kwh),
            export_kwh: fine(house.export_kwh),
            pv_kwh: fine(house.pv_kwh),
            curtailed_kwh: fine(house.curtailed_kwh),
            base_load_kwh: fine(house.base_kwh),
            heaters_kwh: ledger.heaters_kwh.iter().map(|kwh| fine(*kwh)).collect(),
            charge_kwh: fine(house.charge_kwh),
            discharge_kwh: fine(house.discharge_kwh),
            heat_lost_kwh: fine(ledger.lost_kwh),
            stored_at_start_kwh: fine(ledger.stored_kwh.0),
            stored_at_end_kwh: fine(ledger.stored_kwh.1),
            battery_at_start_kwh: fine(ledger.battery_kwh.0),
            battery_at_end_kwh: fine(ledger.battery_kwh.1),
            draws: ledger.taps.draws,
            failed_draws: ledger.taps.failed,
            asked_kwh: fine(ledger.taps.asked_kwh),
            unmet_kwh: fine(ledger.taps.unmet_kwh),
            unmet_percent: fine(ledger.taps.unmet_percent()),
            litre_degrees: fine(ledger.taps.litre_degrees()),
            peak_import_kw: fine(house.peak_import_kw),
            overload_kwh: fine(house.overload_kwh),
            hours_at_import_limit: ledger.limits.import,
            hours_pv_given_up: ledger.limits.curtailed,
            hours_battery_full: ledger.limits.battery_full,
            hours_battery_at_reserve: ledger.limits.battery_empty,
            hours_all_elements: ledger.limits.elements,
            plant_room: room.map(|sums| PlantRoom::new(site, sums, house.sources_kwh)),
        }
    }
}

/// Money to the thousandth of the minor unit.
fn money(minor: f64) -> f64 {
    rounded(minor, 3)
}

/// Energies and shares to four decimals.
fn fine(value: f64) -> f64 {
    rounded(value, 4)
}
