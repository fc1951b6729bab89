//! Direct search on the simulated plant.
//!
//! Moves of a quantum of energy, from coarse to fine: take heat out of a slot,
//! carry it to a slot where electricity is worth less, or, where something is
//! short, add it before. Moves that save most by the program's own values of
//! electricity are tried first; whatever the plant scores better is kept.

use super::candidate::Candidate;
use super::repack::{joins, repacks};
use super::score::Judge;

/// Quanta of the search, as shares of what an element can use in half an hour.
const QUANTA: [f64; 4] = [1.0, 0.4, 0.15, 0.05];

/// Slots that heat is carried to, at most, for each slot it is taken from.
const TARGETS: usize = 4;

/// A better score than this is worth a change [minor].
const GAIN: f64 = 1e-3;

/// Less energy than this is not worth a run [kWh].
const NOTHING: f64 = 1e-3;

/// A change of heater energies, and what it promises to save at the program's
/// values [minor].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Move {
    /// Heater, slot, and the energy added [kWh]; negative if taken.
    pub(super) changes: Vec<(usize, usize, f64)>,
    pub(super) promise: f64,
}

impl Move {
    pub(super) fn new(changes: Vec<(usize, usize, f64)>, values: &[f64]) -> Self {
        let promise = changes.iter().map(|&(_, slot, kwh)| -kwh * values[slot]).sum();
        Self { changes, promise }
    }
}

/// How a candidate is searched around.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search<'a> {
    /// Worth of electricity in each slot by the program [minor/kWh].
    pub(crate) values: &'a [f64],
    /// Most simulations.
    pub(crate) simulations: usize,
    /// Which part of the moves has its turn, where there is no time for all.
    pub(crate) turn: usize,
}

/// Fewer simulations than this are not enough to try every move.
const WHOLE_SEARCH: usize = 200;

/// Improves a candidate.
pub(crate) fn polish(judge: &mut Judge<'_>, mut best: Candidate, search: Search<'_>) -> Candidate {
    let mut trial = best.clone();
    if search.simulations < WHOLE_SEARCH {
        touch_up(judge, &mut best, &mut trial, search);
        return best;
    }
    let values = search.values;
    let mut simulations = search.simulations;
    descend(judge, &mut best, &mut trial, values, &mut simulations);
    // What is left of the simulations goes into shaking the plan out of a
    // hollow and descending again.
    let mut shaker = Shaker::default();
    while simulations > SHAKE_WORTH {
        let mut shaken = best.clone();
        if !shaker.shake(judge, &mut shaken, values) {
            break;
        }
        descend(judge, &mut shaken, &mut trial, values, &mut simulations);
        if shaken.score < best.score - GAIN {
            best = shaken;
            shaker = Shaker::default();
        }
    }
    best
}

/// Tries the most promising moves of one quantum, and in turn some of the others:
/// the next plan goes on where this one stops. What helped is followed up, so a
/// house that did not go as expected gets more.
fn touch_up(
    judge: &mut Judge<'_>,
    best: &mut Candidate,
    trial: &mut Candidate,
    search: Search<'_>,
) {
    for round in 0..MOST_ROUNDS {
        let before = best.score;
        let quantum = QUANTA[(search.turn + round) % QUANTA.len()];
        let mut found = moves(judge, best, search.values, quantum);
        found.extend(repacks(judge, best, search.values, quantum));
        found.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        let first = (search.simulations / 2).min(found.len());
        let (top, rest) = found.split_at(first);
        let skipped = search.turn / QUANTA.len() * first % rest.len().max(1);
        let mut left = search.simulations;
        for change in top.iter().chain(rest.iter().skip(skipped)).chain(rest) {
            if left == 0 {
                break;
            }
            if applies(judge, best, change) {
                left -= 1;
                attempt(judge, best, trial, change);
            }
        }
        if before - best.score < WORTH_A_ROUND {
            return;
        }
    }
}

/// Most rounds of touching up, and what one must gain for another [minor].
const MOST_ROUNDS: usize = 12;
const WORTH_A_ROUND: f64 = 1.0;

/// Improves a candidate until no move does, or the simulations are used up.
fn descend(
    judge: &mut Judge<'_>,
    best: &mut Candidate,
    trial: &mut Candidate,
    values: &[f64],
    simulations: &mut usize,
) {
    for quantum in QUANTA {
        loop {
            let before = best.score;
            let mut found = moves(judge, best, values, quantum);
            found.extend(repacks(judge, best, values, quantum));
            found.sort_by(|a, b| b.promise.total_cmp(&a.promise));
            for change in found {
                if *simulations == 0 {
                    return;
                }
                if applies(judge, best, &change) {
                    *simulations -= 1;
                    attempt(judge, best, trial, &change);
                }
            }
            if best.score > before - GAIN {
                break;
            }
        }
    }
}

/// Fewer simulations than this are not worth a shake.
const SHAKE_WORTH: usize = 60;

/// Takes all heat out of one stretch after the other.
#[derive(Default)]
struct Shaker {
    turn: usize,
}

