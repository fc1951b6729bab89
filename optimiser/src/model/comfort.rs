//! Promises, reserve and pasteurisation.
//!
//! - promise: `Σ_z (c·(θ_k' − θ_0)·H[z,k'] + Σ_{k>k'} c·(θ_k − θ_{k−1})·H[z,k])
//!   + short ≥ E` at the end of the last slot before it;
//! - reserve: `c·(θ_use − θ_0)·Σ_z H[z,use] + short ≥ c·(θ_use − θ_0)·R` in every slot;
//! - pasteurisation: `H[z,k_60] = V_z` for all zones from the beginning to the
//!   end of the hold. Its start is enumerated outside the program.

use crate::problem::{Problem, Ready};

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::Program;
use super::refinement::Refinement;

pub(super) fn reserve_rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
    slot: usize,
) {
    for (store, ladder) in ladders.iter().enumerate() {
        let columns = &layout.slots[slot].stores[store];
        let per_litre = ladder.litre_kwh(ladder.use_rung);
        let reserve = problem.site.stores[store].held_back.litres() * per_litre;
        let terms: Vec<_> = columns
            .litres
            .iter()
            .map(|zone| (zone[ladder.use_rung - 1], per_litre))
            .chain([(columns.reserve_short, 1.0)])
            .collect();
        program.row(reserve, f64::INFINITY, terms);
    }
}

pub(super) fn ready_rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
) {
    for (ready, &short) in problem.ready.iter().zip(&layout.ready_short) {
        let ladder = &ladders[ready.store];
        let heat = crate::water::heat_kwh(
            ready.volume.litres(),
            ready.temperature.above(problem.site.stores[ready.store].mains),
        );
        let Some(slot) = last_slot_before(problem, ready) else {
            program.row(0.0, f64::INFINITY, [(short, 1.0)]);
            continue;
        };
        let rung = ladder.rung_for(ready.temperature).unwrap_or(ladder.rungs());
        let mut terms = vec![(short, 1.0)];
        for zone in &layout.slots[slot].stores[ready.store].litres {
            terms.push((zone[rung - 1], ladder.litre_kwh(rung)));
            terms.extend((rung + 1..=ladder.rungs()).map(|k| (zone[k - 1], ladder.step_kwh(k))));
        }
        program.row(heat, f64::INFINITY, terms);
    }
}

/// The last slot that ends by the time of a promise, if the promise lies in
/// the horizon.
fn last_slot_before(problem: &Problem, ready: &Ready) -> Option<usize> {
    if ready.by > problem.horizon.end() {
        return None;
    }
    problem.horizon.slots().partition_point(|slot| slot.end() <= ready.by).checked_sub(1)
}

pub(super) fn hygiene_bounds(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
    refinement: &Refinement,
) {
    for (rule, hold) in problem.hygiene.iter().zip(&refinement.hygiene) {
        let ladder = &ladders[rule.store];
        let (Some(hold), Some(rung)) = (hold, ladder.rung_for(rule.temperature)) else { continue };
        for slot in hold.first.saturating_sub(1)..=hold.last {
            let litres = &layout.slots[slot].stores[rule.store].litres;
            for (zone, volume) in litres.iter().zip(&ladder.volumes) {
                program.at_least(zone[rung - 1], *volume);
            }
        }
    }
}
