//! Direct search over the jobs of heat pumps and boiler: take heat out of a slot,
//! carry it to a cheaper or a later one, add it before what is short, or let a
//! source give what an element gave. As with elements, moves that save most by the
//! program's values come first and only the plant decides.

mod chains;
mod draws;
mod kept_hot;
mod mend;
mod moves;

use crate::plan::{Wish, commanded};
use crate::site::Route;
use crate::solution::Solution;

use super::candidate::Candidate;
use super::polish::{GAIN, Key, Search, Vain};
use super::score::Judge;
use chains::Chains;
use moves::{Change, Move};

/// Shares of the simulations that a plan of elements has: of a whole search, and
/// where a plan is touched up.
const SHARE: usize = 8;
const TOUCH_UP_SHARE: usize = 2;

/// Quanta of the search, as shares of what a source makes in half an hour.
const QUANTA: [f64; 4] = [1.0, 0.4, 0.15, 0.05];

/// How often rooms and a pool that are too cold are warmed, and again after a search.
const MENDS: usize = 3;

/// Less energy than this does not pass the meter [kWh].
const NO_FLOW: f64 = 1e-3;

/// A candidate with the heat that its jobs are made of.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    pub(crate) candidate: Candidate,
    /// What is wished of each route, `[route][slot]`.
    pub(crate) wishes: Vec<Vec<Wish>>,
}

/// Improves the jobs of a draft, but not by moves that were tried in vain.
pub(crate) fn polish_jobs(
    judge: &mut Judge<'_>,
    mut draft: Draft,
    solution: &Solution,
    search: Search<'_>,
    vain: &mut Vain,
) -> Draft {
    let routes: &[Route] = &solution.routes;
    if routes.is_empty() {
        return draft;
    }
    let chains = Chains::new(judge.problem(), routes);
    let mut own = Jobs { chains, solution, duals: search.values, values: Vec::new() };
    own.reprice(judge, &draft);
    if search.is_whole() {
        own.descend(judge, &mut draft, search.simulations / SHARE);
        if own.keep_hot(judge, &mut draft) {
            own.descend(judge, &mut draft, search.simulations / SHARE);
        }
    } else {
        own.touch_up(judge, &mut draft, search, vain);
    }
    draft
}

/// What the search knows of the sources.
struct Jobs<'a> {
    chains: Chains<'a>,
    solution: &'a Solution,
    /// Worth of electricity in each slot by the program [minor/kWh].
    duals: &'a [f64],
    /// What one more kWh costs at the house as the plant has it [minor/kWh].
    values: Vec<f64>,
}

