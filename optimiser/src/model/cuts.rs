//! Completion cuts: `Σ_{z≥z'} H[z,k,t] + short ≥ litres`, where the simulated
//! plant left a draw cold although the ladder thought it served.

use crate::problem::Problem;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::Program;
use super::refinement::Refinement;

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
    refinement: &Refinement,
) {
    for cut in &refinement.completions {
        let ladder = &ladders[cut.store];
        let per_litre = ladder.litre_kwh(cut.rung);
        let short = program.column(problem.weights.short_per_kwh * per_litre, 0.0, f64::INFINITY);
        let zones = &layout.slots[cut.slot].stores[cut.store].litres[cut.zone..];
        let terms: Vec<_> =
            zones.iter().map(|zone| (zone[cut.rung - 1], 1.0)).chain([(short, 1.0)]).collect();
        program.row(cut.litres, f64::INFINITY, terms);
    }
}
