//! What a little more of everything would have been worth in a world:
//! `stowheat/margins/1`.

use optimiser::problem::State;
use optimiser::replay::Stage;
use optimiser::sizing::{Capacity, marginal_at, multipliers};
use optimiser::solve::SolveLimits;
use optimiser::units::Energy;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::candidate::Candidate;
use super::case::CaseError;
use super::{World, sha256};
use crate::house::{House, Pv};
use crate::present::digits::rounded;
use crate::replay::NO_BOUND;

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/margins/1";

/// Time that each program may take [s].
const SECONDS: f64 = 300.0;

/// Marginal values near the house as it stands, for somebody who knows the
/// whole period. They hold near the point only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Margins {
    /// Name and version of this document.
    pub schema: String,
    /// Hash of everything that it was made from.
    pub input: String,
    /// Days of the period.
    pub days: i64,
    /// Each capacity; empty if there is no answer.
    pub values: Vec<Value>,
    /// Why there is no answer, if there is none.
    pub failed: Option<String>,
}

/// What a unit of a capacity is worth over the period.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Value {
    /// Name of the capacity.
    pub capacity: String,
    /// Unit that the values are for, such as `100 L`.
    pub unit: String,
    /// Present size, in words.
    pub size: String,
    /// Value of a unit more, just above the size [minor unit].
    pub up: f64,
    /// Value of the last unit, just below the size [minor unit].
    pub down: f64,
}

/// The hash that names the margins of a house in a world.
pub fn input(point: &Point<'_>, world: &World) -> String {
    let beside = format!("{:?}", point.beside);
    let present = point.present;
    let parts = [
        SCHEMA,
        env!("CARGO_PKG_VERSION"),
        &present.text,
        &present.left_out.join(","),
        point.with_battery.map_or("", |other| &other.text),
        &beside,
        &world.identity(),
    ];
    sha256(parts.join("\u{0}").as_bytes())
}

/// Size at which the first kWh of a battery is valued [kWh].
const FIRST: f64 = 0.1;

/// What the margins are taken of.
#[derive(Debug, Clone, Copy)]
pub struct Point<'a> {
    /// The house as it stands.
    pub present: &'a Candidate,
    /// Capacities that are looked at just above and just below their size.
    pub beside: &'a [Capacity],
    /// A candidate with a battery, where the present house has none: its first
    /// kWh is valued.
    pub with_battery: Option<&'a Candidate>,
}

/// The margins of the present house in a world.
///
/// # Errors
/// If the world does not fit the house.
pub fn margins(point: &Point<'_>, world: &World) -> Result<Margins, CaseError> {
    let house = world.house(&point.present.house);
    let period = world.period(&house)?;
    let stage = Stage::new(&house.site, &period.timeline, &start(&house))?;
    let limits = SolveLimits { seconds: SECONDS, ..SolveLimits::default() };
    let worth = stage.stored_worth();
    let found = if stage.has_bound() {
        multipliers(&stage, worth, point.beside, limits)
    } else {
        Err(format!("a plant room has none: {NO_BOUND}"))
    };
    let mut values: Vec<Value> =
        found.iter().flatten().map(|m| value(&house, m.capacity, m.up, m.down)).collect();
    let mut failed = found.err();
    if let Some(other) = point.with_battery.filter(|_| stage.has_bound()) {
        let mut fitted = world.house(&other.house);
        if let Some(battery) = &mut fitted.site.battery {
            battery.reserve = Energy::constant(0.0);
        }
        fitted.state.battery = Energy::constant(0.0);
        let stage = Stage::new(&fitted.site, &period.timeline, &start(&fitted))?;
        match marginal_at(&stage, worth, (Capacity::Battery, FIRST), limits) {
            Ok(up) => {
                let size = "none".to_owned();
                values.push(Value { size, ..value(&fitted, Capacity::Battery, up, up) });
            }
            Err(why) => failed = failed.or(Some(why)),
        }
    }
    Ok(Margins {
        schema: SCHEMA.to_owned(),
        input: input(point, world),
        days: (period.days.1 - period.days.0).num_days() + 1,
        values,
        failed,
    })
}

