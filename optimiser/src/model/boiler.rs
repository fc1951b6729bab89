//! The boiler: `fuel = heat/η`, `Σ heat/P ≤ Δt`, one job at a time; heat costs
//! the price of its fuel. One that is back-up only costs as much more as keeps
//! it off wherever anything else can keep what was promised.

use crate::physics::coil::SPREAD_K;
use crate::problem::Problem;
use crate::site::Boiler;

use super::duty::{Step, Task};

/// What the boiler can do for a task.
pub(super) fn step(boiler: &Boiler, task: &Task) -> Step {
    let warmest = boiler.flow_limit.celsius() - if task.transfer.is_finite() { 0.5 * SPREAD_K } else { 0.0 };
    let power = boiler.power.kw().min(task.most_kw);
    let kw = if task.transfer.is_finite() {
        power.min(task.transfer * (warmest - task.mean) / 1_000.0)
    } else {
        power
    };
    if kw <= 0.0 || task.end > warmest {
        return Step::NONE;
    }
    Step {
        kw,
        electricity: boiler.auxiliary.kw() / kw,
        fuel: 1.0 / boiler.efficiency.value(),
    }
}

/// Cost of a kWh of heat beside its electricity [minor].
pub(super) fn cost(problem: &Problem, boiler: &Boiler, step: &Step) -> f64 {
    let back_up = if boiler.back_up_only { 0.5 * problem.weights.short_per_kwh } else { 0.0 };
    step.fuel * boiler.fuel_price.per_kwh() + back_up
}
