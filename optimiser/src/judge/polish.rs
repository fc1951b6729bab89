//! Direct search on the simulated plant.
//!
//! Moves of a quantum of energy, from coarse to fine: take heat out of a slot,
//! carry it to a slot where electricity is worth less, or, where something is
//! short, add it before. Moves that save most by the program's own values of
//! electricity are tried first; whatever the plant scores better is kept.

use super::candidate::Candidate;
use super::score::Judge;

/// Quanta of the search, as shares of what an element can use in half an hour.
const QUANTA: [f64; 4] = [1.0, 0.4, 0.15, 0.05];

/// Slots that heat is carried to, at most, for each slot it is taken from.
const TARGETS: usize = 4;

/// A better score than this is worth a change [minor].
const GAIN: f64 = 1e-3;

/// Less energy than this is not worth a run [kWh].
const NOTHING: f64 = 1e-3;

/// A change of heater energies.
#[derive(Debug, Clone, Copy)]
struct Move {
    heater: usize,
    slot: usize,
    kwh: f64,
    to: Option<(usize, usize)>,
    /// What it promises to save at the program's values [minor].
    promise: f64,
}

/// Improves a candidate with at most so many simulations. `values` are the
/// worth of electricity in each slot by the program [minor/kWh].
pub(crate) fn polish(
    judge: &mut Judge<'_>,
    mut best: Candidate,
    values: &[f64],
    mut simulations: usize,
) -> Candidate {
    let mut trial = best.clone();
    for quantum in QUANTA {
        loop {
            let before = best.score;
            for change in moves(judge, &best, values, quantum) {
                if simulations == 0 {
                    return best;
                }
                if !applies(judge, &best, change) {
                    continue;
                }
                simulations -= 1;
                attempt(judge, &mut best, &mut trial, change);
            }
            if best.score > before - GAIN {
                break;
            }
        }
    }
    best
}

/// Tries a change and keeps it if the plant scores it better.
fn attempt(judge: &mut Judge<'_>, best: &mut Candidate, trial: &mut Candidate, change: Move) {
    trial.clone_from(best);
    trial.energies[change.heater][change.slot] -= change.kwh;
    let mut changed = vec![change.slot];
    if let Some((heater, slot)) = change.to {
        trial.energies[heater][slot] += change.kwh;
        changed.push(slot);
    }
    if judge.rerun(trial, &changed) && trial.score < best.score - GAIN {
        std::mem::swap(best, trial);
    }
}

/// Whether a change still fits the candidate, after others were kept.
fn applies(judge: &Judge<'_>, candidate: &Candidate, change: Move) -> bool {
    let enough = candidate.energies[change.heater][change.slot] >= change.kwh - 1e-9;
    let room = change.to.is_none_or(|(heater, slot)| {
        candidate.energies[heater][slot] + change.kwh <= most_kwh(judge, heater, slot) + 1e-9
    });
    enough && room
}

fn most_kwh(judge: &Judge<'_>, heater: usize, slot: usize) -> f64 {
    let problem = judge.problem;
    problem.heaters().nth(heater).map_or(0.0, |id| {
        let element = &problem.site.stores[id.store].elements[id.element];
        element.power.kw() * problem.horizon.slots()[slot].hours()
    })
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
            moves.push(Move { heater, slot, kwh, to: None, promise: kwh * values[slot].max(0.0) });
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
                        let promise = kwh * (values[slot] - values[other]);
                        moves.push(Move { heater, slot, kwh, to: Some((peer, other)), promise });
                        found = true;
                    }
                }
                targets += usize::from(found);
            }
            // Heat that comes later is lost less.
            for &peer in &peers {
                if let Some(later) = next_room(judge, best, peer, slot, kwh, values) {
                    moves.push(Move { heater, slot, kwh, to: Some((peer, later)), promise: 0.0 });
                }
            }
        }
    }
    moves.extend(additions(judge, best, values, quantum));
    moves.sort_by(|a, b| b.promise.total_cmp(&a.promise));
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
                heater,
                slot,
                kwh: -kwh,
                to: None,
                promise: problem.weights.unmet_per_kwh * kwh,
            }));
        }
    }
    moves
}

/// The first slots in which a draw or promise of a store is short.
fn short_slots(judge: &Judge<'_>, best: &Candidate, store: usize) -> Vec<usize> {
    let problem = judge.problem;
    let trace = best.outcome.stores[store].slots();
    let mut short: Vec<usize> =
        (0..trace.len()).filter(|&slot| trace[slot].unmet_kwh > NOTHING).take(2).collect();
    let missing = judge.ready_short(&best.outcome);
    let promises = problem
        .ready
        .iter()
        .zip(missing)
        .filter(|(ready, kwh)| ready.store == store && *kwh > NOTHING);
    short.extend(promises.filter_map(|(ready, _)| problem.horizon.index_at(ready.by)).take(2));
    short
}