fn start(house: &House) -> State {
    State {
        battery: house.state.battery,
        stores: house.state.stores.clone(),
        plant_room: house.state.plant_room.clone(),
    }
}

/// The value of a unit of a capacity of a house, in words.
pub(crate) fn value(house: &House, capacity: Capacity, up: f64, down: f64) -> Value {
    let told = Told::of(capacity, house);
    Value {
        capacity: told.name,
        unit: told.unit.to_owned(),
        size: told.size,
        up: rounded(up * told.units, 3),
        down: rounded(down * told.units, 3),
    }
}

impl Margins {
    /// The margins as JSON on one line.
    ///
    /// # Panics
    /// Never: every part has a JSON form.
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).expect("margins have a JSON form") + "\n"
    }

    /// What the multipliers say that a candidate saves over the period
    /// [minor]: a first order, right near the present sizes only. `None` where
    /// it changes something without a multiplier.
    pub fn predicted(&self, present: &Candidate, candidate: &Candidate) -> Option<f64> {
        let mut sum = 0.0;
        for change in candidate.changes.iter().filter(|change| change.counts()) {
            let capacity = change.capacity?;
            let name = Told::of(capacity, &present.house).name;
            let value = self.values.iter().find(|value| value.capacity == name)?;
            let units = match capacity {
                Capacity::Volume(_) => (change.to - change.from) / 100.0,
                _ => change.to - change.from,
            };
            sum += units * if units > 0.0 { value.up } else { value.down };
        }
        Some(sum)
    }
}

/// A capacity in words: how many of its own units make the one that is told.
struct Told {
    name: String,
    unit: &'static str,
    units: f64,
    size: String,
}

impl Told {
    fn of(capacity: Capacity, house: &House) -> Self {
        let size = capacity.size(&house.site);
        let told = |name: String, unit: &'static str, units: f64, size: String| Self {
            name,
            unit,
            units,
            size,
        };
        match capacity {
            Capacity::Element(id) => {
                let store = &house.site.stores[id.store];
                let own = &store.elements[id.element].name;
                let name = if house.site.stores.len() == 1 {
                    format!("element {own}")
                } else {
                    format!("element {}/{own}", store.name)
                };
                told(name, "kW", 1.0, format!("{size} kW"))
            }
            Capacity::Volume(store) => {
                let name = format!("store {}", house.site.stores[store].name);
                told(name, "100 L", 100.0, format!("{size} L"))
            }
            Capacity::Battery => told("battery".to_owned(), "kWh", 1.0, format!("{size} kWh")),
            Capacity::BatteryPower => {
                told("battery power".to_owned(), "kW", 1.0, format!("{size} kW"))
            }
            Capacity::Import => {
                let kw_per_ampere = house.supply.volts * f64::from(house.supply.phases) / 1_000.0;
                let amperes = rounded(size / kw_per_ampere, 1);
                told("import limit".to_owned(), "A", kw_per_ampere, format!("{amperes} A"))
            }
            Capacity::Export => told("export limit".to_owned(), "kW", 1.0, format!("{size} kW")),
            Capacity::Sun => match peak_kw(house) {
                Some(peak) => told("PV".to_owned(), "kWp", 1.0 / peak, format!("{peak} kWp")),
                None => told("PV".to_owned(), "10 % more", 0.1, "as in its series".to_owned()),
            },
        }
    }
}

/// Peak power of the PV, where the site states it.
fn peak_kw(house: &House) -> Option<f64> {
    match &house.pv {
        Some(Pv::Irradiance { peak, .. }) => Some(peak.kw()),
        Some(Pv::Arrays(system)) => Some(system.arrays.iter().map(|a| a.peak.kw()).sum()),
        _ => None,
    }
}
