//! Buffer vessel or low-loss header, one mixed temperature `T`:
//!
//! - `C·(T_t − T_{t−1}) = Σ q_in − Σ q_out − UA·(T_{t−1} − T_s)·Δt`;
//! - a circuit takes `q_out ≤ Q·Δt·(T̄ − T_o)/(T_need − T_o)`, so that a buffer that
//!   is too cold for it gives less, whatever its mixing valve does; `Q` is what
//!   the circuit takes from a buffer of `T_need`.
//!
//! `T_o` is the coldest that is of use, or its temperature at the start if that is
//! colder. What it loses below that is not counted: it stands for a few litres.
//!
//! A heat pump charges it at the flow that comfort needs. What is beyond, and the
//! kelvin by which it is warmer than that, cost as much more as the flow is hotter.
//! It is planned no warmer than all that its circuits can take needs: a buffer evens out minutes, it does not store hours (case C26).

use crate::physics::coil::{EXCHANGER_K, SPREAD_K};
use crate::problem::Problem;
use crate::site::{Sink, Source};
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Col, Program, Row};
use super::rooms;

/// Columns of the buffer in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BufferColumns {
    /// Temperature at the end of the slot [°C].
    pub(crate) level: Col,
    /// Kelvin that it is warmer than comfort needs.
    warmer: Col,
}

/// The buffer's temperature that its circuits need in a slot [°C] when the rooms
/// take a heat [kW], or all they can.
pub(super) fn needed(problem: &Problem, pool: &[f64], slot: usize, rooms_kw: f64) -> f64 {
    let Some(buffer) = &problem.site.plant_room.buffer else { return 0.0 };
    let circuits = buffer.feeds.iter();
    let needed = circuits.map(|&sink| circuit(problem, pool, slot, sink, rooms_kw));
    needed.fold(0.0, f64::max).min(buffer.ceiling.celsius())
}

/// What they need in a slot to hold the comfort [°C].
pub(crate) fn comfortable(problem: &Problem, slot: usize) -> f64 {
    let rooms_kw = rooms::expected_kw(problem, slot);
    needed(problem, &super::pool::expected(problem), slot, rooms_kw)
}

/// The same for one circuit.
fn circuit(problem: &Problem, pool: &[f64], slot: usize, sink: Sink, rooms_kw: f64) -> f64 {
    let room = &problem.site.plant_room;
    match (sink, &room.rooms) {
        (Sink::Rooms, Some(own)) => rooms::flow(problem, own, slot, rooms_kw),
        (Sink::Pool, _) => pool[slot] + EXCHANGER_K + 0.5 * SPREAD_K,
        _ => 0.0,
    }
}

/// The coldest water that gives heat to some circuit, or what it has at the start
/// if that is colder [°C].
fn coldest(problem: &Problem, pool: &[f64]) -> f64 {
    let room = &problem.site.plant_room;
    let air = (0..problem.horizon.len()).map(|slot| rooms::expected_air(problem, slot));
    let feeds = |sink| room.buffer.as_ref().is_some_and(|buffer| buffer.feeds.contains(&sink));
    let rooms = if feeds(Sink::Rooms) { air.fold(f64::INFINITY, f64::min) } else { f64::INFINITY };
    let pool = if feeds(Sink::Pool) { pool[0] } else { f64::INFINITY };
    let start = problem.state.plant_room.buffer.map_or(0.0, Temperature::celsius);
    (rooms.min(pool) + 0.5 * SPREAD_K).min(start)
}

/// No warmer than this in the plan [°C]; `None` without a buffer.
pub(super) fn highest(problem: &Problem, pool: &[f64]) -> Option<f64> {
    let buffer = problem.site.plant_room.buffer.as_ref()?;
    let start = problem.state.plant_room.buffer.map_or(0.0, Temperature::celsius);
    let slots = 0..problem.horizon.len();
    let charged = slots.map(|slot| needed(problem, pool, slot, f64::INFINITY)).fold(0.0, f64::max);
    Some(charged.max(start).max(buffer.surroundings.celsius()))
}

pub(super) fn columns(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    (highest, pool): (Option<f64>, &[f64]),
    slot: usize,
) -> Option<BufferColumns> {
    let most = highest?;
    let level = program.column(0.0, coldest(problem, pool), most);
    let kw = rooms::expected_kw(problem, slot);
    let span = needed(problem, pool, slot, f64::INFINITY) - needed(problem, pool, slot, kw);
    let per_kelvin = if span > 0.1 { duties.buffer_strain(slot) / span } else { 0.0 };
    let kwh = kw * problem.horizon.slots()[slot].hours();
    let cost = per_kelvin * kwh * problem.import_price[slot].per_kwh().max(0.0);
    Some(BufferColumns { level, warmer: program.column(cost, 0.0, f64::INFINITY) })
}

/// Adds the rows of a slot; returns the balance.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) -> Option<Row> {
    let room = &problem.site.plant_room;
    let buffer = room.buffer.as_ref()?;
    let columns = &layout.slots[slot];
    let own = columns.buffer?;
    let hours = problem.horizon.slots()[slot].hours();
    let capacity = buffer.volume.litres() * KWH_PER_LITRE_KELVIN;
    let coldest = coldest(problem, &layout.pool);
    let around = buffer.surroundings.celsius().max(coldest);
    let kept = (-buffer.heat_loss.watts_per_kelvin() * hours / (1_000.0 * capacity)).exp();
    let before = slot.checked_sub(1).and_then(|s| layout.slots[s].buffer);
    let start = problem.state.plant_room.buffer.map_or(around, Temperature::celsius);
    let known = if before.is_none() { start } else { 0.0 };

    let mut terms = vec![(own.level, capacity)];
    terms.extend(before.map(|b| (b.level, -capacity * kept)));
    terms.extend(duties.to_sink(columns, Sink::Buffer).into_iter().map(|col| (col, -1.0)));
    terms.extend(duties.of_source(columns, Source::Buffer).into_iter().map(|col| (col, 1.0)));
    let side = capacity * (kept * known + (1.0 - kept) * around);
    let balance = program.row(side, side, terms);

    let comfortable = needed(problem, &layout.pool, slot, rooms::expected_kw(problem, slot));
    let mut terms = vec![(own.warmer, 1.0), (own.level, -0.5)];
    terms.extend(before.map(|b| (b.level, -0.5)));
    program.row(0.5 * known - comfortable, f64::INFINITY, terms);

    for (index, route) in duties.routes.iter().enumerate() {
        if route.source != Source::Buffer {
            continue;
        }
        let kw: f64 = duties.steps[slot][index].iter().map(|step| step.most_kw).sum();
        let need = circuit(problem, &layout.pool, slot, route.sink, f64::INFINITY);
        let alone = coldest.min(need - SPREAD_K);
        let rate = kw * hours / (need - alone);
        let mut terms: Vec<(Col, f64)> =
            columns.routes[index].iter().map(|&col| (col, 1.0)).collect();
        terms.push((own.level, -0.5 * rate));
        terms.extend(before.map(|b| (b.level, -0.5 * rate)));
        program.row(f64::NEG_INFINITY, rate * (0.5 * known - alone), terms);
    }
    Some(balance)
}
