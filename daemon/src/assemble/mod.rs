//! From a house and what is known at an instant to a planning problem.
//!
//! Nothing here looks past what was published or measured by that instant:
//! what is not known is estimated, and every estimate is a note.

mod habits;
mod known;
mod learned;
mod outdoors;
mod period;
mod prices;
mod slots;
mod supply;
mod surroundings;

pub use known::{Allowance, Known, Learned};
pub use period::{Gaps, Period, PeriodError, days, period};
pub use prices::{MEMORY_DAYS, Origin};

use chrono::{Datelike, Timelike, Weekday};
use chrono_tz::Tz;
use optimiser::forecast::Mark;
use optimiser::problem::{Comfort, EndValue, Problem, ProblemError, State, Weights};
use optimiser::time::{Instant, Series, TimeError};
use optimiser::worth::{Ahead, end_value, plant_room_value};

use crate::house::House;
use crate::local_time::{local_date, time_of_day};
use crate::weather::pv::PvError;

/// A problem with what is worth saying about its making.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembled {
    /// The problem, validated.
    pub problem: Problem,
    /// Where the price of each slot comes from.
    pub price_origins: Vec<Origin>,
    /// Every estimate that stands in for something unknown.
    pub notes: Vec<String>,
}

/// Why no problem could be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AssembleError {
    /// There is no time left to plan.
    #[error("there is nothing to plan from {0}: no slot lies after it")]
    NoTime(Instant),
    /// Not a single price is known.
    #[error(
        "no price is known at {at}: the price series covers {covers}; give --prices a file that reaches there, or another --at"
    )]
    NoPrices {
        /// The instant of planning.
        at: Instant,
        /// What the series covers.
        covers: String,
    },
    /// The site follows a price series and there is none.
    #[error("the tariff follows a price series; give one with --prices FILE")]
    PricesNeeded,
    /// The PV energy cannot be made from this weather.
    #[error(transparent)]
    Pv(#[from] PvError),
    /// No outdoor temperature is known, and the plant room needs it.
    #[error(
        "no outdoor temperature is known from {0} to {1}, and the plant room depends on it; give --weather a file with air temperature, or write `outdoor_celsius` in `[climate]`"
    )]
    Outdoor(Instant, Instant),
    /// A column that the site names is missing.
    #[error("{0}")]
    Column(String),
    /// The parts do not fit together.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// The slots do not fit together.
    #[error(transparent)]
    Time(#[from] TimeError),
}

/// Makes the problem of a house at an instant.
///
/// # Errors
/// If prices are missing altogether, a named column is not there, or the parts
/// contradict each other.
pub fn assemble(house: &House, known: &Known, at: Instant) -> Result<Assembled, AssembleError> {
    let mut notes = Vec::new();
    let spans = slots::spans(house, known, at).ok_or(AssembleError::NoTime(at))?;
    let priced = prices::prices(house, known, at, &spans, &mut notes)?;
    let pv = supply::pv(house, known, &spans, &mut notes)?;
    let base_load = supply::base_load(house, known, &spans, &mut notes)?;
    let draws = habits::draws(house, known, &spans, &mut notes)?;
    let horizon = spans.horizon.clone();
    let count = horizon.len();

    let import_price = Series::new("the import price", &horizon, priced.import[..count].to_vec())?;
    let weights = Weights::for_house(&house.site, &import_price);
    let ahead: Vec<Ahead> = (count..spans.all.len())
        .map(|slot| Ahead {
            hours: spans.all.slots()[slot].hours(),
            import_price: priced.import[slot],
            export_price: priced.export[slot],
            pv: pv[slot],
            base_load: base_load[slot],
            draws: habits::heat_in(house, &draws, spans.all.slots()[slot]),
        })
        .collect();
    let ambient = surroundings::ambient(house, known, &horizon, &mut notes)?;
    let reserve = known.learned_reserve(house, (&horizon, &import_price), &weights);
    let comfort = surroundings::comfort(house, &ambient, &horizon)?;
    let comfort = Comfort { guards: reserve.guards, ..comfort };
    let ready = habits::ready(house, &horizon).into_iter().chain(reserve.ready).collect();
    let mut problem = Problem {
        export_price: Series::new("the export price", &horizon, priced.export[..count].to_vec())?,
        pv: Series::new("the PV forecast", &horizon, pv[..count].to_vec())?,
        base_load: Series::new("the base load", &horizon, base_load[..count].to_vec())?,
        end_value: end_value(&house.site, &ahead, &weights),
        ready,
        hygiene: habits::hygiene(house, &horizon),
        draws,
        ambient,
        comfort,
        state: State {
            battery: house.state.battery,
            stores: house.state.stores.clone(),
            plant_room: house.state.plant_room.clone(),
        },
        site: house.site.clone(),
        by_hand: Vec::new(),
        published: None,
        weights,
        import_price,
        horizon,
    };
    let after = plant_room_value(&problem, &ahead);
    problem.end_value =
        EndValue { stores: problem.end_value.stores, battery: problem.end_value.battery, ..after };
    Ok(Assembled {
        problem: problem.validated()?,
        price_origins: priced.origins[..count].to_vec(),
        notes,
    })
}

/// What the local calendar and clock show at an instant, for forecasts.
pub fn mark(at: Instant, zone: Tz) -> Mark {
    let (date, time) = (local_date(at, zone), time_of_day(at, zone));
    Mark {
        day: date.num_days_from_ce(),
        month: date.year() * 12 + date.month0() as i32,
        weekend: matches!(date.weekday(), Weekday::Sat | Weekday::Sun),
        half_hour: (time.num_seconds_from_midnight() / 1_800) as u8,
    }
}

#[cfg(test)]
mod tests;
