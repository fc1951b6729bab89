//! What is left at the end of the horizon.
//!
//! `Σ_i e_i ≤ Σ_z Σ_k c·(θ_k − θ_{k−1})·H[z,k,T]`, `0 ≤ e_i ≤ width_i`, each step
//! worth less than the one before; the battery likewise above its reserve, and
//! `Σ_i e_i − missing ≤ C·(T − T_0)` for buffer, rooms and pool, with `T_0` the
//! temperature around the buffer or the lowest comfort of the last slot.

use crate::problem::Problem;

use super::ladder::Ladder;
use super::layout::{Layout, LevelEnd};
use super::program::{Col, Program};

pub(super) fn rows(program: &mut Program, problem: &Problem, ladders: &[Ladder], layout: &Layout) {
    let Some(last) = layout.slots.last() else { return };
    for (store, steps) in layout.store_ends.iter().enumerate() {
        let held = last.stores[store].litres.iter().flat_map(|zone| {
            zone.iter().enumerate().map(|(k, &h)| (h, -ladders[store].step_kwh(k + 1)))
        });
        let terms: Vec<_> = steps.iter().map(|&e| (e, 1.0)).chain(held).collect();
        program.row(f64::NEG_INFINITY, 0.0, terms);
    }
    if let (Some(columns), Some(battery)) = (last.battery, &problem.site.battery) {
        let steps = layout.battery_ends.iter().map(|&e| (e, 1.0));
        let terms: Vec<_> = steps.chain([(columns.level, -1.0)]).collect();
        program.row(
            f64::NEG_INFINITY,
            -battery.reserve.kwh().min(problem.state.battery.kwh()),
            terms,
        );
    }
    let ends = &layout.room_ends;
    let base = problem.end_bases();
    let levels = [
        (&ends.buffer, last.buffer.map(|own| own.level), base.buffer),
        (&ends.rooms, last.rooms.map(|own| own.mass), base.rooms),
        (&ends.pool, last.pool.map(|own| own.level), base.pool),
    ];
    for (end, level, (capacity, zero)) in levels {
        if let (Some(end), Some(level)) = (end, level) {
            level_row(program, end, level, capacity, zero);
        }
    }
}

fn level_row(program: &mut Program, end: &LevelEnd, level: Col, capacity: f64, zero: f64) {
    let steps = end.steps.iter().map(|&e| (e, 1.0));
    let terms = steps.chain([(end.missing, -1.0), (level, -capacity)]);
    program.row(f64::NEG_INFINITY, -capacity * zero, terms);
}
