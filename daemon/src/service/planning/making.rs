//! One schedule from one snapshot. Pure but for the time it takes.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveTime;
use optimiser::Schedule;
use optimiser::check::Violation;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::{PlantRoomState, Problem};
use optimiser::published::Published;
use optimiser::rule::rule_plan;
use optimiser::schedule::Origin;
use optimiser::time::Instant;
use optimiser::units::{Energy, Power, Price, Temperature};

use super::{allowances, wishes};
use crate::assemble::{self, AssembleError, Assembled, Known, assemble};
use crate::house::{BaseLoad, House, HygieneRule};
use crate::present::Plan;
use crate::present::document::Document;
use crate::service::commands::Wish;
use crate::tariff::{Band, Rates};

/// Work on a schedule that something waits for. A thorough one follows when it is
/// quiet; most of the time of a schedule goes into simulations.
const HASTE: Effort = Effort { simulations: 100, ..Effort::STEP };

/// How long a schedule is acted on if no newer one comes [s].
const HOLDS_S: i64 = 6 * 3_600;

/// Charge for departing from the schedule that is out, for each kWh moved
/// [minor]: a tenth of a penny's worth of unrest (a choice, not a measurement).
const CHANGE_PER_KWH: f64 = 0.1;

/// The price that stands in where none is known [minor/kWh]. Only its being the
/// same at all times matters.
const FLAT_PRICE: f64 = 25.0;

/// What answers a problem: the program, or what stands in for it in a test.
pub type Program = fn(&mut Planner, &Problem) -> Outcome;

/// Mean power of a house without its heaters that stands in where none is known [kW]:
/// 3500 kWh a year, a usual home in Europe (common practice, no published source).
const USUAL_LOAD_KW: f64 = 0.4;

/// Air outside that stands in where nothing is known of it [°C]: a cold day, so that
/// nobody counts on a warm one (common practice, no published source).
const COLD_DAY_C: f64 = 0.0;

/// How much work a schedule is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taste {
    /// Something waits for it.
    Quick,
    /// There is time to polish.
    Thorough,
    /// The solver hangs: by rule.
    ByRule,
}

/// All that one schedule is made from.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// When.
    pub at: Instant,
    /// The house.
    pub house: Arc<House>,
    /// Prices and forecasts.
    pub known: Arc<Known>,
    /// For each store, its layers from bottom to top.
    pub stores: Vec<Vec<Temperature>>,
    /// Energy in the battery above empty.
    pub battery: Energy,
    /// Buffer, rooms, pool and machines.
    pub plant_room: PlantRoomState,
    /// What of it nothing measures, in words.
    pub unmeasured: Vec<&'static str>,
    /// For each rule of [`House::hygiene_of_all`], when it was last proven.
    pub proven: Vec<Option<Instant>>,
    /// What was asked for by hand.
    pub wishes: Vec<Wish>,
    /// The commands among it whose cost was not told yet.
    pub unpriced: Vec<String>,
    /// The schedule that is out.
    pub published: Option<Arc<Made>>,
    /// Share of its import cost that another one must save to take its place.
    pub change_share: f64,
    /// How much work it is worth.
    pub taste: Taste,
    /// What answers it.
    pub program: Program,
}

impl Snapshot {
    /// Whether a schedule of the program is out that holds still.
    fn has_valid_schedule(&self) -> bool {
        self.published.as_ref().is_some_and(|made| {
            let holds = made.issued_at <= self.at && self.at < made.valid_until;
            holds && made.schedule.origin != Origin::Rule
        })
    }
}

/// What something that was asked for by hand costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Priced {
    /// The command it came with.
    pub id: String,
    /// Beyond the schedule without it [minor]; negative if it saves.
    pub minor: f64,
}

/// A schedule with all that is needed to show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// When it was made.
    pub issued_at: Instant,
    /// It is not acted on from then.
    pub valid_until: Instant,
    /// Prices of slots that end later are forecast.
    pub published_until: Instant,
    /// The problem.
    pub problem: Problem,
    /// Its answer.
    pub schedule: Schedule,
    /// Estimates that stand in for something unknown.
    pub notes: Vec<String>,
    /// What of the plant room nothing measured.
    pub unmeasured: Vec<&'static str>,
    /// Why it is not the best there could be.
    pub fell_because: Option<String>,
    /// How long it took.
    pub took: Duration,
}

