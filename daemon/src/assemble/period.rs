//! A period of past data on half-hours, for a replay.
//!
//! Prices keep their gaps. PV and load with a gap take the value of the same
//! time a day before, and every gap is counted. Weather, load and draws of
//! other years are laid onto the dates of the prices, and a note says so.

mod draws;

use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use optimiser::replay::{
    Foreknown, HygieneRule, LOOK_AHEAD, Record, SLOT_SECONDS, Timeline, TimelineError,
};
use optimiser::time::{Horizon, Instant, Slot, TimeError};
use optimiser::units::{Energy, Temperature};

use crate::house::{BaseLoad, House, Pv};
use crate::local_time::{day, local_date, occurrence};
use crate::series::SeriesFile;
use crate::tariff::{Rates, unit_rates};
use crate::weather::onto::means;
use crate::weather::{Weather, pv as sun};

use super::{AssembleError, Known, habits, mark, supply, surroundings};

/// Days before the period that forecasts may remember.
const MEMORY_DAYS: i64 = 60;

/// A period with what is worth saying about its making.
#[derive(Debug, Clone, PartialEq)]
pub struct Period {
    /// The truth, ready to be replayed.
    pub timeline: Timeline,
    /// First and last local day.
    pub days: (NaiveDate, NaiveDate),
    /// Slots before them that are lived through and not counted.
    pub lead: usize,
    /// Slots of the period without a value.
    pub gaps: Gaps,
    /// Everything that was assumed.
    pub notes: Vec<String>,
}

impl Period {
    /// The same after a day that is lived through and not counted, so that it begins as
    /// the control before it left the house.
    ///
    /// # Errors
    /// If that day is not known.
    pub fn after_a_day(&self) -> Result<Self, TimelineError> {
        let (marks, first) = (&self.timeline.record().marks, self.timeline.judged().start);
        let day = marks[..first].last().map(|mark| mark.day);
        let lead = marks[..first].iter().rev().take_while(|mark| Some(mark.day) == day).count();
        Ok(Self { timeline: self.timeline.beginning(first - lead)?, lead, ..self.clone() })
    }
}

/// Slots of the period in which a series has no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Gaps {
    /// Slots in the period.
    pub slots: usize,
    /// Without a price of import or export.
    pub prices: usize,
    /// Without PV energy.
    pub pv: usize,
    /// Without base load.
    pub load: usize,
    /// Without outdoor temperature, where a plant room needs it.
    pub weather: Option<usize>,
}

