//! Elements that are on by hand: `p + short ≥ P·(time on)`. What is off by hand is
//! an upper bound of `p`.
//!
//! Short is what a full store or the import limit does not let in.

use crate::problem::Problem;

use super::layout::Layout;
use super::program::Program;

pub(super) fn rows(program: &mut Program, problem: &Problem, layout: &Layout) {
    if problem.by_hand.is_empty() {
        return;
    }
    for (slot, columns) in layout.slots.iter().enumerate() {
        for (heater, &id) in columns.heaters.iter().zip(&layout.heaters) {
            let (least, _) = problem.range_kwh(id, slot);
            if least > 0.0 {
                let short = program.column(problem.weights.unmet_per_kwh, 0.0, f64::INFINITY);
                program.row(least, f64::INFINITY, [(heater.energy, 1.0), (short, 1.0)]);
            }
        }
    }
}
