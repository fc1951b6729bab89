//! Weather and habits around a plant room, and the comfort that is asked of it.

use chrono::{Datelike, NaiveTime};
use optimiser::problem::{Ambient, Band, Comfort, LoopRun};
use optimiser::replay::Surroundings;
use optimiser::site::{Collectors, Exposure, HeatSource};
use optimiser::solar::Location;
use optimiser::time::{Horizon, Instant, Series, Slot};
use optimiser::units::{Fraction, Irradiance, Temperature, WindSpeed};

use crate::house::{House, Months, PoolComfort};
use crate::local_time::{local_date, occurrence, time_of_day};
use crate::weather::onto::{Plane, means, on_plane};
use crate::weather::overcast::dull_sky;
use crate::weather::{Conditions, Weather};

use super::{AssembleError, Known, habits};

/// Brine where the site states none [°C]: soil of 10 °C less the 5 K of Ruhnau et
/// al. 2019.
const BRINE: f64 = 5.0;

/// Wind of a weather station where none is stated [m/s] (common practice, no
/// published source).
const WIND: f64 = 3.0;

/// Relative humidity where none is stated (common practice, no published source).
const HUMIDITY: f64 = 0.8;

/// What a plant room meets in the half-hours of a replay. Weather with a gap takes
/// the value of the same time a day before or after.
pub(super) fn of_a_replay(
    house: &House,
    weather: Weather,
    horizon: &Horizon,
    notes: &mut Vec<String>,
) -> Result<Surroundings, AssembleError> {
    let sky = Sky { house, weather, horizon, is_past: true };
    let ambient = on(&sky, &Known::default(), notes)?;
    let pool_above_air = match house.plant_room.pool.as_ref().map(|wish| &wish.comfort) {
        Some(PoolComfort::AboveAir(kelvin)) => Some(*kelvin),
        _ => None,
    };
    let comfort = match pool_above_air {
        // The replay looks at the air of each day as it is known by then.
        Some(_) => Comfort { pool: None, ..comfort(house, &Ambient::default(), horizon)? },
        None => comfort(house, &ambient, horizon)?,
    };
    Ok(Surroundings { ambient, comfort, pool_above_air, foreknown: false })
}

/// What the plant room of a house meets in each slot; only what it needs.
pub(super) fn ambient(
    house: &House,
    known: &Known,
    horizon: &Horizon,
    notes: &mut Vec<String>,
) -> Result<Ambient, AssembleError> {
    let span = Slot::new(horizon.start(), horizon.end());
    let weather = span.map(|span| known.weather_over(span)).unwrap_or_default();
    on(&Sky { house, weather, horizon, is_past: false }, known, notes)
}

fn on(sky: &Sky<'_>, known: &Known, notes: &mut Vec<String>) -> Result<Ambient, AssembleError> {
    let Sky { house, horizon, .. } = *sky;
    let room = &house.site.plant_room;
    let outdoors = room.pool.is_some_and(|p| matches!(p.exposure, Exposure::Outdoor { .. }));
    let from = |source| room.heat_pumps.iter().any(|pump| pump.source == source);
    let climate = &house.plant_room.climate;
    let mut ambient = Ambient { loop_runs: loop_runs(house, horizon), ..Ambient::default() };
    if from(HeatSource::Air) || room.rooms.is_some() || room.collectors.is_some() || outdoors {
        let air = |row: &Conditions| row.temp_air.map(Temperature::celsius);
        let said = ("the outdoor temperature", "°C");
        let stated = sky.stated(air);
        let values = match (&climate.outdoor, known.outside) {
            (Some(months), _) => sky.or_month_from_now(&stated, months, said, known, notes),
            (None, _) if stated.iter().all(Option::is_some) => {
                stated.into_iter().flatten().collect()
            }
            (None, Some(outside)) => {
                notes.push(format!(
                    "where no forecast is known, the air outside is taken to stay at {outside}"
                ));
                stated.into_iter().map(|air| air.unwrap_or(outside.celsius())).collect()
            }
            (None, None) => {
                return Err(AssembleError::Outdoor(horizon.start(), horizon.end()));
            }
        };
        ambient.outdoor =
            Some(series("the outdoor temperature", horizon, values, Temperature::clamped)?);
    }
    if from(HeatSource::Ground) {
        let months = climate.brine.unwrap_or_else(|| {
            notes.push(format!(
                "brine from the ground is taken as {BRINE} °C; `[climate]` can say better"
            ));
            [BRINE; 12]
        });
        let values = sky.by_month(&months);
        ambient.ground =
            Some(series("the ground temperature", horizon, values, Temperature::clamped)?);
    }
    if let (Some(collectors), Some(location)) = (&room.collectors, &house.location) {
        let values = sky.on_collectors(collectors, location, notes);
        let what = "the irradiance on the collectors";
        ambient.collector_irradiance = Some(series(what, horizon, values, Irradiance::clamped)?);
    }
    if outdoors {
        let values = sky.horizontal(notes);
        let what = "the horizontal irradiance";
        ambient.horizontal_irradiance = Some(series(what, horizon, values, Irradiance::clamped)?);
        let wind = |row: &Conditions| row.wind.map(WindSpeed::metres_per_second);
        let months = climate.wind.unwrap_or([WIND; 12]);
        let values = sky.or_month(wind, &months, ("the wind", "m/s"), notes);
        ambient.wind = Some(series("the wind", horizon, values, WindSpeed::clamped)?);
        let humidity = |row: &Conditions| row.humidity.map(Fraction::value);
        let months = climate.humidity.unwrap_or([HUMIDITY; 12]);
        let values = sky.or_month(humidity, &months, ("the humidity", "of one"), notes);
        ambient.humidity = Some(series("the humidity", horizon, values, Fraction::clamped)?);
        let values = horizon.slots().iter().map(|slot| covered(house, *slot)).collect();
        ambient.pool_cover = Some(series("the pool cover", horizon, values, Fraction::clamped)?);
    }
    Ok(ambient)
}

