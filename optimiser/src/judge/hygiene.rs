//! Whether a plan holds the pasteurisations that it is to hold.

use super::score::Judge;
use crate::plant::{Outcome, StoreTrace};
use crate::problem::Hygiene;
use crate::time::Instant;
use crate::water::heat_kwh;

/// A pasteurisation that stops just short of its temperature is none, and all of its
/// heat was spent for nothing: it weighs as if so much more were missing [K].
const UNDONE_K: f64 = 5.0;

impl Judge<'_> {
    /// Heat missing from pasteurisations that the plan holds [kWh]: where one is held at
    /// no time, what the program's own time for it lacks, so that a search knows where
    /// to add heat.
    pub(super) fn hygiene_short(&self, outcome: &Outcome) -> f64 {
        self.undone(outcome)
            .map(|(rule, start)| {
                let store = &self.problem.site.stores[rule.store];
                let coldest = self.coldest(&outcome.stores[rule.store], rule, start);
                let missing = (rule.temperature.celsius() - coldest).max(0.0) + UNDONE_K;
                heat_kwh(store.volume.litres(), missing)
            })
            .sum()
    }

    /// Slots in which pasteurisations of a store were to begin that are not held.
    pub(super) fn undone_slots(&self, outcome: &Outcome, store: usize) -> Vec<usize> {
        self.undone(outcome)
            .filter(|(rule, _)| rule.store == store)
            .filter_map(|(_, start)| self.problem.horizon.index_at(start))
            .collect()
    }

    /// Pasteurisations that the plan does not hold, and when the program had them.
    fn undone<'o>(
        &'o self,
        outcome: &'o Outcome,
    ) -> impl Iterator<Item = (&'o Hygiene, Instant)> + 'o {
        let rules = self.problem.hygiene.iter().zip(&self.holds);
        rules.filter_map(|(rule, start)| Some((rule, (*start)?))).filter(|(rule, _)| {
            let trace = &outcome.stores[rule.store];
            let horizon = &self.problem.horizon;
            trace.pasteurised(horizon, rule.temperature, rule.hold_seconds).is_none()
        })
    }

    /// The coldest water of a store while a pasteurisation was to be held [°C].
    fn coldest(&self, trace: &StoreTrace, rule: &Hygiene, start: Instant) -> f64 {
        let end = start + rule.hold_seconds;
        let slots = self.problem.horizon.slots().iter().zip(trace.slots());
        slots
            .filter(|(slot, _)| slot.start() < end && slot.end() > start)
            .map(|(_, record)| record.coldest)
            .fold(f64::INFINITY, f64::min)
    }
}
