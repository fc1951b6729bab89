//! Direct search on the simulated plant.
//!
//! Moves of a quantum of energy, from coarse to fine, and of whole stretches. Those
//! that promise most by the meter of each slot and the program's duals are tried
//! first; whatever the plant scores better is kept.

use std::collections::BTreeMap;

use super::beside::together;
use super::candidate::Candidate;
use super::moves::{Move, NOTHING, bargains, moves};
use super::rebuild::rebuild;
use super::repack::{joins, repacks};
use super::score::Judge;
use super::settle::settled;
use super::worths::{Duals, Worths};
use crate::problem::Problem;
use crate::time::Instant;

/// Quanta of the search, as shares of what an element can use in half an hour.
const QUANTA: [f64; 3] = [1.0, 0.4, 0.12];

/// The quantum of the last touches, which only lengthen or shorten runs, the part of a
/// thorough search that is kept for them, and the simulations from which on it is thorough.
const FINEST: [f64; 1] = [0.04];
const FOR_THE_FINEST: usize = 8;
const THOROUGH: usize = 1_000;

/// A better score than this is worth a change [minor].
pub(super) const GAIN: f64 = 1e-3;

/// How a candidate is searched around.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search<'a> {
    /// Worth of heat and charge by the program.
    pub(crate) duals: Duals<'a>,
    /// Worth of electricity in each slot by the program [minor/kWh].
    pub(crate) values: &'a [f64],
    /// Most simulations.
    pub(crate) simulations: usize,
    /// Which part of the moves has its turn, where there is no time for all.
    pub(crate) turn: usize,
}

impl Search<'_> {
    /// Whether there are enough simulations to try every move.
    pub(super) fn is_whole(&self) -> bool {
        self.simulations >= WHOLE_SEARCH
    }

    /// Whether runs are fitted to the minute as well.
    fn is_thorough(&self) -> bool {
        self.simulations >= THOROUGH
    }
}

/// Moves that were tried in vain: what they cost [minor] and at which turn.
#[derive(Debug, Clone, Default)]
pub(crate) struct Vain {
    tried: BTreeMap<Key, (f64, usize)>,
}

/// A move as it is remembered: heater, start of the slot and watt-hours.
pub(super) type Key = Vec<(usize, Instant, i64)>;

/// What was tried in vain is tried again after so many turns.
const FORGETS: usize = 8;

impl Vain {
    /// A move by the heater, slot and kWh of its changes.
    pub(super) fn key(
        problem: &Problem,
        changes: impl Iterator<Item = (usize, usize, f64)>,
    ) -> Key {
        let start = |slot: usize| problem.horizon.slots()[slot].start();
        let watt_hours = |kwh: f64| (kwh * 1e3).round() as i64;
        changes.map(|(heater, slot, kwh)| (heater, start(slot), watt_hours(kwh))).collect()
    }

    fn key_of(problem: &Problem, change: &Move) -> Key {
        Self::key(problem, change.changes.iter().copied())
    }

    /// What is still worth remembering at a later turn.
    pub(crate) fn at(&self, turn: usize) -> Self {
        let mut tried = self.tried.clone();
        tried.retain(|_, (_, then)| *then + FORGETS > turn);
        Self { tried }
    }

    pub(super) fn book(&mut self, key: Key, cost: f64, turn: usize) {
        self.tried.insert(key, (cost, turn));
    }

    /// Whether there is no use in trying a move now: after other moves of the same
    /// turn it may pay if it was not dear.
    pub(super) fn holds(&self, key: &Key, turn: usize) -> bool {
        self.tried.get(key).is_some_and(|&(cost, then)| then != turn || cost >= DEAR)
    }
}

/// A plan that is dearer by no more is worth a finer search [minor].
const NEARLY: f64 = 3.0;

/// A move that cost so much is not tried again soon [minor].
const DEAR: f64 = 0.1;

/// What a move must save, without what is short then, to be worth a repair [minor];
/// additions tried [kWh], and slots that they reach back.
const WORTH_A_REPAIR: f64 = 1.0;
const REPAIRS_KWH: [f64; 2] = [0.08, 0.3];
const REPAIR_REACHES: [usize; 1] = [24];

/// Fewer simulations than this are not enough to try every move.
const WHOLE_SEARCH: usize = 200;

/// Shares of the simulations that elements have beside the sources of a plant room, which
/// runs as a whole and gains most by its jobs: of a whole search, and of touching up.
const WORKS_SHARE: usize = 32;
const WORKS_TOUCH_UP_SHARE: usize = 4;

/// Most rounds of touching up, and what one must gain for another [minor].
const MOST_ROUNDS: usize = 12;
const WORTH_A_ROUND: f64 = 1.0;

