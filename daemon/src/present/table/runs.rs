//! Slots that can share a row.

use chrono::NaiveDate;
use optimiser::schedule::{HeaterPlan, Reason, SlotPlan};
use optimiser::site::Route;
use optimiser::time::Instant;
use optimiser::units::Price;

use crate::present::{Plan, jobs, local, some};

/// Consecutive slots of one local day in which the same heaters are on for the
/// same reasons, or all are off.
pub(super) struct Run<'a> {
    pub(super) plan: &'a Plan<'a>,
    pub(super) slots: &'a [SlotPlan],
}

impl<'a> Run<'a> {
    pub(super) fn start(&self) -> Instant {
        self.slots[0].slot.start()
    }

    pub(super) fn end(&self) -> Instant {
        self.last().slot.end()
    }

    pub(super) fn last(&self) -> &'a SlotPlan {
        &self.slots[self.slots.len() - 1]
    }

    /// Lowest and highest of a price over the run.
    pub(super) fn range(&self, price: impl Fn(&SlotPlan) -> Price) -> (Price, Price) {
        let first = price(&self.slots[0]);
        self.slots.iter().map(price).fold((first, first), |(low, high), price| {
            (if price < low { price } else { low }, if price > high { price } else { high })
        })
    }

    /// The plans of one heater, slot by slot.
    pub(super) fn heater(&self, number: usize) -> impl Iterator<Item = &'a HeaterPlan> {
        self.slots.iter().map(move |slot| &slot.heaters[number])
    }
}

/// The rows of a plan, in order.
pub(super) fn of<'a>(plan: &'a Plan<'a>) -> Vec<Run<'a>> {
    plan.slots()
        .chunk_by(|a, b| Likeness::of(plan, a) == Likeness::of(plan, b))
        .map(|slots| Run { plan, slots })
        .collect()
}

/// What slots of one row have in common.
#[derive(PartialEq)]
struct Likeness {
    day: NaiveDate,
    forecast: bool,
    /// Whether hot water arrives cold, so that such a slot stands alone.
    cold: bool,
    /// Why each heater is on; `None` where it is off.
    heaters: Vec<Option<Reason>>,
    /// What sources serve, and why.
    jobs: Vec<(Route, Reason)>,
}

impl Likeness {
    fn of(plan: &Plan<'_>, slot: &SlotPlan) -> Self {
        let jobs = slot.jobs.iter().filter(|job| jobs::runs(job));
        let heaters = slot.heaters.iter().map(|heater| some(heater.energy).then_some(heater.why));
        Self {
            day: local::date(plan.zone(), slot.slot.start()),
            forecast: plan.is_forecast(slot.slot),
            cold: slot.stores.iter().any(|store| store.unmet_kwh >= 0.005),
            heaters: heaters.collect(),
            jobs: jobs.map(|job| (job.route, job.why)).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::present::sample;
    use crate::present::totals::Flows;

    #[test]
    fn runs_cover_every_slot_once_and_keep_the_sums() {
        for sample in sample::all() {
            let plan = sample.plan();
            let runs = of(&plan);
            assert!(runs.len() < plan.slots().len());
            let slots: Vec<_> = runs.iter().flat_map(|run| run.slots).cloned().collect();
            assert_eq!(slots, sample.schedule.slots);
            let import: f64 = runs.iter().map(|run| Flows::of(run.slots).import).sum();
            assert!((import - Flows::of(plan.slots()).import).abs() < 1e-9);
        }
    }

    #[test]
    fn no_run_crosses_midnight_or_the_end_of_published_prices() {
        let sample = sample::autumn();
        let plan = sample.plan();
        for run in of(&plan) {
            let day = |instant| local::date(plan.zone(), instant);
            assert_eq!(day(run.start()), day(run.end() + -1));
            assert!(run.start() >= plan.published_until || run.end() <= plan.published_until);
        }
    }
}
