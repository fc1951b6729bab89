//! What the network allows at the meter, as parts of a planning problem.
//!
//! The service switches heaters and nothing else, so a limit of import holds off those
//! heaters that may not fit under it, as a hand would. Sun is not counted on: a cloud
//! must not break the limit. A boost by hand goes before.

use optimiser::problem::{ByHand, HeaterId, Problem};
use optimiser::time::Slot;

use crate::assemble::Allowance;

/// Puts the limits into a problem; what is to be said of them.
pub(super) fn apply(problem: &mut Problem, allowances: &[Allowance]) -> Vec<String> {
    let (start, end) = (problem.horizon.start(), problem.horizon.end());
    let of_now = |a: &&Allowance| a.slot.start() < end && start < a.slot.end();
    let mut notes = Vec::new();
    for Allowance { slot, power, is_import } in allowances.iter().filter(of_now) {
        let kind = if *is_import { "import" } else { "export" };
        notes.push(format!("the network allows {power} of {kind} from {} on", slot.start()));
        if *is_import {
            hold_off(problem, *slot, power.kw());
        } else {
            // One limit for all of the plan: the strictest.
            let limit = &mut problem.site.grid.export_limit;
            *limit = if *power < *limit { *power } else { *limit };
        }
    }
    notes
}

/// Holds off the heaters that do not fit beside the rest of the house, the largest
/// first.
fn hold_off(problem: &mut Problem, slot: Slot, limit_kw: f64) {
    let slots = problem.horizon.slots().iter().enumerate();
    let touched = slots.filter(|(_, own)| own.overlap_seconds(slot) > 0);
    let load_kw = touched
        .map(|(index, own)| problem.base_load[index].kwh() / own.hours())
        .fold(0.0, f64::max);
    let mut heaters: Vec<(HeaterId, f64)> = problem
        .heaters()
        .map(|id| (id, problem.site.stores[id.store].elements[id.element].power.kw()))
        .collect();
    heaters.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut room_kw = limit_kw - load_kw;
    for (heater, kw) in heaters {
        room_kw -= kw;
        if room_kw < 0.0 {
            let held: Vec<ByHand> =
                problem.by_hand.iter().copied().filter(|span| span.heater == heater).collect();
            problem.by_hand.extend(free_spans(heater, slot, &held));
        }
    }
}

/// The parts of a slot in which nothing is asked of a heater, as spans of off.
fn free_spans(heater: HeaterId, slot: Slot, held: &[ByHand]) -> Vec<ByHand> {
    let whole = ByHand { heater, from: slot.start(), until: slot.end(), on: false };
    held.iter()
        .fold(vec![whole], |free, span| {
            let around = free.into_iter().flat_map(|own| {
                let before = ByHand { until: own.until.min(span.from), ..own };
                [before, ByHand { from: own.from.max(span.until), ..own }]
            });
            around.collect()
        })
        .into_iter()
        .filter(|span| span.from < span.until)
        .collect()
}
