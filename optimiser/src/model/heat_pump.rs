//! Heat pumps.
//!
//! Into a store `Σ_k q[k]/Q_k ≤ Δt` with electricity `Σ_k q[k]/COP_k`, where
//! `q[k] = c·(θ_k − θ_{k−1})·u[k]` lifts `u[k]` litres by a rung. Capacity `Q_k` and
//! `COP_k` are those at the flow that passes `Q_k` through the coil into water
//! halfway between the rungs, `flow = (θ_{k−1} + θ_k)/2 + Q_k/UA + ΔT/2`, no hotter than
//! the unit makes. Rooms take it at the flow of their heating curve.

use crate::physics::coil::SPREAD_K;
use crate::physics::heat_pump::rating;
use crate::problem::Ambient;
use crate::site::{HeatPump, HeatSource};

use super::duty::{Step, Task};

/// Rounds in which flow temperature and capacity settle on each other.
const ROUNDS: usize = 6;

/// A coil that passes less than this share of the capacity makes the unit
/// switch on and off, and nobody plans that.
const LEAST_PASSED: f64 = 0.1;

/// What a heat pump can do for a task in a slot.
pub(super) fn step(pump: &HeatPump, ambient: &Ambient, slot: usize, task: &Task) -> Step {
    let series = match pump.source {
        HeatSource::Air => &ambient.outdoor,
        HeatSource::Ground => &ambient.ground,
    };
    let Some(source) = series.as_ref().map(|series| series[slot].celsius()) else {
        return Step::NONE;
    };
    let hottest = pump.flow_limit.celsius();
    if !task.transfer.is_finite() {
        let flow = task.mean.min(hottest);
        let rated = rating(pump, source, flow);
        return made(pump, rated.capacity_kw.min(task.most_kw), rated.cop);
    }
    // At the end of the step the coil must still pass a part of what it makes.
    let passed = |flow: f64, water: f64| task.transfer * (flow - 0.5 * SPREAD_K - water) / 1_000.0;
    let full = rating(pump, source, hottest).capacity_kw;
    if passed(hottest, task.end) < LEAST_PASSED * full {
        return Step::NONE;
    }
    let mut flow = (task.mean + 2.0 * SPREAD_K).min(hottest);
    for _ in 0..ROUNDS {
        let capacity = rating(pump, source, flow).capacity_kw;
        let asked = task.mean + capacity * 1_000.0 / task.transfer + 0.5 * SPREAD_K;
        flow = asked.min(hottest);
    }
    let rated = rating(pump, source, flow);
    made(pump, rated.capacity_kw.min(passed(flow, task.mean)), rated.cop)
}

fn made(pump: &HeatPump, kw: f64, cop: f64) -> Step {
    if kw <= 0.0 || cop <= 0.0 {
        return Step::NONE;
    }
    Step { kw, electricity: 1.0 / cop + pump.auxiliary.kw() / kw, fuel: 0.0 }
}