/// Comfort by local time.
pub(super) fn comfort(
    house: &House,
    ambient: &Ambient,
    horizon: &Horizon,
) -> Result<Comfort, AssembleError> {
    let by_clock = |steps: &[(NaiveTime, Band)]| -> Option<Vec<Band>> {
        let band = |slot: &Slot| step_at(steps, time_of_day(slot.start(), house.time_zone));
        horizon.slots().iter().map(band).collect()
    };
    let facts = &house.plant_room;
    let rooms = facts.rooms.as_ref().and_then(|wish| by_clock(&wish.comfort));
    let pool = match (&facts.pool, &house.site.plant_room.pool) {
        (Some(wish), Some(pool)) => match &wish.comfort {
            PoolComfort::Bands(steps) => by_clock(steps),
            PoolComfort::AboveAir(kelvin) => {
                let low =
                    daily_means(house, ambient, horizon).into_iter().map(|mean| mean + kelvin);
                let high = pool.limit;
                let band =
                    |low: f64| Band { low: Temperature::clamped(low.min(high.celsius())), high };
                Some(low.map(band).collect())
            }
        },
        _ => None,
    };
    let onto = |what, bands: Option<Vec<Band>>| {
        bands.map(|bands| Series::new(what, horizon, bands)).transpose()
    };
    Ok(Comfort {
        rooms: onto("the comfort of the rooms", rooms)?,
        pool: onto("the comfort of the pool", pool)?,
        guards: Vec::new(),
    })
}

/// The value that steps have at a time of day.
fn step_at<T: Copy>(steps: &[(NaiveTime, T)], time: NaiveTime) -> Option<T> {
    steps.iter().rev().find(|(from, _)| *from <= time).or(steps.last()).map(|(_, value)| *value)
}

/// Mean outdoor temperature of the local day of each slot, as far as it is planned.
fn daily_means(house: &House, ambient: &Ambient, horizon: &Horizon) -> Vec<f64> {
    let day = |slot: &Slot| local_date(slot.start(), house.time_zone);
    let slots = horizon.slots();
    let air: &[Temperature] = ambient.outdoor.as_ref().map_or(&[], Series::values);
    let mean = |slot: &Slot| {
        let same = slots.iter().zip(air).filter(|(other, _)| day(other) == day(slot));
        let (sum, hours) = same.fold((0.0, 0.0), |(sum, hours), (other, air)| {
            (sum + air.celsius() * other.hours(), hours + other.hours())
        });
        if hours > 0.0 { sum / hours } else { 0.0 }
    };
    // One mean for each day, not one for each slot.
    let mut means: Vec<f64> = Vec::with_capacity(slots.len());
    for (index, slot) in slots.iter().enumerate() {
        let known = index.checked_sub(1).filter(|&before| day(&slots[before]) == day(slot));
        let value = known.map_or_else(|| mean(slot), |before| means[before]);
        means.push(value);
    }
    means
}

fn loop_runs(house: &House, horizon: &Horizon) -> Vec<LoopRun> {
    let habits = house.plant_room.loop_runs.iter();
    let mut runs: Vec<LoopRun> = habits
        .flat_map(|habit| {
            let at = habits::times(habit.at, &habit.days, horizon, house.time_zone);
            at.map(|start| LoopRun { store: habit.store, start, seconds: habit.seconds })
        })
        .collect();
    runs.sort_by_key(|run| (run.start, run.store));
    runs
}

/// Part of a slot that the pool lies under its cover.
fn covered(house: &House, slot: Slot) -> f64 {
    let Some(wish) = &house.plant_room.pool else { return 0.0 };
    let zone = house.time_zone;
    let first = local_date(slot.start() + -86_400, zone);
    let mut seconds = 0;
    for date in first.iter_days().take(3) {
        for (from, until) in &wish.covered {
            let ends = if until > from { date } else { date.succ_opt().unwrap_or(date) };
            let start = occurrence(date, *from, zone).first();
            let end = occurrence(ends, *until, zone).first();
            seconds += Slot::new(start, end).map_or(0, |cover| cover.overlap_seconds(slot));
        }
    }
    (seconds as f64 / slot.seconds() as f64).min(1.0)
}

