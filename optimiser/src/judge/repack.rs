//! Moves of whole stretches: what a heater uses between two draws is taken
//! together and put into the cheapest slots of the stretch.
//!
//! A draw wants water that is hot as a whole, so a little heat in many slots
//! and a lot of it in a few are far apart for a search that moves one slot at a
//! time.

use super::candidate::Candidate;
use super::moves::Move;
use super::score::Judge;
use super::worths::Worths;

/// A draw or promise of less heat than this does not end a stretch [kWh].
const DEADLINE_KWH: f64 = 0.5;

/// Prices are compared in steps of this [minor/kWh].
const EQUAL_PRICE: f64 = 0.05;

/// Less energy than this is no change [kWh].
const NOTHING: f64 = 1e-6;

/// Repacked stretches with the same energy, a quantum more or less, or a
/// quantum handed to the stretch before or behind or to another heater.
pub(super) fn repacks(
    judge: &Judge<'_>,
    best: &Candidate,
    worths: &Worths,
    quantum: f64,
) -> Vec<Move> {
    let problem = judge.problem();
    let heaters: Vec<_> = problem.heaters().collect();
    let mut moves = Vec::new();
    for (heater, id) in heaters.iter().enumerate() {
        let step = quantum * problem.site.stores[id.store].elements[id.element].power.kw() * 0.5;
        let ends = deadlines(judge, id.store);
        let stretches: Vec<(usize, usize)> =
            ends.windows(2).map(|pair| (pair[0], pair[1])).collect();
        for (index, &stretch) in stretches.iter().enumerate() {
            let packed = |h: usize, s: (usize, usize), kwh: f64, late: bool| {
                pack(judge, best, worths, h, s, kwh, late)
            };
            for late in [true, false] {
                for kwh in [0.0, -step, step, -2.0 * step] {
                    moves.extend(packed(heater, stretch, kwh, late));
                }
            }
            let Some(less) = packed(heater, stretch, -step, true) else { continue };
            let before = index.checked_sub(1).map(|i| (heater, stretches[i]));
            let behind = stretches.get(index + 1).map(|&s| (heater, s));
            let peers = (0..heaters.len()).filter(|&h| h != heater && heaters[h].store == id.store);
            let others = before.into_iter().chain(behind).chain(peers.map(|h| (h, stretch)));
            for (other, place) in others {
                moves.extend(
                    packed(other, place, step, true).map(|more| [less.clone(), more].concat()),
                );
            }
        }
    }
    moves.into_iter().map(|changes| Move::of_heat(changes, worths)).collect()
}

/// Larger jumps, for a search that is stuck: all heat of a stretch joined to the
/// stretch before or behind, or handed to another heater. Those that carry most
/// come first.
pub(super) fn joins(judge: &Judge<'_>, best: &Candidate, worths: &Worths) -> Vec<Move> {
    let problem = judge.problem();
    let heaters: Vec<_> = problem.heaters().collect();
    let mut moves: Vec<(f64, Move)> = Vec::new();
    for (heater, id) in heaters.iter().enumerate() {
        let ends = deadlines(judge, id.store);
        let stretches: Vec<(usize, usize)> =
            ends.windows(2).map(|pair| (pair[0], pair[1])).collect();
        for (index, &stretch) in stretches.iter().enumerate() {
            let all: f64 = best.energies[heater][stretch.0..stretch.1].iter().sum();
            if all < 0.1 {
                continue;
            }
            let before = index.checked_sub(1).map(|i| (heater, stretches[i]));
            let behind = stretches.get(index + 1).map(|&s| (heater, s));
            let peers = (0..heaters.len()).filter(|&h| h != heater && heaters[h].store == id.store);
            for (other, place) in
                before.into_iter().chain(behind).chain(peers.map(|h| (h, stretch)))
            {
                for share in [1.0, 0.5] {
                    let kwh = share * all;
                    let less = pack(judge, best, worths, heater, stretch, -kwh, true);
                    let more = pack(judge, best, worths, other, place, kwh, true);
                    if let (Some(less), Some(more)) = (less, more) {
                        moves.push((kwh, Move::of_heat([less, more].concat(), worths)));
                    }
                }
            }
        }
    }
    moves.sort_by(|a, b| b.0.total_cmp(&a.0));
    moves.into_iter().map(|(_, change)| change).collect()
}

/// What it takes to change the energy of a heater in a stretch and to put all of
/// it into the cheapest slots, of equal ones the later or the earlier first.
fn pack(
    judge: &Judge<'_>,
    best: &Candidate,
    worths: &Worths,
    heater: usize,
    (from, until): (usize, usize),
    more: f64,
    late: bool,
) -> Option<Vec<(usize, usize, f64)>> {
    let row = &best.energies[heater];
    let least: f64 = (from..until).map(|slot| judge.range_kwh(heater, slot).0).sum();
    let mut left = (row[from..until].iter().sum::<f64>() + more - least).max(0.0);
    let mut order: Vec<usize> = (from..until).collect();
    // Prices in steps: what differs by less is equally cheap.
    let step = |slot: usize| (worths.price(heater, slot) / EQUAL_PRICE).round();
    order.sort_by(|&a, &b| {
        step(a).total_cmp(&step(b)).then(if late { b.cmp(&a) } else { a.cmp(&b) })
    });
    let mut changes = Vec::new();
    for slot in order {
        let (least, most) = judge.range_kwh(heater, slot);
        let beyond = left.min(most - least);
        let kwh = least + beyond;
        left -= beyond;
        if (kwh - row[slot]).abs() > NOTHING {
            changes.push((heater, slot, kwh - row[slot]));
        }
    }
    (left < NOTHING && !changes.is_empty()).then_some(changes)
}

/// Slots in which a store has a draw or promise worth the name, with the first
/// and the end of the plan.
pub(super) fn deadlines(judge: &Judge<'_>, store: usize) -> Vec<usize> {
    let problem = judge.problem();
    let mut heat = vec![0.0; problem.horizon.len()];
    for draw in problem.draws.iter().filter(|draw| draw.store == store) {
        if let Some(slot) = problem.horizon.index_at(draw.start) {
            heat[slot] += draw.heat_kwh(problem.site.stores[store].mains);
        }
    }
    let mut ends: Vec<usize> = (1..heat.len()).filter(|&slot| heat[slot] >= DEADLINE_KWH).collect();
    // Water kept in case is wanted at all times, so it parts nothing.
    let promised = problem.ready.iter().filter(|r| r.store == store && r.is_promised());
    ends.extend(promised.filter_map(|ready| problem.horizon.index_at(ready.by)));
    ends.extend([0, heat.len()]);
    ends.sort_unstable();
    ends.dedup();
    ends
}
