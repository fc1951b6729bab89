//! Immersion elements.
//!
//! `p = Σ_k c·(θ_k − θ_{k−1})·u[k]`, with `u` in the element's own zone and up to
//! the rung that its thermostat allows, `0 ≤ p ≤ P·Δt`. A lift in a zone above
//! is a lift in the own zone and a rise, so it needs no variable of its own.
//! And `p − up + down = published p` where a plan is already out.

use crate::problem::Problem;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::Program;

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
    slot: usize,
) {
    let columns = &layout.slots[slot];
    for (index, (heater, id)) in columns.heaters.iter().zip(&layout.heaters).enumerate() {
        let ladder = &ladders[id.store];
        let lifts = heater.lifts.iter().flat_map(|zone| {
            zone.iter().enumerate().map(|(rung, &lift)| (lift, ladder.step_kwh(rung + 1)))
        });
        let terms: Vec<_> = lifts.chain([(heater.energy, -1.0)]).collect();
        program.row(0.0, 0.0, terms);
        if let (Some((up, down)), Some(published)) = (heater.change, &problem.published) {
            let planned = published.heaters[index].get(slot).map(|energy| energy.kwh());
            // Nothing was said about a slot beyond its end.
            let bounds = planned.map_or((f64::NEG_INFINITY, f64::INFINITY), |kwh| (kwh, kwh));
            program.row(bounds.0, bounds.1, [(heater.energy, 1.0), (up, -1.0), (down, 1.0)]);
        }
    }
}