impl Jobs<'_> {
    /// Prices every slot anew. The program's own values say little where nothing passes
    /// the meter.
    fn reprice(&mut self, judge: &Judge<'_>, draft: &Draft) {
        let problem = judge.problem();
        let price = |slot: usize| {
            let house = &draft.candidate.outcome.house[slot];
            let import = problem.import_price[slot].per_kwh();
            let export = problem.export_price[slot].per_kwh();
            if house.import_kwh > NO_FLOW {
                import
            } else if problem.pv[slot].kwh() - house.pv_kwh > NO_FLOW {
                export.min(0.0)
            } else if house.export_kwh > NO_FLOW {
                export
            } else if problem.site.battery.is_some() {
                self.duals[slot].clamp(export.min(import), export.max(import))
            } else {
                import
            }
        };
        self.values = (0..self.duals.len()).map(price).collect();
    }

    /// What a kWh of a way costs in a slot [minor].
    fn cost(&self, chain: usize, slot: usize) -> f64 {
        self.chains.cost(chain, slot, self.values[slot])
    }

    /// What a kWh is worth where a way ends, by the program [minor].
    fn worth(&self, chain: usize, slot: usize) -> f64 {
        let last = self.chains.all[chain].routes.last();
        last.map_or(0.0, |&route| self.solution.slots[slot].routes[route].value)
    }

    /// Improves until no move does, or the simulations are used up.
    fn descend(&mut self, judge: &mut Judge<'_>, draft: &mut Draft, mut simulations: usize) {
        for quantum in QUANTA {
            self.mend_all(judge, draft);
            loop {
                let before = draft.candidate.score;
                self.reprice(judge, draft);
                for change in self.moves(judge, draft, quantum) {
                    if simulations == 0 {
                        return;
                    }
                    simulations -= 1;
                    self.attempt(judge, draft, &change);
                }
                if draft.candidate.score > before - GAIN {
                    break;
                }
            }
        }
        self.mend_all(judge, draft);
    }

    /// Warms what is too cold as long as that helps: rooms and pool, then water at the
    /// taps, which may take machines away from both.
    fn mend_all(&self, judge: &mut Judge<'_>, draft: &mut Draft) {
        for _ in 0..MENDS {
            let warmer = self.mend(judge, draft);
            if !self.serve(judge, draft) && !warmer {
                break;
            }
        }
    }

    /// Tries the most promising moves of one quantum, and in turn some of the others:
    /// the next plan goes on where this one stops.
    fn touch_up(
        &self,
        judge: &mut Judge<'_>,
        draft: &mut Draft,
        search: Search<'_>,
        vain: &mut Vain,
    ) {
        self.mend_all(judge, draft);
        let quantum = QUANTA[search.turn % QUANTA.len()];
        let mut simulations = search.simulations / TOUCH_UP_SHARE;
        let mut found = self.moves(judge, draft, quantum);
        found.retain(|change| !vain.holds(&self.key(change), search.turn));
        // The search over elements, which goes on after this one, puts heat where it is
        // short; that is dear where a machine could give it.
        found.sort_by_key(|change| !change.spares_an_element());
        let first = (simulations / 2).min(found.len());
        let (top, rest) = found.split_at(first);
        let skipped = search.turn / QUANTA.len() * first % rest.len().max(1);
        for change in top.iter().chain(rest.iter().skip(skipped)).chain(rest) {
            if simulations == 0 {
                return;
            }
            let before = draft.candidate.score;
            match self.attempt(judge, draft, change) {
                Attempt::Unfit => continue,
                Attempt::Kept => {}
                Attempt::Dearer(score) => {
                    vain.book(self.key(change), score - before, search.turn);
                }
            }
            simulations -= 1;
        }
    }

    /// A move as it is remembered: ways count behind the elements.
    fn key(&self, change: &Move) -> Key {
        let problem = self.chains.problem;
        let elements = problem.heaters().count();
        let changes = change.changes.iter().map(|change| match *change {
            Change::Chain(chain, slot, kwh) => (elements + chain, slot, kwh),
            Change::Element(heater, slot, kwh) => (heater, slot, kwh),
        });
        Vain::key(problem, changes)
    }

    /// Tries a change and keeps it if the plant scores it better.
    fn attempt(&self, judge: &mut Judge<'_>, draft: &mut Draft, change: &Move) -> Attempt {
        let mut changed = Vec::with_capacity(2 * change.changes.len());
        if !change.changes.iter().all(|change| self.applies(draft, change)) {
            return Attempt::Unfit;
        }
        let mut trial = draft.clone();
        for change in &change.changes {
            match *change {
                Change::Chain(chain, slot, kwh) => {
                    self.chains.add(&mut trial.wishes, chain, slot, kwh);
                    changed.extend([slot.saturating_sub(1), slot]);
                }
                Change::Element(heater, slot, kwh) => {
                    let own = &mut trial.candidate.energies[heater][slot];
                    *own = (*own + kwh).max(0.0);
                    changed.push(slot);
                }
            }
        }
        self.tried(judge, draft, trial, &changed)
    }

    fn applies(&self, draft: &Draft, change: &Change) -> bool {
        match *change {
            Change::Chain(chain, slot, kwh) if kwh > 0.0 => {
                self.chains.room_kwh(&draft.wishes, chain, slot) >= kwh - 1e-9
            }
            Change::Chain(chain, slot, kwh) => {
                self.chains.heat(&draft.wishes, chain, slot) >= -kwh - 1e-9
            }
            Change::Element(heater, slot, kwh) => {
                draft.candidate.energies[heater][slot] >= -kwh - 1e-9
            }
        }
    }

    /// Whether a trial is kept.
    fn keep(
        &self,
        judge: &mut Judge<'_>,
        draft: &mut Draft,
        trial: Draft,
        changed: &[usize],
    ) -> bool {
        matches!(self.tried(judge, draft, trial, changed), Attempt::Kept)
    }

    /// Places the jobs of a draft anew and runs the plant; false if they cannot be
    /// commanded.
    fn run(&self, judge: &mut Judge<'_>, draft: &mut Draft, changed: &[usize]) -> bool {
        draft.candidate.commands.jobs =
            commanded(judge.problem(), self.chains.routes, &draft.wishes);
        judge.rerun_whole(&mut draft.candidate, changed)
    }

    /// Runs a trial, and keeps what is better.
    fn tried(
        &self,
        judge: &mut Judge<'_>,
        draft: &mut Draft,
        mut trial: Draft,
        changed: &[usize],
    ) -> Attempt {
        if !self.run(judge, &mut trial, changed) {
            return Attempt::Unfit;
        }
        let score = trial.candidate.score;
        if score >= draft.candidate.score - GAIN {
            return Attempt::Dearer(score);
        }
        *draft = trial;
        Attempt::Kept
    }
}

/// What came of a trial.
enum Attempt {
    /// It cannot be commanded.
    Unfit,
    Kept,
    /// It scored so [minor].
    Dearer(f64),
}
