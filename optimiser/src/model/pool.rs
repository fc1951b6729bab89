//! The pool, one mixed temperature `T`:
//!
//! `C·(T_t − T_{t−1}) = Σ q − (L(T*) + L'(T*)·(T̄ − T*))·Δt`
//!
//! where `L` is what surface, walls and floor lose, with evaporation after the
//! equation that the site names, at the temperature `T*` that is expected: its
//! loss is not linear, but a pool moves by a few kelvin in days. Comfort is
//! `low − short ≤ T ≤ high + over`.

use crate::physics::pool::PoolWeather;
use crate::problem::Problem;
use crate::site::{Pool, Sink};

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Col, Program, Row};

/// Columns of the pool in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PoolColumns {
    /// Temperature at the end of the slot [°C].
    pub(crate) level: Col,
    /// Water below and above the comfort band [K].
    short: Col,
    over: Col,
}

/// Half the step of the derivative of the loss [K].
const HALF_STEP_K: f64 = 0.5;

/// The pool at the end of a slot by what it was before and by each kWh of heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PoolResponse {
    pub(crate) before: f64,
    pub(crate) heat: f64,
}

impl PoolResponse {
    /// Of every slot, around what is expected.
    pub(crate) fn of(problem: &Problem, pool: &Pool) -> Vec<Self> {
        let capacity = pool.capacity_kwh_per_k();
        let own = |(slot, at): (usize, f64)| {
            let hours = problem.horizon.slots()[slot].hours();
            let half = 0.5 * hours * slope(pool, &PoolWeather::of(&problem.ambient, slot), at);
            Self { before: (capacity - half) / (capacity + half), heat: 1.0 / (capacity + half) }
        };
        expected(problem).into_iter().enumerate().map(own).collect()
    }
}

/// How the loss grows with the temperature of the water [kW/K].
fn slope(pool: &Pool, weather: &PoolWeather, at: f64) -> f64 {
    let loss = |celsius: f64| pool.loss_kw(celsius, weather);
    (loss(at + HALF_STEP_K) - loss(at - HALF_STEP_K)) / (2.0 * HALF_STEP_K)
}

/// How far the pool may leave every band [°C].
const ANY: (f64, f64) = (-60.0, 150.0);

/// The temperature that is expected in each slot: from where it is towards the
/// comfort band, no faster than half its exchanger warms it [°C].
pub(super) fn expected(problem: &Problem) -> Vec<f64> {
    let slots = problem.horizon.slots();
    let Some(pool) = &problem.site.plant_room.pool else { return Vec::new() };
    let start = problem.state.plant_room.pool.map_or(0.0, crate::units::Temperature::celsius);
    let per_hour = 0.5 * pool.exchanger.kw() / pool.capacity_kwh_per_k();
    let mut hours = 0.0;
    (0..slots.len())
        .map(|slot| {
            let (low, high) = band(problem, slot);
            let wished = start.clamp(low, high.max(low));
            hours += slots[slot].hours();
            start + (wished - start).clamp(-per_hour * hours, per_hour * hours)
        })
        .collect()
}

/// The comfort of a slot [°C].
fn band(problem: &Problem, slot: usize) -> (f64, f64) {
    problem.comfort.pool_aim(slot).map_or(ANY, |band| (band.low.celsius(), band.high.celsius()))
}

pub(super) fn columns(
    program: &mut Program,
    problem: &Problem,
    slot: usize,
) -> Option<PoolColumns> {
    problem.site.plant_room.pool?;
    let cost = problem.weights.pool_per_kelvin_hour * problem.horizon.slots()[slot].hours();
    let level = program.column(0.0, ANY.0, ANY.1);
    let short = program.column(cost, 0.0, f64::INFINITY);
    let over = program.column(cost, 0.0, f64::INFINITY);
    Some(PoolColumns { level, short, over })
}

/// Adds the rows of a slot; returns the balance.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) -> Option<Row> {
    let pool = problem.site.plant_room.pool.as_ref()?;
    let columns = &layout.slots[slot];
    let own = columns.pool?;
    let hours = problem.horizon.slots()[slot].hours();
    let (capacity, weather) = (pool.capacity_kwh_per_k(), PoolWeather::of(&problem.ambient, slot));
    let at = layout.pool[slot];
    let slope = slope(pool, &weather, at);
    let half = 0.5 * slope * hours;
    let before = slot.checked_sub(1).and_then(|s| layout.slots[s].pool);
    let start = problem.state.plant_room.pool.map_or(0.0, crate::units::Temperature::celsius);
    let known = if before.is_none() { start } else { 0.0 };
    let mut terms = vec![(own.level, capacity + half)];
    terms.extend(before.map(|b| (b.level, half - capacity)));
    terms.extend(duties.to_sink(columns, Sink::Pool).into_iter().map(|col| (col, -1.0)));
    let side = (capacity - half) * known - (pool.loss_kw(at, &weather) - slope * at) * hours;
    let balance = program.row(side, side, terms);
    let (low, high) = band(problem, slot);
    let high = high.min(pool.limit.celsius()).max(low);
    program.row(low, f64::INFINITY, [(own.level, 1.0), (own.short, 1.0)]);
    program.row(f64::NEG_INFINITY, high, [(own.level, 1.0), (own.over, -1.0)]);
    Some(balance)
}
