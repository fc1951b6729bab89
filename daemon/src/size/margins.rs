//! What a little more of everything would have been worth in a world:
//! `stowheat/margins/3`.

use optimiser::problem::{ProblemError, State};
use optimiser::replay::Stage;
use optimiser::sizing::{Capacity, least, least_and_slope, marginal_at, multipliers};
use optimiser::solve::PeriodSolver;
use optimiser::units::Energy;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::between::{STEP, between};
use super::candidate::Candidate;
use super::case::CaseError;
use super::{World, sha256};
use crate::assemble::Period;
use crate::house::{House, Pv};
use crate::present::digits::rounded;
use crate::replay::{NO_BOUND, period_solver};

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/margins/3";

/// Marginal values near the house as it stands, for somebody who knows the
/// whole period. They hold near the point only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Margins {
    /// Name and version of this document.
    pub schema: String,
    /// Hash of everything that it was made from.
    pub input: String,
    /// Each capacity; empty if there is no answer.
    pub values: Vec<Value>,
    /// What each candidate would save somebody who knows everything, the house as it
    /// stands first; null where there is no answer.
    pub foretold: Vec<Option<Foretold>>,
    /// Why there is no answer, if there is none.
    pub failed: Option<String>,
}

/// What a candidate would save somebody who knows everything, in a year.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Foretold {
    /// The multipliers of all steps on the way to it together [minor unit].
    pub whole: f64,
    /// The same if every step were worth as much as the last, at the candidate's own
    /// size [minor unit].
    pub at_its_last_step: f64,
}

/// What a unit of a capacity is worth in a year.
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
        &point.tried.iter().map(|other| other.text.as_str()).collect::<String>(),
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
    /// Every candidate, the house as it stands first.
    pub tried: &'a [Candidate],
    /// Capacities that are looked at just above and just below their size.
    pub beside: &'a [Capacity],
    /// A candidate with a battery, where the present house has none: its first
    /// kWh is valued.
    pub with_battery: Option<&'a Candidate>,
}

/// The margins of the present house in a world: those of each part of the year, as
/// often as it counts.
///
/// # Errors
/// If the world does not fit the house.
pub fn margins(point: &Point<'_>, world: &World) -> Result<Margins, CaseError> {
    let house = world.of(point.present).map_err(CaseError::House)?;
    let mut solver = period_solver();
    let mut failed = None;
    let mut values: Vec<Value> = Vec::new();
    for (period, times) in &world.periods(&house)? {
        let stage = Stage::new(&house.site, &period.timeline, &start(&house))?;
        let worth = stage.stored_worth();
        let found = if stage.has_bound() {
            multipliers(&stage, worth, point.beside, &mut solver)
        } else {
            Err(format!("a plant room has none: {NO_BOUND}"))
        };
        for own in found.iter().flatten() {
            add(&mut values, value(&house, own.capacity, times * own.up, times * own.down));
        }
        failed = failed.or(found.err());
        if let Some(other) = point.with_battery.filter(|_| stage.has_bound()) {
            let mut fitted = world.of(other).map_err(CaseError::House)?;
            if let Some(battery) = &mut fitted.site.battery {
                battery.reserve = Energy::constant(0.0);
            }
            fitted.state.battery = Energy::constant(0.0);
            let stage = Stage::new(&fitted.site, &period.timeline, &start(&fitted))?;
            match marginal_at(&stage, worth, (Capacity::Battery, FIRST), &mut solver) {
                Ok(up) => {
                    let size = "none".to_owned();
                    let first = value(&fitted, Capacity::Battery, times * up, times * up);
                    add(&mut values, Value { size, ..first });
                }
                Err(why) => failed = failed.or(Some(why)),
            }
        }
    }
    if failed.is_some() {
        values.clear();
    }
    // The integral of the multipliers along a way is the difference of its ends, and the
    // program at the candidate's end tells the last of them as well.
    let present = if failed.is_none() { least_of(&house, world, &mut solver).ok() } else { None };
    let mut foretold = |candidate: &Candidate| {
        let way = (point.present, candidate);
        let (least, slope) = least_and_slope_at(way, world, 1.0 - STEP, &mut solver).ok()?;
        let whole = rounded(present? - (least + STEP * slope), 3);
        Some(Foretold { whole, at_its_last_step: rounded(-slope, 3) })
    };
    let all = point.tried.iter().enumerate().map(|(index, candidate)| match index {
        0 => Some(Foretold::default()),
        _ => present.and_then(|_| foretold(candidate)),
    });
    Ok(Margins {
        schema: SCHEMA.to_owned(),
        input: input(point, world),
        foretold: all.collect(),
        values,
        failed,
    })
}

/// Adds to what was found in another part of the year.
fn add(values: &mut Vec<Value>, own: Value) {
    match values.iter_mut().find(|value| value.capacity == own.capacity) {
        Some(value) => {
            value.up = rounded(value.up + own.up, 3);
            value.down = rounded(value.down + own.down, 3);
        }
        None => values.push(own),
    }
}

/// What a year costs somebody who knows everything at a share of the way to a candidate,
/// and how fast that changes there, for the whole of that way [minor].
///
/// # Errors
/// Why there is no answer, in words.
pub fn least_and_slope_at(
    way: (&Candidate, &Candidate),
    world: &World,
    share: f64,
    solver: &mut PeriodSolver,
) -> Result<(f64, f64), String> {
    let houses = [share, share + STEP].map(|share| between(way, &world.measured, share));
    let [from, to] = houses.map(|house| house.map(|house| world.priced(&house)));
    let (from, to) = (from?, to?);
    let periods = |house| world.periods(house).map_err(|error| error.to_string());
    let mut sum = (0.0, 0.0);
    for ((here, times), (next, _)) in periods(&from)?.iter().zip(&periods(&to)?) {
        let stage = |house, period| staged(house, period).map_err(|error| error.to_string());
        let (here, next) = (stage(&from, here)?, stage(&to, next)?);
        let (least, slope) = least_and_slope((&here, &next), STEP, solver)?;
        sum = (sum.0 + times * least, sum.1 + times * slope);
    }
    Ok(sum)
}

/// What a year costs somebody who knows everything at a share of the way to a
/// candidate [minor].
///
/// # Errors
/// Why there is no answer, in words.
pub fn least_at(
    present: &Candidate,
    candidate: &Candidate,
    world: &World,
    share: f64,
    solver: &mut PeriodSolver,
) -> Result<f64, String> {
    let house = between((present, candidate), &world.measured, share)?;
    least_of(&world.priced(&house), world, solver)
}

/// The same for a house as it is priced in the world.
fn least_of(house: &House, world: &World, solver: &mut PeriodSolver) -> Result<f64, String> {
    let mut sum = 0.0;
    for (period, times) in &world.periods(house).map_err(|error| error.to_string())? {
        let stage = staged(house, period).map_err(|error| error.to_string())?;
        sum += times * least(&stage, stage.stored_worth(), solver)?;
    }
    Ok(sum)
}

fn staged<'a>(house: &'a House, period: &'a Period) -> Result<Stage<'a>, ProblemError> {
    Stage::new(&house.site, &period.timeline, &start(house))
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