impl Made {
    /// The document of this schedule.
    pub fn document(&self, house: &House) -> Document {
        Document::new(&Plan {
            house,
            problem: &self.problem,
            schedule: &self.schedule,
            issued_at: self.issued_at,
            valid_until: self.valid_until,
            published_until: self.published_until,
        })
    }
}

/// Makes a schedule: by the program, else by rule.
///
/// # Errors
/// In words, if the program finds none and the schedule that is out holds still, or
/// if even the rule finds none.
pub fn make(snapshot: &Snapshot, planner: &mut Planner) -> Result<Made, String> {
    let begun = std::time::Instant::now();
    let house = house_now(snapshot);
    let rules = rules_now(snapshot);
    let (assembled, mut fell_because) = stated(house, &snapshot.known, snapshot.at)?;
    let Assembled { mut problem, price_origins, mut notes } = assembled;
    notes.extend(wishes::apply(&mut problem, &snapshot.wishes, &rules, snapshot.at));
    notes.extend(allowances::apply(&mut problem, &snapshot.known.allowances));
    notes.extend(snapshot.unmeasured.iter().map(|what| {
        format!(
            "the temperature of {what} is carried on from the last schedule: nothing measures it"
        )
    }));
    if let Some(published) = &snapshot.published {
        problem.published = Some(Published::new(&published.schedule, &problem.horizon));
        problem.weights.change_per_kwh = CHANGE_PER_KWH;
        problem.weights.change_share = snapshot.change_share;
    }
    let problem = problem.validated().map_err(|error| error.to_string())?;
    let schedule = match planned(&problem, planner, snapshot) {
        Ok(schedule) => schedule,
        Err(why) if snapshot.has_valid_schedule() => return Err(why),
        Err(why) => {
            let schedule = rule_plan(&problem).map_err(|found| {
                format!("no schedule can be made: {why}; by rule {}", in_words(&found))
            })?;
            fell_because = Some(format!("planned by rule, because {why}"));
            schedule
        }
    };
    let horizon = problem.horizon.slots();
    let first_forecast = match fell_because.as_deref() {
        Some(NO_PRICES) => Some(0),
        _ => price_origins.iter().position(|origin| *origin == assemble::Origin::Forecast),
    };
    Ok(Made {
        issued_at: snapshot.at,
        valid_until: problem.horizon.end().min(snapshot.at + HOLDS_S),
        published_until: first_forecast.map_or(problem.horizon.end(), |slot| horizon[slot].start()),
        schedule,
        notes,
        unmeasured: snapshot.unmeasured.clone(),
        fell_because,
        took: begun.elapsed(),
        problem,
    })
}

const NO_PRICES: &str =
    "no price is known; the plan keeps the promises as if every hour cost the same";

fn house_now(snapshot: &Snapshot) -> House {
    let mut house = House::clone(&snapshot.house).in_season(snapshot.at);
    house.state.stores.clone_from(&snapshot.stores);
    house.state.battery = snapshot.battery;
    house.state.plant_room.clone_from(&snapshot.plant_room);
    for (rule, proven) in house.hygiene.iter_mut().zip(&snapshot.proven) {
        rule.last_proven = *proven;
    }
    house
}

/// What a pasteurisation of each store is, and when it was last proven.
fn rules_now(snapshot: &Snapshot) -> Vec<HygieneRule> {
    let mut rules = snapshot.house.hygiene_of_all();
    for (rule, proven) in rules.iter_mut().zip(&snapshot.proven) {
        rule.last_proven = *proven;
    }
    rules
}

