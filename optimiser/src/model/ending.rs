//! What is left at the end of the horizon.
//!
//! `Σ_i e_i ≤ Σ_z Σ_k c·(θ_k − θ_{k−1})·H[z,k,T]`, `0 ≤ e_i ≤ width_i`, each step
//! worth less than the one before; the battery likewise above its reserve.

use crate::problem::Problem;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::Program;

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
}
