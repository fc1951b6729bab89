//! Promises, reserve and pasteurisation.
//!
//! - promise: `Σ_z (c·(θ_k' − θ_0)·H[z,k'] + Σ_{k>k'} c·(θ_k − θ_{k−1})·H[z,k])
//!   + short ≥ E` at the end of the last slot before it;
//! - water kept in case: the same in one row for all that is kept of a store at the end
//!   of a slot, with `short = Σ_i s_i`, `0 ≤ s_i ≤ E_i − E_{i−1}`, where what is missing of
//!   the first litres costs as much as everything that they belong to;
//! - reserve: `c·(θ_use − θ_0)·Σ_z H[z,use] + short ≥ c·(θ_use − θ_0)·R` in every slot;
//! - pasteurisation: `H[z,k_60] = V_z` for all zones from the beginning to the
//!   end of the hold. Its start is enumerated outside the program.

use std::collections::BTreeMap;

use crate::problem::{Problem, Ready};
use crate::water::heat_kwh;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::{Col, Program};
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

/// Water of a store that is kept in case at the end of a slot.
#[derive(Debug, Clone)]
pub(crate) struct KeptColumns {
    store: usize,
    rung: usize,
    /// Heat of all of it [kWh].
    heat: f64,
    /// What is missing of it, from the first litres to the last [kWh].
    missing: Vec<Col>,
}

/// Positions in [`Problem::ready`] of what is kept in case at the end of each slot.
pub(super) fn kept_in_case(problem: &Problem) -> Vec<Vec<usize>> {
    let mut kept = vec![Vec::new(); problem.horizon.len()];
    for (index, ready) in problem.ready.iter().enumerate().filter(|(_, own)| !own.is_promised()) {
        if let Some(slot) = last_slot_before(problem, ready) {
            kept[slot].push(index);
        }
    }
    kept
}

/// Columns of what is kept in case at the end of a slot; `short` tells, for each of all
/// that is to be ready, the columns that are missing of it.
pub(super) fn kept_columns(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    kept: &[usize],
    short: &mut [Vec<Col>],
) -> Vec<KeptColumns> {
    let mut stores: BTreeMap<(usize, usize), Vec<(f64, usize)>> = BTreeMap::new();
    for &index in kept {
        let ready = &problem.ready[index];
        let place = (ready.store, rung_of(ready, ladders));
        stores.entry(place).or_default().push((asked_kwh(problem, ready), index));
    }
    let columns = |((store, rung), mut own): ((usize, usize), Vec<(f64, usize)>)| {
        own.sort_by(|a, b| a.0.total_cmp(&b.0));
        let urgency = |&(_, index): &(f64, usize)| problem.ready[index].urgency;
        let mut price = problem.weights.short_per_kwh * own.iter().map(urgency).sum::<f64>();
        let (mut heat, mut missing) = (0.0, Vec::with_capacity(own.len()));
        for step in &own {
            // What rounding leaves of a step without a price may be below nothing.
            missing.push(program.column(price.max(0.0), 0.0, step.0 - heat));
            short[step.1].clone_from(&missing);
            heat = step.0;
            price -= problem.weights.short_per_kwh * urgency(step);
        }
        KeptColumns { store, rung, heat, missing }
    };
    stores.into_iter().map(columns).collect()
}

pub(super) fn kept_rows(program: &mut Program, ladders: &[Ladder], layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    for kept in &columns.kept {
        let missing = kept.missing.iter().map(|&col| (col, 1.0));
        let held = held(&ladders[kept.store], &columns.stores[kept.store].litres, kept.rung);
        program.row(kept.heat, f64::INFINITY, missing.chain(held));
    }
}

pub(super) fn promise_rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
) {
    let promises = problem.ready.iter().zip(&layout.ready_short);
    for (ready, short) in promises.filter(|(ready, _)| ready.is_promised()) {
        let missing = short.iter().map(|&col| (col, 1.0));
        let Some(slot) = last_slot_before(problem, ready) else {
            program.row(0.0, f64::INFINITY, missing);
            continue;
        };
        let litres = &layout.slots[slot].stores[ready.store].litres;
        let held = held(&ladders[ready.store], litres, rung_of(ready, ladders));
        program.row(asked_kwh(problem, ready), f64::INFINITY, missing.chain(held));
    }
}

/// Heat above the main's of the water in a store that is at a rung or warmer.
fn held<'a>(
    ladder: &'a Ladder,
    litres: &'a [Vec<Col>],
    rung: usize,
) -> impl Iterator<Item = (Col, f64)> + 'a {
    litres.iter().flat_map(move |zone| {
        let warmer = (rung + 1..=ladder.rungs()).map(|k| (zone[k - 1], ladder.step_kwh(k)));
        std::iter::once((zone[rung - 1], ladder.litre_kwh(rung))).chain(warmer)
    })
}

fn rung_of(ready: &Ready, ladders: &[Ladder]) -> usize {
    let ladder = &ladders[ready.store];
    ladder.rung_for(ready.temperature).unwrap_or(ladder.rungs())
}

/// Heat of what is to be ready [kWh].
fn asked_kwh(problem: &Problem, ready: &Ready) -> f64 {
    let mains = problem.site.stores[ready.store].mains;
    heat_kwh(ready.volume.litres(), ready.temperature.above(mains))
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
