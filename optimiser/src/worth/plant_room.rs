//! What heat left in buffer, rooms and pool is worth: as for stores, by a backward
//! pass over the days after the horizon. What they need and what sources can do then
//! is taken to be as on its last day, for want of the weather.

use super::{Ahead, Machine, TIME_SHARE, Vessel};
use crate::model::{Duties, Ladder, comfortable_buffer, rooms_kw};
use crate::physics::pool::PoolWeather;
use crate::problem::{EndBases, EndValue, Problem, ValueStep};
use crate::site::{Route, Sink, Source};

/// The last day [s].
const DAY_S: i64 = 86_400;

/// Half the step of the derivative of a pool's loss [K].
const HALF_STEP_K: f64 = 0.5;

/// Worth of what is left in buffer, rooms and pool before the given slots begin; the
/// rest of it empty.
pub fn plant_room_value(problem: &Problem, ahead: &[Ahead]) -> EndValue {
    let room = &problem.site.plant_room;
    if room.buffer.is_none() && room.rooms.is_none() && room.pool.is_none() {
        return EndValue::default();
    }
    let after = After::new(problem, ahead);
    EndValue {
        buffer: after.buffer().unwrap_or_default(),
        rooms: after.rooms().unwrap_or_default(),
        pool: after.pool().unwrap_or_default(),
        ..EndValue::default()
    }
}

/// The days after a horizon.
struct After<'a> {
    problem: &'a Problem,
    ahead: &'a [Ahead],
    duties: Duties,
    bases: EndBases,
    /// Slots of the last day.
    last_day: Vec<usize>,
}

impl<'a> After<'a> {
    fn new(problem: &'a Problem, ahead: &'a [Ahead]) -> Self {
        let ladders: Vec<Ladder> = problem.site.stores.iter().map(Ladder::new).collect();
        let from = problem.horizon.end() + -DAY_S;
        let slots = problem.horizon.slots().iter().enumerate();
        Self {
            problem,
            ahead,
            duties: Duties::new(problem, &ladders),
            bases: problem.end_bases(),
            last_day: slots.filter(|(_, s)| s.start() >= from).map(|(index, _)| index).collect(),
        }
    }

    fn buffer(&self) -> Option<Vec<ValueStep>> {
        let buffer = self.problem.site.plant_room.buffer.as_ref()?;
        let (capacity, around) = self.bases.buffer;
        let warm = comfortable_buffer(self.problem, *self.last_day.last()?);
        let feeds = |sink| buffer.feeds.contains(&sink);
        let rooms = if feeds(Sink::Rooms) { self.rooms_kw() } else { 0.0 };
        let pool = if feeds(Sink::Pool) { self.pool_kw().unwrap_or(0.0) } else { 0.0 };
        let loss = buffer.heat_loss.watts_per_kelvin() / 1_000.0;
        let vessel = self.vessel(capacity * (warm - around), capacity, loss);
        Some(vessel.worth(self.ahead, &self.machines(Sink::Buffer, 1.0), |slot| {
            (rooms + pool) * slot.hours
        }))
    }

    fn rooms(&self) -> Option<Vec<ValueStep>> {
        let rooms = self.problem.site.plant_room.rooms.as_ref()?;
        let (capacity, low) = self.bases.rooms;
        let bands = self.problem.comfort.rooms.as_ref()?;
        let high = bands.values().last()?.high.celsius().min(rooms.limit.celsius());
        let loss = rooms.loss().watts_per_kelvin() / 1_000.0;
        let vessel = self.vessel(capacity * (high - low), capacity, loss);
        let kw = self.rooms_kw();
        Some(vessel.worth(self.ahead, &self.machines(Sink::Rooms, 1.0), |slot| kw * slot.hours))
    }

    fn pool(&self) -> Option<Vec<ValueStep>> {
        let pool = self.problem.site.plant_room.pool.as_ref()?;
        let (capacity, low) = self.bases.pool;
        let bands = self.problem.comfort.pool.as_ref()?;
        let high = bands.values().last()?.high.celsius().min(pool.limit.celsius());
        let kw = self.pool_kw()?;
        let slope = self.mean(|slot| {
            let weather = PoolWeather::of(&self.problem.ambient, slot);
            pool.loss_kw(low + HALF_STEP_K, &weather) - pool.loss_kw(low - HALF_STEP_K, &weather)
        });
        let vessel = self.vessel(capacity * (high - low), capacity, slope);
        let machines = self.machines(Sink::Pool, TIME_SHARE);
        Some(vessel.worth(self.ahead, &machines, |slot| kw * slot.hours))
    }

    fn vessel(&self, full: f64, capacity: f64, loss_kw_per_k: f64) -> Vessel {
        Vessel {
            capacity: full.max(0.0),
            time_constant: capacity / loss_kw_per_k.max(1e-9),
            floor: 0.0,
            penalty: self.problem.weights.short_per_kwh,
        }
    }

    /// Heat that holds the lowest comfort of the rooms.
    fn rooms_kw(&self) -> f64 {
        self.mean(|slot| rooms_kw(self.problem, slot))
    }

    /// Heat that holds the lowest comfort of the pool.
    fn pool_kw(&self) -> Option<f64> {
        let pool = self.problem.site.plant_room.pool.as_ref()?;
        let (_, low) = self.bases.pool;
        let loss = |slot| pool.loss_kw(low, &PoolWeather::of(&self.problem.ambient, slot));
        Some(self.mean(loss).max(0.0))
    }

    /// Mean over the last day.
    fn mean(&self, of: impl Fn(usize) -> f64) -> f64 {
        let slots = self.problem.horizon.slots();
        let hours: f64 = self.last_day.iter().map(|&slot| slots[slot].hours()).sum();
        self.last_day.iter().map(|&slot| of(slot) * slots[slot].hours()).sum::<f64>()
            / hours.max(1e-9)
    }

    /// What heats a sink, directly or through the buffer; a back-up boiler where
    /// nothing else does. The sun is not counted on.
    fn machines(&self, sink: Sink, share: f64) -> Vec<Machine> {
        let room = &self.problem.site.plant_room;
        let fed = room.buffer.as_ref().is_some_and(|buffer| buffer.feeds.contains(&sink));
        let routes = self.duties.routes.iter().enumerate();
        let mut own: Vec<Machine> = Vec::new();
        for (index, Route { source, sink: to }) in routes {
            if *to != sink && !(fed && *to == Sink::Buffer) {
                continue;
            }
            let (kw, electricity) = self.duties.mean(index);
            let fuel = match (source, &room.boiler) {
                (Source::Collectors | Source::Buffer, _) => continue,
                (Source::Boiler, Some(boiler)) if boiler.back_up_only && !own.is_empty() => {
                    continue;
                }
                (Source::Boiler, Some(boiler)) => boiler.heat_price(),
                _ => 0.0,
            };
            own.push(Machine { kw: share * kw, electricity, fuel });
        }
        own
    }
}
