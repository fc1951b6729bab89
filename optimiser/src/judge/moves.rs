//! Moves of heat: a quantum out of a slot, into another, or from one to the other.

use super::candidate::Candidate;
use super::score::Judge;
use super::worths::Worths;

/// Places that promise most that heat is carried to, for each slot and heater it is
/// taken from, beside the cheapest before it and the cheapest behind it: the program
/// may think more of heat in a slot than the plant does.
const PROMISING: usize = 2;

/// Places that heat is added in, at most.
const TARGETS: usize = 6;

/// Less energy than this is not worth a run [kWh].
pub(super) const NOTHING: f64 = 1e-3;

/// A change of a plan, and what it promises to save [minor].
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Move {
    /// Heater, slot, and the energy added [kWh]; negative if taken.
    pub(super) changes: Vec<(usize, usize, f64)>,
    pub(super) promise: f64,
}

impl Move {
    /// A move of heat.
    pub(super) fn of_heat(changes: Vec<(usize, usize, f64)>, worths: &Worths) -> Self {
        let promise = worths.promise(&changes);
        Self { changes, promise }
    }
}

/// Moves of a quantum worth trying.
pub(super) fn moves(
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
        for slot in 0..problem.horizon.len() {
            let has = best.energies[heater][slot];
            if has < NOTHING {
                continue;
            }
            let kwh = step.min(has);
            moves.push(Move::of_heat(vec![(heater, slot, -kwh)], worths));
            for (peer, _) in heaters.iter().enumerate().filter(|(_, p)| p.store == id.store) {
                let row = &best.energies[peer];
                let mut targets: Vec<Move> = (0..row.len())
                    .filter(|&other| (peer, other) != (heater, slot))
                    .map(|other| (other, kwh.min(judge.most_kwh(peer, other) - row[other])))
                    .filter(|&(_, fits)| fits > NOTHING)
                    .map(|(other, fits)| {
                        Move::of_heat(vec![(heater, slot, -kwh), (peer, other, fits)], worths)
                    })
                    .collect();
                let place = |change: &Move| change.changes[1].1;
                let price = |change: &Move| worths.price(peer, place(change));
                for within in [0..slot, slot..row.len()] {
                    let there = (0..targets.len())
                        .filter(|&index| within.contains(&place(&targets[index])))
                        .min_by(|&a, &b| price(&targets[a]).total_cmp(&price(&targets[b])));
                    moves.extend(there.map(|index| targets.remove(index)));
                }
                targets.sort_by(|a, b| b.promise.total_cmp(&a.promise));
                targets.truncate(PROMISING);
                moves.append(&mut targets);
            }
        }
    }
    moves.extend(additions(judge, best, worths, quantum));
    moves
}

/// Heat to add where it promises most, such as where electricity is paid for.
pub(super) fn bargains(
    judge: &Judge<'_>,
    best: &Candidate,
    worths: &Worths,
    quantum: f64,
) -> Vec<Move> {
    let problem = judge.problem();
    let mut moves = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let step = quantum * problem.site.stores[id.store].elements[id.element].power.kw() * 0.5;
        let row = &best.energies[heater];
        let mut own: Vec<Move> = (0..row.len())
            .map(|slot| (slot, step.min(judge.most_kwh(heater, slot) - row[slot])))
            .filter(|&(_, kwh)| kwh > NOTHING)
            .map(|(slot, kwh)| Move::of_heat(vec![(heater, slot, kwh)], worths))
            .filter(|change| change.promise > 0.0)
            .collect();
        own.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        own.truncate(TARGETS);
        moves.append(&mut own);
    }
    moves
}

/// Heat to add where something is short: in the cheapest slots before it.
fn additions(judge: &Judge<'_>, best: &Candidate, worths: &Worths, quantum: f64) -> Vec<Move> {
    let problem = judge.problem();
    let mut moves = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let element = &problem.site.stores[id.store].elements[id.element];
        let kwh = quantum * element.power.kw() * 0.5;
        for until in short_slots(judge, best, id.store) {
            let from = until.saturating_sub(24);
            let mut before: Vec<usize> = (from..until)
                .filter(|&slot| {
                    judge.most_kwh(heater, slot) - best.energies[heater][slot] >= kwh - 1e-9
                })
                .collect();
            let price = |slot: usize| worths.price(heater, slot);
            before.sort_by(|&a, &b| price(a).total_cmp(&price(b)).then(b.cmp(&a)));
            let latest = before.iter().copied().max();
            let chosen = before.into_iter().take(TARGETS).chain(latest);
            moves.extend(chosen.map(|slot| Move {
                changes: vec![(heater, slot, kwh)],
                promise: problem.weights.unmet_per_kwh * kwh,
            }));
        }
    }
    moves
}

/// Slots before whose beginning a store wants more heat: for the first draws and
/// promises that are short, the first and last slots whose reserve is, and where a
/// pasteurisation was to be held.
pub(super) fn short_slots(judge: &Judge<'_>, best: &Candidate, store: usize) -> Vec<usize> {
    let problem = judge.problem();
    let trace = best.outcome.stores[store].slots();
    let slots = 0..trace.len();
    let mut short: Vec<usize> =
        slots.clone().filter(|&slot| trace[slot].unmet_kwh > NOTHING).take(2).collect();
    let missing = judge.ready_short(&best.outcome);
    let promises = problem.ready.iter().zip(missing);
    short.extend(
        promises
            .filter(|(ready, kwh)| ready.store == store && *kwh > NOTHING)
            .filter_map(|(ready, _)| problem.horizon.index_at(ready.by))
            .take(2),
    );
    let reserve = problem.site.stores[store].held_back.litres();
    let mut below = slots.filter(|&slot| trace[slot].usable_litres < reserve - 0.5);
    short.extend(below.next().into_iter().chain(below.next_back()).map(|slot| slot + 1));
    short.extend(judge.undone_slots(&best.outcome, store));
    short
}