/// Why no period could be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PeriodError {
    /// The days do not make a period.
    #[error(
        "there is no day to replay from {from} to {to}: the prices cover {covers}; give --from and --to within them"
    )]
    NoDays {
        /// First day asked for.
        from: NaiveDate,
        /// Last day asked for.
        to: NaiveDate,
        /// What the prices cover.
        covers: String,
    },
    /// A price series is needed, to know the period if for nothing else.
    #[error(
        "the tariff follows no price series, so the period is open; give it with --from and --to"
    )]
    OpenPeriod,
    /// As when a plan is assembled.
    #[error(transparent)]
    Assemble(#[from] AssembleError),
    /// The parts do not fit.
    #[error(transparent)]
    Timeline(#[from] TimelineError),
    /// The slots do not fit.
    #[error(transparent)]
    Time(#[from] TimeError),
}

/// Makes the period between two local days, both included; without them, of
/// all whole days that the prices cover.
///
/// # Errors
/// If the days are not covered by prices, a column is missing, or weather does
/// not make PV energy.
pub fn period(
    house: &House,
    known: &Known,
    draws_column: Option<&str>,
    (from, to): (Option<NaiveDate>, Option<NaiveDate>),
) -> Result<Period, PeriodError> {
    let zone = house.time_zone;
    let mut notes = house.in_no_season();
    let (first, last) = days(house, known, (from, to))?;
    let judged = Slot::new(midnight(first, zone), midnight(next(last), zone))
        .ok_or_else(|| PeriodError::NoDays { from: first, to: last, covers: covers(known) })?;
    let horizon = calendar(judged)?;
    let span = Slot::new(horizon.start(), horizon.end()).ok_or(TimeError::Empty)?;
    let at = |instant| horizon.index_at(instant).unwrap_or(0);
    let judged_slots = at(judged.start())..at(judged.end());
    let known = on_these_years(known, (span, judged), &mut notes);
    let rated = unit_rates(&house.tariff, &known.wholesale, &horizon, zone, None);
    let weather = weather(&known, (span, judged), &mut notes);
    let around = surroundings::of_a_replay(house, weather.clone(), &horizon, &mut notes)?;
    let air = around.ambient.outdoor.as_ref();
    let air = air.map(|_| means(&weather, &horizon, |row| row.temp_air.map(Temperature::celsius)));
    let pv = pv(house, &known, &horizon, &weather, &mut notes)?;
    let load = load(house, &known, &horizon)?;
    let (draws, foreknown) = draws::draws(house, &known, draws_column, &horizon, &mut notes)?;
    let missing = |of: &[bool]| of[judged_slots.clone()].iter().filter(|gap| **gap).count();
    let gaps = Gaps {
        slots: judged_slots.len(),
        prices: judged_slots
            .clone()
            .filter(|&k| rated.import[k].is_none() || rated.export[k].is_none())
            .count(),
        pv: missing(&pv.iter().map(Option::is_none).collect::<Vec<_>>()),
        load: missing(&load.iter().map(Option::is_none).collect::<Vec<_>>()),
        weather: air.map(|air| missing(&air.iter().map(Option::is_none).collect::<Vec<_>>())),
    };
    let timeline = Timeline::new(Record {
        marks: horizon.slots().iter().map(|slot| mark(slot.start(), zone)).collect(),
        published: horizon.slots().iter().map(|slot| published(house, *slot)).collect(),
        import_price: rated.import,
        export_price: rated.export,
        pv: as_the_day_before(pv),
        base_load: as_the_day_before(load),
        draws,
        ready: habits::ready(house, &horizon),
        hygiene: house
            .hygiene
            .iter()
            .map(|rule| HygieneRule {
                store: rule.store,
                temperature: rule.temperature,
                hold_seconds: (rule.hold_minutes * 60.0) as i64,
                every_seconds: (rule.every_days * 86_400.0) as i64,
            })
            .collect(),
        foreknown: Foreknown {
            draws: foreknown,
            base_load: matches!(house.base_load, BaseLoad::Daily(_)),
            ..Foreknown::default()
        },
        judged: judged_slots,
        mains: house.site.stores.iter().map(|store| store.mains).collect(),
        horizon,
    })?
    .with_surroundings(around);
    Ok(Period { timeline, days: (first, last), lead: 0, gaps, notes })
}

fn midnight(date: NaiveDate, zone: Tz) -> Instant {
    day(date, zone).map_or_else(
        || occurrence(date, chrono::NaiveTime::MIN, zone).first(),
        optimiser::time::Slot::start,
    )
}

fn next(date: NaiveDate) -> NaiveDate {
    date.checked_add_days(Days::new(1)).unwrap_or(date)
}

/// Whole local days that the prices cover, cut to what was asked for.
///
/// # Errors
/// If there are none, or no prices to tell.
pub fn days(
    house: &House,
    known: &Known,
    (from, to): (Option<NaiveDate>, Option<NaiveDate>),
) -> Result<(NaiveDate, NaiveDate), PeriodError> {
    let zone = house.time_zone;
    let series = [&known.wholesale.import, &known.wholesale.export];
    let begins = series.iter().filter_map(|p| p.points().first()).map(|(s, _)| s.start()).max();
    let ends = series.iter().filter_map(|p| p.known_until()).min();
    let (Some(begins), Some(ends)) = (begins, ends) else {
        let indexed = [&house.tariff.import, &house.tariff.export];
        if indexed.iter().any(|rates| matches!(rates, Rates::Indexed(_))) {
            return Err(AssembleError::PricesNeeded.into());
        }
        return from.zip(to).ok_or(PeriodError::OpenPeriod);
    };
    let begin_day = local_date(begins, zone);
    let whole = |date| midnight(date, zone) >= begins;
    let first = if whole(begin_day) { begin_day } else { next(begin_day) };
    let end_day = local_date(ends, zone);
    let last = end_day.checked_sub_days(Days::new(1)).unwrap_or(end_day);
    let (from, to) = (from.unwrap_or(first), to.unwrap_or(last));
    // A day with a piece missing is still a day, with a gap.
    if from > to || to < begin_day || from > end_day {
        return Err(PeriodError::NoDays { from, to, covers: covers(known) });
    }
    Ok((from, to))
}

fn covers(known: &Known) -> String {
    let points = known.wholesale.import.points();
    let points = if points.is_empty() { known.wholesale.export.points() } else { points };
    match (points.first(), points.last()) {
        (Some((first, _)), Some((last, _))) => format!("{} to {}", first.start(), last.end()),
        _ => "nothing".to_owned(),
    }
}

/// Half-hours from the memory before the period to what the last plans look at.
fn calendar(judged: Slot) -> Result<Horizon, TimeError> {
    let start = judged.start() + -MEMORY_DAYS * 86_400;
    let ahead = LOOK_AHEAD as i64 + 48;
    let count = (judged.end() - start) / SLOT_SECONDS + ahead;
    Horizon::regular(start, SLOT_SECONDS, usize::try_from(count).unwrap_or(0))
}

/// When the prices of a slot became known: the day before, at the hour that the
/// tariff says; always, where they follow the clock alone.
fn published(house: &House, slot: Slot) -> Instant {
    let indexed = [&house.tariff.import, &house.tariff.export];
    if !indexed.iter().any(|rates| matches!(rates, Rates::Indexed(_))) {
        return Instant::from_unix(i64::MIN);
    }
    let date = local_date(slot.start(), house.time_zone);
    let before = date.checked_sub_days(Days::new(1)).unwrap_or(date);
    occurrence(before, house.tariff.published_at, house.time_zone).first()
}

/// What is known, with series of other years laid onto the span.
fn on_these_years(known: &Known, (span, judged): (Slot, Slot), notes: &mut Vec<String>) -> Known {
    let mut lay = |file: &Option<SeriesFile>, what: &str| {
        let file = file.as_ref()?;
        let Some(moved) = file.onto_years_of(span, judged) else { return Some(file.clone()) };
        notes.push(format!(
            "{what} is of other years ({}), laid onto these dates in universal time; weekdays shift",
            file.name()
        ));
        Some(moved)
    };
    Known {
        pv: lay(&known.pv, "the PV"),
        load: lay(&known.load, "the base load"),
        draws: lay(&known.draws, "the draws"),
        ..known.clone()
    }
}

/// The weather of a span, or of the same dates in other years.
fn weather(known: &Known, (span, judged): (Slot, Slot), notes: &mut Vec<String>) -> Weather {
    let Some(reading) = &known.weather else { return Weather::default() };
    let (weather, other_years) = reading.over_any_year(span, judged);
    if other_years {
        notes.push(
            "the weather is of other years, laid onto these dates; it does not belong to these prices"
                .to_owned(),
        );
    }
    weather
}

fn pv(
    house: &House,
    known: &Known,
    horizon: &Horizon,
    weather: &Weather,
    notes: &mut Vec<String>,
) -> Result<Vec<Option<Energy>>, PeriodError> {
    let Some(system) = &house.pv else {
        return Ok(vec![Some(Energy::constant(0.0)); horizon.len()]);
    };
    if let Some(file) = &known.pv {
        let scale = if let Pv::Forecast { scale } = system { *scale } else { 1.0 };
        return Ok(supply::energy_series(file, "pv", scale, horizon)?);
    }
    if known.weather.is_none() || matches!(system, Pv::Forecast { .. }) {
        notes.push(
            "the PV is not known and counted as a gap; give it with --pv or --weather".to_owned(),
        );
        return Ok(vec![None; horizon.len()]);
    }
    let energy = sun::energy(system, house.location.as_ref(), weather, horizon);
    Ok(energy.map_err(AssembleError::Pv)?)
}

fn load(
    house: &House,
    known: &Known,
    horizon: &Horizon,
) -> Result<Vec<Option<Energy>>, PeriodError> {
    match (&house.base_load, &known.load) {
        (BaseLoad::Daily(steps), _) => Ok(horizon
            .slots()
            .iter()
            .map(|slot| Some(supply::daily_energy(steps, house, *slot)))
            .collect()),
        (BaseLoad::Series { scale }, Some(file)) => {
            Ok(supply::energy_series(file, "load", *scale, horizon)?)
        }
        (BaseLoad::Series { .. }, None) => Err(AssembleError::Column(
            "the site's base load is a series; give one with --load FILE".to_owned(),
        )
        .into()),
    }
}

/// Fills each gap with the same time a day before.
fn as_the_day_before(stated: Vec<Option<Energy>>) -> Vec<Energy> {
    let mut filled: Vec<Energy> = Vec::with_capacity(stated.len());
    for value in stated {
        let before = filled.len().checked_sub(48).map(|k| filled[k]);
        filled.push(value.or(before).unwrap_or(Energy::constant(0.0)));
    }
    filled
}
