//! Moves of heat: a quantum out of a slot, into another, or from one to the other.

use super::candidate::Candidate;
use super::score::Judge;
use super::worths::Worths;

/// Places that promise most that heat is carried to, for each slot and heater it is
/// taken from, beside the cheapest near and far before it and behind it: the program may
/// think more of heat in a slot than the plant does.
const PROMISING: usize = 2;

/// Slots that are near.
const NEAR: usize = 12;

/// Places that heat is added in, at most.
const TARGETS: usize = 6;

/// Slots that heat for what is short reaches back, and that heat serves ahead.
const REACHES: usize = 24;

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

/// Where a quantum of heat may go.
struct Target {
    slot: usize,
    /// As much of it as fits [kWh].
    kwh: f64,
    /// What it promises to save there [minor].
    promise: f64,
    /// What one more kWh costs there [minor/kWh].
    price: f64,
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
                let mut targets: Vec<Target> = (0..row.len())
                    .filter(|&other| (peer, other) != (heater, slot))
                    .map(|other| (other, kwh.min(judge.most_kwh(peer, other) - row[other])))
                    .filter(|&(_, fits)| fits > NOTHING)
                    .map(|(slot, kwh)| {
                        let (promise, price) =
                            (worths.promise(&[(peer, slot, kwh)]), worths.price(peer, slot));
                        Target { slot, kwh, promise, price }
                    })
                    .collect();
                let moved = |target: &Target| {
                    let changes = vec![(heater, slot, -kwh), (peer, target.slot, target.kwh)];
                    Move::of_heat(changes, worths)
                };
                let end = row.len();
                let (from, until) = (slot.saturating_sub(NEAR), (slot + NEAR).min(end));
                for within in [0..from, from..slot, slot..until, until..end] {
                    let there = (0..targets.len())
                        .filter(|&index| within.contains(&targets[index].slot))
                        .filter(|&index| targets[index].kwh >= kwh - 1e-9)
                        .min_by(|&a, &b| targets[a].price.total_cmp(&targets[b].price));
                    moves.extend(there.map(|index| moved(&targets.remove(index))));
                }
                targets.sort_by(|a, b| b.promise.total_cmp(&a.promise));
                moves.extend(targets.iter().take(PROMISING).map(moved));
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

/// Heat to add where something is short: for what must be, in the cheapest slots before
/// it; for water kept in case, where it saves most for what it costs.
fn additions(judge: &Judge<'_>, best: &Candidate, worths: &Worths, quantum: f64) -> Vec<Move> {
    let problem = judge.problem();
    let slots = problem.horizon.len();
    let mut moves = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let element = &problem.site.stores[id.store].elements[id.element];
        let kwh = quantum * element.power.kw() * 0.5;
        let fits = |slot: &usize| {
            judge.most_kwh(heater, *slot) - best.energies[heater][*slot] >= kwh - 1e-9
        };
        let price = |slot: usize| worths.price(heater, slot);
        let added =
            |slot: usize, promise: f64| Move { changes: vec![(heater, slot, kwh)], promise };
        for until in short_slots(judge, best, id.store) {
            let mut before: Vec<usize> =
                (until.saturating_sub(REACHES)..until).filter(fits).collect();
            before.sort_by(|&a, &b| price(a).total_cmp(&price(b)).then(b.cmp(&a)));
            let latest = before.iter().copied().max();
            let chosen = before.into_iter().take(TARGETS).chain(latest);
            moves.extend(chosen.map(|slot| added(slot, problem.weights.unmet_per_kwh * kwh)));
        }
        let mut saved = vec![0.0; slots];
        for (slot, price, missing) in short_in_case(judge, best, id.store) {
            saved[slot] += price * missing.min(kwh);
        }
        let behind = |slot: usize| saved[(slot + 1).min(slots)..].iter().take(REACHES).sum::<f64>();
        let mut in_case: Vec<Move> = (0..slots)
            .filter(fits)
            .map(|slot| added(slot, behind(slot) - kwh * price(slot)))
            .filter(|change| change.promise > 0.0)
            .collect();
        in_case.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        in_case.truncate(TARGETS);
        moves.append(&mut in_case);
    }
    moves
}

/// Water kept in case that a store is short of: the slot at whose beginning, what it
/// would be worth [minor/kWh], and how much is missing [kWh].
pub(super) fn short_in_case(
    judge: &Judge<'_>,
    best: &Candidate,
    store: usize,
) -> Vec<(usize, f64, f64)> {
    let problem = judge.problem();
    let promises = problem.ready.iter().zip(judge.ready_short(&best.outcome));
    promises
        .filter(|(ready, kwh)| ready.store == store && !ready.is_promised() && *kwh > NOTHING)
        .filter_map(|(ready, kwh)| {
            let slot = problem.horizon.index_at(ready.by)?;
            Some((slot, ready.urgency * problem.weights.short_per_kwh, kwh))
        })
        .collect()
}

/// Slots before whose beginning a store must have more heat: for the first draws and
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
            .filter(|(ready, kwh)| ready.store == store && ready.is_promised() && *kwh > NOTHING)
            .filter_map(|(ready, _)| problem.horizon.index_at(ready.by))
            .take(2),
    );
    let reserve = problem.site.stores[store].held_back.litres();
    let mut below = slots.filter(|&slot| trace[slot].usable_litres < reserve - 0.5);
    short.extend(below.next().into_iter().chain(below.next_back()).map(|slot| slot + 1));
    short.extend(judge.undone_slots(&best.outcome, store));
    short
}