/// Weather over a horizon, with what stands in where it is silent.
struct Sky<'a> {
    house: &'a House,
    weather: Weather,
    horizon: &'a Horizon,
    /// It has been, in half-hours: gaps are filled by the days around them.
    is_past: bool,
}

impl Sky<'_> {
    fn stated(&self, quantity: impl Fn(&Conditions) -> Option<f64>) -> Vec<Option<f64>> {
        self.whole(means(&self.weather, self.horizon, quantity))
    }

    fn whole(&self, stated: Vec<Option<f64>>) -> Vec<Option<f64>> {
        if self.is_past { as_the_days_around(stated) } else { stated }
    }

    /// What the weather states, else the value of the month.
    fn or_month(
        &self,
        quantity: impl Fn(&Conditions) -> Option<f64>,
        months: &Months,
        (what, unit): (&str, &str),
        notes: &mut Vec<String>,
    ) -> Vec<f64> {
        let (stated, assumed) = (self.stated(quantity), self.by_month(months));
        if stated.iter().any(Option::is_none) {
            let first = assumed.first().copied().unwrap_or_default();
            notes.push(format!(
                "where no weather is known, {what} is taken as {first} {unit}, by the month"
            ));
        }
        stated.into_iter().zip(assumed).map(|(stated, assumed)| stated.unwrap_or(assumed)).collect()
    }

    /// As [`or_month`](Self::or_month) for the air, and what the month leaves open is
    /// put right by what is measured now.
    fn or_month_from_now(
        &self,
        stated: &[Option<f64>],
        months: &Months,
        said: (&str, &str),
        known: &Known,
        notes: &mut Vec<String>,
    ) -> Vec<f64> {
        let air = |row: &Conditions| row.temp_air.map(Temperature::celsius);
        let mut values = self.or_month(air, months, said, notes);
        // A forecast of now is put right already.
        let (Some(None), Some(now)) = (stated.first(), values.first().copied()) else {
            return values;
        };
        let slots = self.horizon.slots().iter().zip(stated);
        for (value, (slot, stated)) in values.iter_mut().zip(slots) {
            if stated.is_none() {
                let hours = slot.start().hours_since(self.horizon.start());
                *value += known.air_is_apart(Temperature::clamped(now), hours);
            }
        }
        values
    }

    fn by_month(&self, months: &Months) -> Vec<f64> {
        let month = |at: Instant| local_date(at, self.house.time_zone).month0() as usize;
        self.horizon.slots().iter().map(|slot| months[month(slot.start())]).collect()
    }

    fn on_collectors(
        &self,
        collectors: &Collectors,
        location: &Location,
        notes: &mut Vec<String>,
    ) -> Vec<f64> {
        let plane = Plane {
            tilt: collectors.tilt,
            azimuth: collectors.azimuth,
            albedo: self.house.plant_room.albedo.unwrap_or(Fraction::constant(0.2)),
        };
        let stated = self.whole(on_plane(&self.weather, self.horizon, location, &plane));
        let dull = || on_plane(&self.dull(location), self.horizon, location, &plane);
        filled(stated, dull, "the light on the collectors", notes)
    }

    fn horizontal(&self, notes: &mut Vec<String>) -> Vec<f64> {
        let ghi = |row: &Conditions| row.ghi.map(Irradiance::watts_per_m2);
        let dull = || match &self.house.location {
            Some(location) => means(&self.dull(location), self.horizon, ghi),
            None => vec![None; self.horizon.len()],
        };
        filled(self.stated(ghi), dull, "the light on the pool", notes)
    }

    fn dull(&self, location: &Location) -> Weather {
        let span = Slot::new(self.horizon.start(), self.horizon.end());
        span.map(|span| dull_sky(location, span)).unwrap_or_default()
    }
}

/// Half-hours with each gap filled by the same time a day before, or after.
fn as_the_days_around(mut values: Vec<Option<f64>>) -> Vec<Option<f64>> {
    for slot in 48..values.len() {
        values[slot] = values[slot].or(values[slot - 48]);
    }
    for slot in (0..values.len().saturating_sub(48)).rev() {
        values[slot] = values[slot].or(values[slot + 48]);
    }
    values
}

/// What is stated, else a dull day, else darkness.
fn filled(
    stated: Vec<Option<f64>>,
    dull: impl Fn() -> Vec<Option<f64>>,
    what: &str,
    notes: &mut Vec<String>,
) -> Vec<f64> {
    if stated.iter().all(Option::is_some) {
        return stated.into_iter().flatten().collect();
    }
    notes.push(format!("where no weather is known, {what} is that of a dull day"));
    stated.into_iter().zip(dull()).map(|(stated, dull)| stated.or(dull).unwrap_or(0.0)).collect()
}

fn series<T: Copy>(
    what: &'static str,
    horizon: &Horizon,
    values: Vec<f64>,
    quantity: fn(f64) -> T,
) -> Result<Series<T>, AssembleError> {
    Ok(Series::new(what, horizon, values.into_iter().map(quantity).collect())?)
}

#[cfg(test)]
mod tests;