/// The problem as far as anything is known, and why it is not known better. Nothing
/// that others send or leave out may keep a house from having a schedule.
fn stated(
    mut house: House,
    known: &Known,
    at: Instant,
) -> Result<(Assembled, Option<String>), String> {
    let mut estimates = Vec::new();
    if matches!(house.base_load, BaseLoad::Series { .. }) && known.load.is_none() {
        house.base_load = BaseLoad::Daily(vec![(NaiveTime::MIN, Power::constant(USUAL_LOAD_KW))]);
        estimates.push(format!(
            "where no base load is known, {USUAL_LOAD_KW} kW are taken at all hours"
        ));
    }
    let (mut assembled, fell_because) = match assemble(&house, known, at) {
        Ok(assembled) => (assembled, None),
        Err(AssembleError::NoPrices { .. } | AssembleError::PricesNeeded) => {
            (without_prices(house, known, at)?, Some(NO_PRICES.to_owned()))
        }
        Err(AssembleError::Outdoor(..)) => {
            house.plant_room.climate.outdoor = Some([COLD_DAY_C; 12]);
            estimates.push(format!(
                "no outdoor temperature is known; the air is taken as {COLD_DAY_C} °C"
            ));
            stated(house, known, at)?
        }
        Err(error @ (AssembleError::Column(_) | AssembleError::Pv(_))) if has_forecast(known) => {
            let bare = Known {
                pv: None,
                load: None,
                draws: None,
                weather: None,
                outdoor: None,
                ..known.clone()
            };
            let (assembled, fell_because) = stated(house, &bare, at)?;
            let why = format!("the forecasts cannot be used, so none is: {error}");
            (assembled, fell_because.or(Some(why)))
        }
        Err(error) => return Err(error.to_string()),
    };
    assembled.notes.extend(estimates);
    Ok((assembled, fell_because))
}

fn has_forecast(known: &Known) -> bool {
    let series = [&known.pv, &known.load, &known.draws];
    series.into_iter().any(Option::is_some) || known.weather.is_some() || known.outdoor.is_some()
}

/// The problem at one price for all hours and nothing for export.
fn without_prices(mut house: House, known: &Known, at: Instant) -> Result<Assembled, String> {
    let flat = |rate| {
        let (from, until) = (NaiveTime::MIN, NaiveTime::MIN);
        Rates::Bands(vec![Band { from, until, rate: Price::constant(rate) }])
    };
    house.tariff.import = flat(FLAT_PRICE);
    house.tariff.export = flat(0.0);
    assemble(&house, known, at).map_err(|error| error.to_string())
}

fn planned(
    problem: &Problem,
    planner: &mut Planner,
    snapshot: &Snapshot,
) -> Result<Schedule, String> {
    let effort = match snapshot.taste {
        Taste::Quick => HASTE,
        Taste::Thorough => Effort::COLD,
        Taste::ByRule => return Err("the solver did not answer in time".to_owned()),
    };
    *planner = std::mem::take(planner).with_effort(effort);
    match caught(planner, |planner| Ok((snapshot.program)(planner, problem)))? {
        Outcome::Planned(planned) => Ok(planned.schedule),
        Outcome::Infeasible(missing) => {
            let missing: Vec<String> = missing
                .iter()
                .map(|m| format!("{:.2} kWh from {}", m.kwh, m.slot.start()))
                .collect();
            Err(format!("the limits leave load unserved: {}", missing.join(", ")))
        }
        Outcome::Refused(found) => {
            Err(format!("the answer was refused by the check: {}", in_words(&found)))
        }
        Outcome::Failed(why) => Err(format!("there is no answer: {why}")),
    }
}

/// Work that may panic, which is then an error in words.
pub(super) fn caught<T>(
    planner: &mut Planner,
    work: impl FnOnce(&mut Planner) -> Result<T, String>,
) -> Result<T, String> {
    let done = catch_unwind(AssertUnwindSafe(|| work(planner)));
    done.unwrap_or_else(|panic| {
        // What it holds may be half changed.
        *planner = Planner::default();
        let text = panic
            .downcast_ref::<String>()
            .map(String::as_str)
            .or_else(|| panic.downcast_ref::<&str>().copied())
            .unwrap_or("without a word");
        Err(format!("the planner panicked: {text}; report this with the log"))
    })
}

fn in_words(found: &[Violation]) -> String {
    found.iter().take(5).map(ToString::to_string).collect::<Vec<_>>().join("; ")
}

/// What each wish that has no price yet costs beyond the schedule without it.
pub(super) fn price(snapshot: &Snapshot, made: &Made, planner: &mut Planner) -> Vec<Priced> {
    let ids = snapshot.unpriced.iter();
    ids.filter_map(|id| {
        let others = snapshot.wishes.iter().filter(|wish| wish.id != *id).cloned().collect();
        let without = Snapshot { wishes: others, ..snapshot.clone() };
        let without = make(&without, planner).ok()?;
        let minor = made.schedule.cost.total() - without.schedule.cost.total();
        Some(Priced { id: id.clone(), minor })
    })
    .collect()
}

#[cfg(test)]
mod tests;