impl Shaker {
    /// Moves the heat of the next stretch into the one before it; false when
    /// every stretch had its turn.
    fn shake(&mut self, judge: &mut Judge<'_>, candidate: &mut Candidate, values: &[f64]) -> bool {
        let jumps = joins(judge, candidate, values);
        while let Some(change) = jumps.get(self.turn) {
            self.turn += 1;
            let mut changed = Vec::new();
            for &(heater, slot, kwh) in &change.changes {
                let own = &mut candidate.energies[heater][slot];
                let (least, most) = range_kwh(judge, heater, slot);
                *own = (*own + kwh).clamp(least, most);
                changed.push(slot);
            }
            if judge.rerun(candidate, &changed) {
                return true;
            }
        }
        false
    }
}

/// Tries a change and keeps it if the plant scores it better.
fn attempt(judge: &mut Judge<'_>, best: &mut Candidate, trial: &mut Candidate, change: &Move) {
    trial.clone_from(best);
    let mut changed: Vec<usize> = Vec::with_capacity(change.changes.len());
    for &(heater, slot, kwh) in &change.changes {
        let own = &mut trial.energies[heater][slot];
        *own = (*own + kwh).max(0.0);
        changed.push(slot);
    }
    if judge.rerun(trial, &changed) && trial.score < best.score - GAIN {
        std::mem::swap(best, trial);
    }
}

/// Whether a change still fits the candidate, after others were kept.
fn applies(judge: &Judge<'_>, candidate: &Candidate, change: &Move) -> bool {
    change.changes.iter().all(|&(heater, slot, kwh)| {
        let after = candidate.energies[heater][slot] + kwh;
        let (least, most) = range_kwh(judge, heater, slot);
        // What did not fit the meter from the start need not.
        (after >= least - 1e-9 || kwh >= 0.0) && after <= most + 1e-9
    })
}

/// The least and the most energy of a heater in a slot [kWh].
pub(super) fn range_kwh(judge: &Judge<'_>, heater: usize, slot: usize) -> (f64, f64) {
    let problem = judge.problem;
    problem.heaters().nth(heater).map_or((0.0, 0.0), |id| problem.range_kwh(id, slot))
}

fn most_kwh(judge: &Judge<'_>, heater: usize, slot: usize) -> f64 {
    range_kwh(judge, heater, slot).1
}

/// The changes worth trying at a quantum, the most promising first.
fn moves(judge: &Judge<'_>, best: &Candidate, values: &[f64], quantum: f64) -> Vec<Move> {
    let problem = judge.problem;
    let heaters: Vec<_> = problem.heaters().collect();
    let slots = problem.horizon.len();
    let mut cheapest: Vec<usize> = (0..slots).collect();
    cheapest.sort_by(|&a, &b| values[a].total_cmp(&values[b]).then(a.cmp(&b)));
    let mut moves = Vec::new();
    for (heater, id) in heaters.iter().enumerate() {
        let element = &problem.site.stores[id.store].elements[id.element];
        let step = quantum * element.power.kw() * 0.5;
        let peers: Vec<usize> =
            (0..heaters.len()).filter(|&h| heaters[h].store == id.store).collect();
        for slot in 0..slots {
            let has = best.energies[heater][slot];
            if has < NOTHING {
                continue;
            }
            let kwh = step.min(has);
            moves.push(Move::new(vec![(heater, slot, -kwh)], values));
            let mut targets = 0;
            for &other in &cheapest {
                if targets == TARGETS || values[other] > values[slot] + 0.01 {
                    break;
                }
                let mut found = false;
                for &peer in &peers {
                    let same = peer == heater && other == slot;
                    let room = most_kwh(judge, peer, other) - best.energies[peer][other];
                    if !same && room >= kwh - 1e-9 {
                        moves.push(Move::new(
                            vec![(heater, slot, -kwh), (peer, other, kwh)],
                            values,
                        ));
                        found = true;
                    }
                }
                targets += usize::from(found);
            }
            // Heat that comes later is lost less.
            for &peer in &peers {
                if let Some(later) = next_room(judge, best, peer, slot, kwh, values) {
                    moves.push(Move::new(vec![(heater, slot, -kwh), (peer, later, kwh)], values));
                }
            }
        }
    }
    moves.extend(additions(judge, best, values, quantum));
    moves
}

/// The next later slot with room that is not much dearer.
fn next_room(
    judge: &Judge<'_>,
    best: &Candidate,
    heater: usize,
    slot: usize,
    kwh: f64,
    values: &[f64],
) -> Option<usize> {
    (slot + 1..values.len()).take(12).find(|&later| {
        let room = most_kwh(judge, heater, later) - best.energies[heater][later];
        room >= kwh - 1e-9 && values[later] <= values[slot] + 0.5
    })
}

/// Heat to add where something is short: in the cheapest slots before it.
fn additions(judge: &Judge<'_>, best: &Candidate, values: &[f64], quantum: f64) -> Vec<Move> {
    let problem = judge.problem;
    let mut moves = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let element = &problem.site.stores[id.store].elements[id.element];
        let kwh = quantum * element.power.kw() * 0.5;
        for until in short_slots(judge, best, id.store) {
            let from = until.saturating_sub(24);
            let mut before: Vec<usize> = (from..until)
                .filter(|&slot| {
                    most_kwh(judge, heater, slot) - best.energies[heater][slot] >= kwh - 1e-9
                })
                .collect();
            before.sort_by(|&a, &b| values[a].total_cmp(&values[b]).then(b.cmp(&a)));
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
/// promises that are short, and the first and last slots whose reserve is.
pub(super) fn short_slots(judge: &Judge<'_>, best: &Candidate, store: usize) -> Vec<usize> {
    let problem = judge.problem;
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
    short
}
