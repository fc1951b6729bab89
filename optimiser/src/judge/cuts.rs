//! What to ask of the program after a draw failed in the simulated plant.

use crate::model::{Completion, Ladder};
use crate::plant::Outcome;
use crate::problem::Problem;

/// A draw that misses more than this share of its heat has failed.
const FAILED_SHARE: f64 = 0.02;

/// Litres below the element that a third cut asks for.
const MORE_LITRES: f64 = 60.0;

/// Cuts for the draws that fail, beyond those already made: first the zones
/// above the highest element complete at the draw's rung, then one rung higher,
/// then more litres below.
pub(crate) fn next_cuts(
    problem: &Problem,
    outcome: &Outcome,
    made: &[Completion],
) -> Vec<Completion> {
    let mut cuts: Vec<Completion> = Vec::new();
    for (store, trace) in outcome.stores.iter().enumerate() {
        let ladder = Ladder::new(&problem.site.stores[store]);
        let heated = ladder.element_zone.iter().chain(&ladder.coil_zone);
        let Some(&highest) = heated.max() else { continue };
        let above: f64 = ladder.volumes[highest..].iter().sum();
        for record in trace.draws() {
            let draw = &problem.draws[record.draw];
            if record.unmet_kwh() <= FAILED_SHARE * record.asked_kwh {
                continue;
            }
            let before = problem.horizon.index_at(draw.start).and_then(|slot| slot.checked_sub(1));
            let Some(slot) = before else { continue };
            let rung = ladder.rung_for(draw.temperature).unwrap_or(ladder.rungs());
            let mut steps = vec![Completion { store, slot, zone: highest, rung, litres: above }];
            if rung < ladder.rungs() {
                steps.push(Completion { rung: rung + 1, ..steps[0] });
            }
            let whole: f64 = ladder.volumes.iter().sum();
            let litres = (above + MORE_LITRES).min(whole);
            steps.push(Completion { zone: 0, rung, litres, ..steps[0] });
            let next = steps.into_iter().find(|cut| !made.contains(cut));
            cuts.extend(next.filter(|cut| !cuts.contains(cut)));
        }
    }
    cuts
}
