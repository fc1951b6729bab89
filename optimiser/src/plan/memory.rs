//! What a plan leaves for the next one.
//!
//! In a loop the next problem is nearly the last one: time has moved on by a
//! slot, the house has not gone quite as expected, and now and then prices are
//! published. So the judged plan is carried over slot by slot and improved from
//! there, and what was settled once stays settled until there is news.

use crate::judge::Candidate;
use crate::plant::{Commands, HeaterCommand};
use crate::problem::Problem;
use crate::time::{Instant, Slot};
use crate::units::Energy;

/// A plan that begins later than this after the last one is a new one [s].
const FOLLOWS_SECONDS: i64 = 2 * 3_600;

/// Share of the prices, weighted by time, that may differ without being news.
const NEWS: f64 = 0.02;

/// The last plan, as the simulated plant judged it.
#[derive(Debug, Clone)]
pub(super) struct Memory {
    slots: Vec<Slot>,
    import: Vec<f64>,
    export: Vec<f64>,
    energies: Vec<Vec<f64>>,
    stores: usize,
    /// Energies of the program's answer, `[heater][slot]` [kWh].
    modelled: Vec<Vec<f64>>,
    /// Pasteurisations by store and due time, with the start of their hold.
    holds: Vec<(usize, Instant, Option<Instant>)>,
    /// How many plans went on from the one before without a break.
    pub(super) steps: usize,
}

impl Memory {
    pub(super) fn new(
        problem: &Problem,
        candidate: &Candidate,
        modelled: Vec<Vec<f64>>,
        holds: &[Option<Instant>],
        steps: usize,
    ) -> Self {
        let prices = |of: &crate::time::Series<crate::units::Price>| {
            of.values().iter().map(|p| p.per_kwh()).collect()
        };
        let rules = problem.hygiene.iter().zip(holds);
        Self {
            slots: problem.horizon.slots().to_vec(),
            import: prices(&problem.import_price),
            export: prices(&problem.export_price),
            energies: candidate.energies.clone(),
            stores: candidate.commands.pumps.len(),
            modelled,
            holds: rules.map(|(rule, hold)| (rule.store, rule.due, *hold)).collect(),
            steps,
        }
    }

    /// Whether a problem is the last one a little later, of the same house.
    pub(super) fn follows(&self, problem: &Problem) -> bool {
        let start = problem.horizon.start();
        let same_house = self.energies.len() == problem.heaters().count()
            && self.stores == problem.site.stores.len();
        self.slots.first().is_some_and(|first| {
            (0..=FOLLOWS_SECONDS).contains(&(start - first.start())) && same_house
        })
    }

    /// Whether prices have changed, or a pasteurisation has come or gone.
    pub(super) fn is_outdated(&self, problem: &Problem) -> bool {
        let (mut moved, mut all) = (0.0, 0.0);
        for (index, slot) in problem.horizon.slots().iter().enumerate() {
            for (old, seconds) in self.shares(*slot) {
                let import = problem.import_price[index].per_kwh();
                let export = problem.export_price[index].per_kwh();
                let weight = seconds as f64;
                moved += weight * (import - self.import[old]).abs();
                moved += weight * (export - self.export[old]).abs();
                all += weight * (self.import[old].abs() + self.export[old].abs());
            }
        }
        let known = |rule: &crate::problem::Hygiene| {
            self.holds.iter().any(|(store, due, _)| (*store, *due) == (rule.store, rule.due))
        };
        moved > NEWS * all || !problem.hygiene.iter().all(known)
    }

    /// The plan on the slots of a problem: what it did there, or, where it follows the
    /// program, moved as the program's answer has moved since; behind its end what
    /// `fresh` does.
    pub(super) fn carried(
        &self,
        problem: &Problem,
        fresh: &Commands,
        follows_program: bool,
    ) -> Commands {
        let mut commands = fresh.clone();
        let elements: Vec<_> = problem.site.stores.iter().flat_map(|s| &s.elements).collect();
        for (index, slot) in problem.horizon.slots().iter().enumerate() {
            let shares = self.shares(*slot);
            let covered: i64 = shares.iter().map(|(_, seconds)| seconds).sum();
            if covered < slot.seconds() {
                continue;
            }
            let part = |row: &[f64]| -> f64 {
                let own = shares.iter().map(|&(old, seconds)| {
                    row[old] * seconds as f64 / self.slots[old].seconds() as f64
                });
                own.sum()
            };
            for (heater, (row, element)) in commands.heaters.iter_mut().zip(&elements).enumerate() {
                let mut kwh = part(&self.energies[heater]);
                if follows_program {
                    kwh += row[index].energy().kwh() - part(&self.modelled[heater]);
                }
                row[index] = HeaterCommand::using(element, Energy::clamped(kwh.max(0.0)), *slot);
            }
        }
        commands
    }

    /// Old slots that a slot covers, and for how many seconds.
    fn shares(&self, slot: Slot) -> Vec<(usize, i64)> {
        let first = self.slots.partition_point(|old| old.end() <= slot.start());
        self.slots[first..]
            .iter()
            .take_while(|old| old.start() < slot.end())
            .enumerate()
            .map(|(i, old)| (first + i, old.overlap_seconds(slot)))
            .collect()
    }
}
