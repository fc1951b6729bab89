//! Draws, promises and pasteurisations of a house on the slots of a plan.

use chrono::{Datelike, Days, NaiveDate, NaiveTime, Weekday};
use chrono_tz::Tz;
use optimiser::problem::{Draw, Hygiene, Ready};
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::Volume;

use crate::house::{DailyDraw, DrawHabit, DrawKind, House};
use crate::local_time::{local_date, occurrence};
use crate::series::SeriesFile;

use super::slots::Spans;
use super::{AssembleError, Known};

pub(super) fn draws(
    house: &House,
    known: &Known,
    spans: &Spans,
    notes: &mut Vec<String>,
) -> Result<Vec<Draw>, AssembleError> {
    let mut draws = Vec::new();
    let learned: Vec<Option<Vec<Draw>>> =
        (0..house.site.stores.len()).map(|store| known.learned_draws(store, &spans.all)).collect();
    for (store, own) in house.site.stores.iter().zip(&learned) {
        if let Some(own) = own {
            notes.push(format!("draws from {} are expected from what was drawn", store.name));
            draws.extend(own);
        }
    }
    let stated = house.draws.iter().filter(|habit| learned[habit.store].is_none());
    for habit in stated {
        match &habit.kind {
            DrawKind::Daily(list) => draws.extend(daily(house, habit.store, list, &spans.all)),
            DrawKind::Series { column, .. } => match &known.draws {
                Some(file) => draws.extend(series_draws(habit, file, &spans.all)?),
                None => notes.push(format!(
                    "the draws of column `{column}` are not known; give them with --draws FILE"
                )),
            },
        }
    }
    draws.sort_by_key(|draw| (draw.start, draw.store));
    Ok(draws)
}

/// The draws of a list, on every day of a horizon on which each falls.
pub(super) fn daily<'a>(
    house: &'a House,
    store: usize,
    list: &'a [DailyDraw],
    horizon: &'a Horizon,
) -> impl Iterator<Item = Draw> + 'a {
    list.iter().flat_map(move |draw| {
        let at = times(draw.at, &draw.days, horizon, house.time_zone);
        at.map(move |start| Draw {
            store,
            start,
            volume: draw.volume,
            temperature: draw.temperature,
            flow: draw.flow,
        })
    })
}

/// One draw for each interval with litres, from its beginning.
pub(super) fn series_draws(
    habit: &DrawHabit,
    file: &SeriesFile,
    all: &Horizon,
) -> Result<Vec<Draw>, AssembleError> {
    let DrawKind::Series { column, temperature, flow, scale } = &habit.kind else {
        return Ok(Vec::new());
    };
    let column = file.column(column).map_err(|error| AssembleError::Column(error.to_string()))?;
    let rows = file.starts().iter().zip(column.values());
    Ok(rows
        .filter(|(start, _)| **start >= all.start() && **start < all.end())
        .filter_map(|(&start, litres)| {
            let litres = (*litres)? * scale;
            (litres > 0.0).then_some(Draw {
                store: habit.store,
                start,
                volume: Volume::clamped(litres),
                temperature: *temperature,
                flow: *flow,
            })
        })
        .collect())
}

/// Heat drawn from each store in a slot [kWh].
pub(super) fn heat_in(house: &House, draws: &[Draw], slot: Slot) -> Vec<f64> {
    let mut heat = vec![0.0; house.site.stores.len()];
    for draw in draws.iter().filter(|draw| slot.contains(draw.start)) {
        heat[draw.store] += draw.heat_kwh(house.site.stores[draw.store].mains);
    }
    heat
}

pub(super) fn ready(house: &House, horizon: &Horizon) -> Vec<Ready> {
    house
        .ready
        .iter()
        .flat_map(|ready| {
            times(ready.by, &ready.days, horizon, house.time_zone).map(|by| Ready {
                store: ready.store,
                by,
                volume: ready.volume,
                temperature: ready.temperature,
                urgency: 1.0,
            })
        })
        .collect()
}

/// Pasteurisations that fall due by the end of the plan. One that was never
/// proven is due at once.
pub(super) fn hygiene(house: &House, horizon: &Horizon) -> Vec<Hygiene> {
    house
        .hygiene
        .iter()
        .map(|rule| Hygiene {
            store: rule.store,
            due: rule
                .last_proven
                .map_or(horizon.start(), |last| last + (rule.every_days * 86_400.0) as i64),
            temperature: rule.temperature,
            hold_seconds: (rule.hold_minutes * 60.0) as i64,
        })
        .filter(|hygiene| hygiene.due <= horizon.end())
        .collect()
}

/// The instants in a horizon at which a local clock shows a time on certain
/// weekdays. A time that comes twice counts the first time, one that is skipped
/// when the clock has jumped.
pub(super) fn times<'a>(
    time: NaiveTime,
    days: &'a [Weekday],
    horizon: &'a Horizon,
    zone: Tz,
) -> impl Iterator<Item = Instant> + 'a {
    let first = local_date(horizon.start(), zone);
    let last = local_date(horizon.end(), zone);
    dates(first, last)
        .filter(|date| days.contains(&date.weekday()))
        .map(move |date| occurrence(date, time, zone).first())
        .filter(|instant| *instant >= horizon.start() && *instant < horizon.end())
}

fn dates(first: NaiveDate, last: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    std::iter::successors(Some(first), |date| date.checked_add_days(Days::new(1)))
        .take_while(move |date| *date <= last)
}
