//! The boiler: `fuel = heat/η`, `Σ heat/P ≤ Δt`, one job at a time; heat costs
//! the price of its fuel. One that is back-up only costs as much more as keeps
//! it off wherever anything else can keep what was promised.

use crate::problem::Problem;
use crate::site::Boiler;

use super::duty::{Step, Task};

/// What is added to the price of back-up heat, as a share of the price of
/// what is short.
const RELUCTANCE: f64 = 0.5;

/// What the boiler can do for a task.
pub(super) fn step(boiler: &Boiler, task: &Task) -> Step {
    let hottest = boiler.flow_limit.celsius().min(task.hottest);
    let kw = task.passes(hottest, task.mean).min(boiler.power.kw());
    if task.passes(hottest, task.end) <= 0.0 {
        return Step::NONE;
    }
    Step::new(kw, boiler.auxiliary.kw() / kw, 1.0 / boiler.efficiency.value())
}

/// Cost of a kWh of heat beside its electricity [minor].
pub(super) fn cost(problem: &Problem, boiler: &Boiler, step: &Step) -> f64 {
    let back_up =
        if boiler.back_up_only { RELUCTANCE * problem.weights.short_per_kwh } else { 0.0 };
    step.fuel * boiler.fuel_price.per_kwh() + back_up
}