/// Improves a candidate, but not by moves that were tried in vain.
pub(crate) fn polish(
    judge: &mut Judge<'_>,
    best: Candidate,
    search: Search<'_>,
    vain: &mut Vain,
) -> Candidate {
    // Of a plant room most of the time goes to its jobs, which were searched for before.
    if search.is_thorough() && !judge.plant.has_works() {
        together(judge, best, search, vain)
    } else {
        hunted(judge, best, search, vain)
    }
}

/// Improves a candidate by a search from where it stands.
pub(super) fn hunted(
    judge: &mut Judge<'_>,
    best: Candidate,
    search: Search<'_>,
    vain: &mut Vain,
) -> Candidate {
    let best = settled(judge, best);
    let Search { duals, turn, .. } = search;
    let is_whole = search.is_whole();
    let mut hunt = Hunt { trial: best.clone(), best, duals, left: 0, is_whole, vain, turn };
    let has_works = judge.plant.has_works();
    if !is_whole {
        let simulations = search.simulations / if has_works { WORKS_TOUCH_UP_SHARE } else { 1 };
        hunt.touch_up(judge, Search { simulations, ..search });
        return hunt.best;
    }
    let is_thorough = search.is_thorough();
    let all = search.simulations / if has_works { WORKS_SHARE } else { 1 };
    let kept = if is_thorough { all / FOR_THE_FINEST } else { 0 };
    hunt.left = all - kept;
    hunt.make_up(judge);
    hunt.descend(judge, &QUANTA[..2]);
    loop {
        let before = hunt.best.score;
        rebuild(&mut hunt, judge);
        hunt.descend(judge, &QUANTA);
        if hunt.left == 0 || hunt.best.score > before - GAIN {
            break;
        }
    }
    if !is_thorough {
        hunt.shaken(judge);
        return hunt.best;
    }
    hunt.descend(judge, &FINEST);
    hunt.shaken(judge);
    hunt.left += kept;
    hunt.descend(judge, &FINEST);
    hunt.best
}

/// A search on its way.
pub(super) struct Hunt<'a> {
    pub(super) best: Candidate,
    pub(super) trial: Candidate,
    pub(super) duals: Duals<'a>,
    /// Simulations left.
    pub(super) left: usize,
    /// Whether there is time for every move.
    is_whole: bool,
    vain: &'a mut Vain,
    turn: usize,
}

