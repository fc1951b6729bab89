//! What the network allows at the meter, as parts of a planning problem.
//!
//! The service switches heaters and sources and nothing else, so a limit of import holds
//! off those that may not fit under it, as a hand would. Sun is not counted on: a cloud
//! must not break the limit. A boost by hand goes before.

use optimiser::plan::source_kw;
use optimiser::problem::{ByHand, HeaterId, Held, HeldOff, Problem};
use optimiser::site::Source;
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

/// Something that a limit may hold off.
enum Load {
    Heater(HeaterId),
    Source(Source),
}

/// Holds off heaters and sources that do not fit beside the rest of the house, the
/// largest first.
fn hold_off(problem: &mut Problem, slot: Slot, limit_kw: f64) {
    let slots = problem.horizon.slots().iter().enumerate();
    let touched: Vec<(usize, &Slot)> =
        slots.filter(|(_, own)| own.overlap_seconds(slot) > 0).collect();
    let load_kw = touched
        .iter()
        .map(|(index, own)| problem.base_load[*index].kwh() / own.hours())
        .fold(0.0, f64::max);
    let power = |id: HeaterId| problem.site.stores[id.store].elements[id.element].power.kw();
    let most = |source: Source| {
        touched.iter().map(|(index, _)| source_kw(problem, *index, source)).fold(0.0, f64::max)
    };
    let mut sources: Vec<Source> =
        problem.site.plant_room.routes().into_iter().map(|route| route.source).collect();
    sources.dedup();
    let heaters = problem.heaters().map(|id| (Load::Heater(id), power(id)));
    let sources = sources.into_iter().map(|source| (Load::Source(source), most(source)));
    let mut loads: Vec<(Load, f64)> = heaters.chain(sources).collect();
    loads.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut room_kw = limit_kw - load_kw;
    for (load, kw) in loads {
        room_kw -= kw;
        if room_kw >= 0.0 {
            continue;
        }
        match load {
            Load::Heater(heater) => {
                let held: Vec<ByHand> =
                    problem.by_hand.iter().copied().filter(|span| span.heater == heater).collect();
                problem.by_hand.extend(free_spans(heater, slot, &held));
            }
            Load::Source(source) if kw > 0.0 => problem.ambient.held_off.push(HeldOff {
                what: Held::Source(source),
                from: slot.start(),
                until: slot.end(),
            }),
            Load::Source(_) => {}
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
