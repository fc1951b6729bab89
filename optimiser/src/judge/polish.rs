//! Direct search on the simulated plant.
//!
//! Moves of a quantum of energy, from coarse to fine, of whole stretches, and of
//! what the battery is told. Those that promise most by the meter of each slot
//! and the program's duals are tried first; whatever the plant scores better is
//! kept.

use super::candidate::Candidate;
use super::charging;
use super::moves::{Move, moves};
use super::repack::{joins, repacks};
use super::score::Judge;
use super::worths::{Duals, Worths};

/// Quanta of the search, as shares of what an element can use in half an hour.
const QUANTA: [f64; 4] = [1.0, 0.4, 0.15, 0.05];

/// A better score than this is worth a change [minor].
const GAIN: f64 = 1e-3;

/// How a candidate is searched around.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search<'a> {
    /// Worth of heat and charge by the program.
    pub(crate) duals: Duals<'a>,
    /// Most simulations.
    pub(crate) simulations: usize,
    /// Which part of the moves has its turn, where there is no time for all.
    pub(crate) turn: usize,
}

/// Fewer simulations than this are not enough to try every move.
const WHOLE_SEARCH: usize = 200;

/// Fewer simulations than this are not worth a shake.
const SHAKE_WORTH: usize = 60;

/// Most rounds of touching up, and what one must gain for another [minor].
const MOST_ROUNDS: usize = 12;
const WORTH_A_ROUND: f64 = 1.0;

/// Improves a candidate.
pub(crate) fn polish(judge: &mut Judge<'_>, best: Candidate, search: Search<'_>) -> Candidate {
    let mut hunt = Hunt { trial: best.clone(), best, duals: search.duals, left: 0 };
    if search.simulations < WHOLE_SEARCH {
        hunt.touch_up(judge, search);
        return hunt.best;
    }
    hunt.left = search.simulations;
    hunt.descend(judge);
    // What is left of the simulations goes into shaking the plan out of a
    // hollow and descending again.
    let mut turn = 0;
    while hunt.left > SHAKE_WORTH {
        let before = hunt.best.clone();
        if !hunt.shake(judge, &mut turn) {
            break;
        }
        hunt.descend(judge);
        if hunt.best.score < before.score - GAIN {
            turn = 0;
        } else {
            hunt.best = before;
        }
    }
    hunt.best
}

/// A search on its way.
struct Hunt<'a> {
    best: Candidate,
    trial: Candidate,
    duals: Duals<'a>,
    /// Simulations left.
    left: usize,
}

impl Hunt<'_> {
    /// Every move of a quantum, the most promising first.
    fn found(&self, judge: &mut Judge<'_>, quantum: f64) -> Vec<Move> {
        let best = &self.best;
        let worths = Worths::new(judge, best, self.duals, quantum);
        let mut found = moves(judge, best, &worths, quantum);
        found.extend(repacks(judge, best, &worths, quantum));
        found.extend(charging::changes(judge, best, self.duals));
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
    fn descend(&mut self, judge: &mut Judge<'_>) {
        for quantum in QUANTA {
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

    /// Moves the heat of the next stretch elsewhere, whatever the score; false when
    /// every stretch had its turn.
    fn shake(&mut self, judge: &mut Judge<'_>, turn: &mut usize) -> bool {
        let worths = Worths::new(judge, &self.best, self.duals, QUANTA[0]);
        let jumps = joins(judge, &self.best, &worths);
        while let Some(change) = jumps.get(*turn) {
            *turn += 1;
            if self.run(judge, change) {
                std::mem::swap(&mut self.best, &mut self.trial);
                return true;
            }
        }
        false
    }

    /// Tries a change and keeps it if the plant scores it better.
    fn attempt(&mut self, judge: &mut Judge<'_>, change: &Move) {
        if applies(judge, &self.best, change) {
            self.left -= 1;
            if self.run(judge, change) && self.trial.score < self.best.score - GAIN {
                std::mem::swap(&mut self.best, &mut self.trial);
            }
        }
    }

    /// Makes the trial of a change; false if it cannot be commanded.
    fn run(&mut self, judge: &mut Judge<'_>, change: &Move) -> bool {
        self.trial.clone_from(&self.best);
        let mut changed = Vec::with_capacity(change.changes.len() + change.battery.len());
        for &(heater, slot, kwh) in &change.changes {
            let (least, most) = judge.range_kwh(heater, slot);
            let own = &mut self.trial.energies[heater][slot];
            *own = (*own + kwh).clamp(least.min(*own), most.max(*own));
            changed.push(slot);
        }
        for &(slot, command) in &change.battery {
            self.trial.commands.battery[slot] = command;
            changed.push(slot);
        }
        judge.rerun(&self.best, &mut self.trial, &changed)
    }
}

/// Whether a change still fits the candidate, after others were kept.
fn applies(judge: &Judge<'_>, candidate: &Candidate, change: &Move) -> bool {
    let heat = change.changes.iter().all(|&(heater, slot, kwh)| {
        let after = candidate.energies[heater][slot] + kwh;
        let (least, most) = judge.range_kwh(heater, slot);
        // What did not fit the meter from the start need not.
        (after >= least - 1e-9 || kwh >= 0.0) && after <= most + 1e-9
    });
    heat && change.battery.iter().all(|&(slot, told)| candidate.commands.battery[slot] != told)
}