impl Hunt<'_> {
    /// Every move of a quantum, the most promising first.
    fn found(&self, judge: &mut Judge<'_>, quantum: f64) -> Vec<Move> {
        let best = &self.best;
        let worths = Worths::new(judge, best, self.duals, quantum);
        let mut found = moves(judge, best, &worths, quantum);
        found.extend(repacks(judge, best, &worths, quantum));
        if self.is_whole {
            found.extend(bargains(judge, best, &worths, quantum));
        }
        if quantum <= FINEST[0] {
            // Nobody switches for so little.
            let runs = |&(heater, slot, kwh): &(usize, usize, f64)| {
                kwh < 0.0 || best.energies[heater][slot] > NOTHING
            };
            found.retain(|change| change.changes.iter().all(runs));
        }
        let problem = judge.problem();
        found.retain(|change| !self.vain.holds(&Vain::key_of(problem, change), self.turn));
        found.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        found
    }

    /// Tries the most promising moves of one quantum, and in turn some of the others:
    /// the next plan goes on where this one stops. What helped is followed up, so a
    /// house that did not go as expected gets more.
    fn touch_up(&mut self, judge: &mut Judge<'_>, search: Search<'_>) {
        for round in 0..MOST_ROUNDS {
            let before = self.best.score;
            let quantum = QUANTA[(search.turn + round) % QUANTA.len()];
            let found = self.found(judge, quantum);
            let first = (search.simulations / 2).min(found.len());
            let (top, rest) = found.split_at(first);
            let skipped = search.turn / QUANTA.len() * first % rest.len().max(1);
            self.left = search.simulations;
            for change in top.iter().chain(rest.iter().skip(skipped)).chain(rest) {
                if self.left == 0 {
                    break;
                }
                self.attempt(judge, change);
            }
            if before - self.best.score < WORTH_A_ROUND {
                return;
            }
        }
    }

    /// Improves until no move does, or the simulations are used up.
    fn descend(&mut self, judge: &mut Judge<'_>, quanta: &[f64]) {
        for &quantum in quanta {
            loop {
                let before = self.best.score;
                for change in self.found(judge, quantum) {
                    if self.left == 0 {
                        return;
                    }
                    self.attempt(judge, &change);
                }
                if self.best.score > before - GAIN {
                    break;
                }
            }
        }
    }

    /// Spends what is left on shaking the plan out of a hollow and descending again.
    fn shaken(&mut self, judge: &mut Judge<'_>) {
        let mut turn = 0;
        while self.left > 0 {
            let worths = Worths::new(judge, &self.best, self.duals, QUANTA[0]);
            let Some(change) = joins(judge, &self.best, &worths).into_iter().nth(turn) else {
                return;
            };
            turn += 1;
            self.left -= 1;
            let before = self.best.clone();
            if !self.run(judge, &change) {
                continue;
            }
            self.best = settled(judge, self.trial.clone());
            self.vain.tried.clear();
            self.descend(judge, &QUANTA[..2]);
            if self.best.score < before.score + NEARLY {
                self.descend(judge, &QUANTA[2..]);
            }
            if self.best.score < before.score - GAIN {
                turn = 0;
            } else {
                self.best = before;
            }
        }
    }

    /// Tries a change and keeps it if the plant scores it better. One that would pay
    /// if nothing were short is tried with heat to make up for it where there is time for
    /// that: of a hundred such trials while touching up one is kept.
    fn attempt(&mut self, judge: &mut Judge<'_>, change: &Move) {
        if !applies(judge, &self.best, change) {
            return;
        }
        self.left -= 1;
        if !self.run(judge, change) {
            return;
        }
        let cost = self.trial.score - self.best.score;
        if self.take(judge) {
            return;
        }
        self.vain.book(Vain::key_of(judge.problem(), change), cost, self.turn);
        let short = self.trial.shortfall - self.best.shortfall;
        let saved = self.best.score + short - self.trial.score;
        if !self.is_whole || short < GAIN || saved < WORTH_A_REPAIR {
            return;
        }
        for more in repairs(judge, &self.best, &self.trial, saved) {
            let mut whole = change.clone();
            whole.changes.push(more);
            if self.left == 0 {
                return;
            }
            if applies(judge, &self.best, &whole) {
                self.left -= 1;
                if self.run(judge, &whole) && self.take(judge) {
                    return;
                }
            }
        }
    }

    /// Takes the trial over if it is better, as it can be published.
    fn take(&mut self, judge: &mut Judge<'_>) -> bool {
        if self.trial.score >= self.best.score - GAIN {
            return false;
        }
        let settled = settled(judge, self.trial.clone());
        let better = settled.score < self.best.score - GAIN;
        if better {
            self.best = settled;
        }
        better
    }

    /// Makes the trial of a change; false if it cannot be commanded.
    pub(super) fn run(&mut self, judge: &mut Judge<'_>, change: &Move) -> bool {
        self.trial.clone_from(&self.best);
        let mut changed = Vec::with_capacity(change.changes.len());
        for &(heater, slot, kwh) in &change.changes {
            let (least, most) = judge.range_kwh(heater, slot);
            let own = &mut self.trial.energies[heater][slot];
            *own = (*own + kwh).clamp(least.min(*own), most.max(*own));
            changed.push(slot);
        }
        judge.rerun(&self.best, &mut self.trial, &changed)
    }
}

/// Heat that might make up for what has become short in a trial and costs less than
/// was saved: a little to much, in the cheapest slots before it.
fn repairs(
    judge: &Judge<'_>,
    best: &Candidate,
    trial: &Candidate,
    saved: f64,
) -> Vec<(usize, usize, f64)> {
    let problem = judge.problem();
    let mut found = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let (now, then) = (&trial.outcome.stores[id.store], &best.outcome.stores[id.store]);
        let mut slots = now.slots().iter().zip(then.slots());
        let unmet = slots.position(|(now, then)| now.unmet_kwh > then.unmet_kwh + 1e-6);
        // Else something kept ready or hot throughout is short, by the end at least.
        let until = unmet.unwrap_or(problem.horizon.len());
        let price = |slot: usize| problem.import_price[slot].per_kwh();
        for kwh in REPAIRS_KWH {
            let fits = |slot: &usize| {
                judge.most_kwh(heater, *slot) - trial.energies[heater][*slot] >= kwh - 1e-9
                    && price(*slot) * kwh < saved
            };
            let mut places: Vec<usize> = Vec::new();
            for reach in REPAIR_REACHES {
                let before = (until.saturating_sub(reach)..until).filter(fits);
                places
                    .extend(before.min_by(|&a, &b| price(a).total_cmp(&price(b)).then(b.cmp(&a))));
            }
            places.dedup();
            found.extend(places.into_iter().map(|slot| (heater, slot, kwh)));
        }
    }
    found
}

/// Whether a change still fits the candidate, after others were kept.
fn applies(judge: &Judge<'_>, candidate: &Candidate, change: &Move) -> bool {
    change.changes.iter().all(|&(heater, slot, kwh)| {
        let after = candidate.energies[heater][slot] + kwh;
        let (least, most) = judge.range_kwh(heater, slot);
        // What did not fit the meter from the start need not.
        (after >= least - 1e-9 || kwh >= 0.0) && after <= most + 1e-9
    })
}
