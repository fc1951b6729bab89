//! The independent check of a schedule: limits, balances, directions, money.
//!
//! It shares no code with the linear program. Nothing is published that it
//! refuses.

mod electricity;
mod heat;
mod jobs;

use crate::problem::Problem;
use crate::schedule::Schedule;
use crate::solution::Solution;
use crate::time::Slot;

/// Rounding that is no fault [kWh].
const TOLERANCE_KWH: f64 = 1e-4;

/// A rule that a schedule breaks.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{place}{}: {rule} (by {by:.6})", slot.map(|s| format!(" in the slot from {}", s.start())).unwrap_or_default())]
pub struct Violation {
    /// Slot in which it is broken, if it is about one.
    pub slot: Option<Slot>,
    /// Device or balance concerned.
    pub place: String,
    /// The rule.
    pub rule: &'static str,
    /// By how much, in the unit of the rule.
    pub by: f64,
}

/// Every rule that a schedule breaks. The ladder of the linear program is
/// checked too where its solution is given.
pub fn violations(
    problem: &Problem,
    schedule: &Schedule,
    solution: Option<&Solution>,
) -> Vec<Violation> {
    let mut report = Report::default();
    if schedule.slots.len() != problem.horizon.len() {
        report.add(None, "schedule", "it has a slot for each slot of the horizon", 1.0);
        return report.0;
    }
    electricity::check(problem, schedule, &mut report);
    heat::check_heaters(problem, schedule, &mut report);
    jobs::check(problem, schedule, &mut report);
    if let Some(solution) = solution {
        heat::check_ladder(problem, schedule, solution, &mut report);
    }
    check_money(problem, schedule, &mut report);
    report.0
}

/// Collects violations.
#[derive(Default)]
struct Report(Vec<Violation>);

impl Report {
    fn add(&mut self, slot: Option<Slot>, place: &str, rule: &'static str, by: f64) {
        self.0.push(Violation { slot, place: place.to_owned(), rule, by });
    }

    /// Notes a violation unless `excess` is within the tolerance; what is not
    /// a number is always one.
    fn within(&mut self, slot: Slot, place: &str, rule: &'static str, excess: f64, tolerance: f64) {
        if excess.is_nan() || excess > tolerance {
            self.add(Some(slot), place, rule, excess);
        }
    }

    fn equal(&mut self, slot: Slot, place: &str, rule: &'static str, left: f64, right: f64) {
        self.within(slot, place, rule, (left - right).abs(), TOLERANCE_KWH);
    }
}

fn check_money(problem: &Problem, schedule: &Schedule, report: &mut Report) {
    let wear = problem.site.battery.map_or(0.0, |b| b.wear.per_kwh());
    let fuel_price =
        problem.site.plant_room.boiler.as_ref().map_or(0.0, |b| b.fuel_price.per_kwh());
    let (mut import, mut income, mut worn, mut burnt) = (0.0, 0.0, 0.0, 0.0);
    for plan in &schedule.slots {
        import += (plan.import.kwh() + plan.swing.kwh()) * plan.import_price.per_kwh();
        income += (plan.export.kwh() + plan.swing.kwh()) * plan.export_price.per_kwh();
        worn += plan.discharge.kwh() * wear;
        burnt += plan.jobs.iter().map(|job| job.fuel.kwh()).sum::<f64>() * fuel_price;
    }
    let cost = &schedule.cost;
    for (rule, counted, stated) in [
        ("import costs what the slots add up to", import, cost.import),
        ("export earns what the slots add up to", income, cost.export_income),
        ("wear costs what the slots add up to", worn, cost.wear),
        ("fuel costs what the slots add up to", burnt, cost.fuel),
    ] {
        let off = (counted - stated).abs();
        if off.is_nan() || off > 1e-3 * (1.0 + counted.abs()) {
            report.add(None, "money", rule, off);
        }
    }
}
