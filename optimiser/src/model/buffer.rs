//! Buffer vessel or low-loss header, one mixed temperature `T`:
//!
//! - `C·(T_t − T_{t−1}) = Σ q_in − Σ q_out − UA·(T_{t−1} − T_s)·Δt`;
//! - rooms `q_out ≤ Q_full·Δt·(T̄ − T_o)/(flow − T_o)`, so that a buffer that is
//!   too cold for the circuit gives less, whatever the mixing valve does; `Q_full`
//!   is what the emitters give at the flow of the heating curve and `T_o` the
//!   temperature of a buffer that was left alone.
//!
//! A heat pump charges it at the flow that its circuits need, and where nothing
//! else heats it, it gets no warmer than that: a buffer evens out minutes, it
//! does not store hours (case C26).

use crate::physics::coil::SPREAD_K;
use crate::problem::Problem;
use crate::site::{Sink, Source};
use crate::water::KWH_PER_LITRE_KELVIN;

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Col, Program, Row};
use super::{pool, rooms};

/// Columns of the buffer in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BufferColumns {
    /// Temperature at the end of the slot [°C].
    pub(crate) level: Col,
}

/// The flow at which sources charge the buffer in a slot [°C].
pub(super) fn charging_celsius(problem: &Problem, slot: usize) -> f64 {
    let room = &problem.site.plant_room;
    let Some(buffer) = &room.buffer else { return 0.0 };
    let needed = buffer.feeds.iter().filter_map(|sink| match sink {
        Sink::Rooms => room.rooms.as_ref().map(|r| r.curve.flow(rooms::outdoor(problem, slot))),
        Sink::Pool => Some(pool::flow_celsius(problem, slot)),
        Sink::Coil { .. } | Sink::Buffer => None,
    });
    let needed = needed.fold(0.0, f64::max);
    // A mixed vessel is as warm as what leaves it.
    (needed + 0.5 * SPREAD_K).min(buffer.ceiling.celsius())
}

/// No warmer than this in the plan [°C]; `None` without a buffer.
pub(super) fn highest(problem: &Problem) -> Option<f64> {
    let buffer = problem.site.plant_room.buffer.as_ref()?;
    let routes = problem.site.plant_room.routes();
    let only_pumps = routes
        .iter()
        .filter(|route| route.sink == Sink::Buffer)
        .all(|route| matches!(route.source, Source::HeatPump(_)));
    let start = problem.state.plant_room.buffer.map_or(0.0, |t| t.celsius());
    let charged = (0..problem.horizon.len())
        .map(|slot| charging_celsius(problem, slot))
        .fold(0.0, f64::max);
    let most = if only_pumps { charged } else { buffer.ceiling.celsius() };
    Some(most.max(start))
}

pub(super) fn columns(program: &mut Program, highest: Option<f64>) -> Option<BufferColumns> {
    highest.map(|most| BufferColumns { level: program.column(0.0, -60.0, most) })
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
    let around = buffer.surroundings.celsius();
    let kept = (-buffer.heat_loss.watts_per_kelvin() * hours / (1_000.0 * capacity)).exp();
    let before = slot.checked_sub(1).and_then(|s| layout.slots[s].buffer);
    let start = problem.state.plant_room.buffer.map_or(around, |t| t.celsius());
    let known = if before.is_none() { start } else { 0.0 };

    let mut terms = vec![(own.level, capacity)];
    terms.extend(before.map(|b| (b.level, -capacity * kept)));
    terms.extend(duties.into_sink(columns, Sink::Buffer).iter().map(|&(col, kwh)| (col, -kwh)));
    let out = duties.from_source(columns, Source::Buffer);
    terms.extend(out.iter().map(|&(col, kwh)| (col, kwh)));
    let side = capacity * (kept * known + (1.0 - kept) * around);
    let balance = program.row(side, side, terms);

    if let Some(own_rooms) = &room.rooms {
        let routes = duties.routes.iter().zip(&columns.routes);
        let to_rooms = routes
            .filter(|(r, _)| r.source == Source::Buffer && r.sink == Sink::Rooms)
            .flat_map(|(_, parts)| parts.iter().map(|&part| (part, 1.0)));
        let flow = own_rooms.curve.flow(rooms::outdoor(problem, slot));
        let alone = around.min(start).min(flow - SPREAD_K);
        let most = rooms::emitted_kw(problem, own_rooms, slot, flow) * hours;
        let rate = most / (flow - alone);
        let mut terms: Vec<(Col, f64)> = to_rooms.collect();
        terms.push((own.level, -0.5 * rate));
        terms.extend(before.map(|b| (b.level, -0.5 * rate)));
        program.row(f64::NEG_INFINITY, rate * (0.5 * known - alone), terms);
    }
    Some(balance)
}
