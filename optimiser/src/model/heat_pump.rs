//! Heat pumps.
//!
//! Into a store `Σ_k q[k]/Q_k ≤ Δt` with electricity `Σ_k q[k]/COP_k`, where
//! `q[k] = c·(θ_k − θ_{k−1})·u[k]` lifts `u[k]` litres by a rung. Capacity `Q_k` and
//! `COP_k` are those at the flow that passes `Q_k` through the coil into water
//! halfway between the rungs, `flow = (θ_{k−1} + θ_k)/2 + Q_k/UA + ΔT/2`, no hotter than
//! the unit makes and the sink takes. The same holds for the emitters of the rooms,
//! whose flow follows their heating curve, and for the exchanger of a pool.

use crate::problem::Ambient;
use crate::site::{HeatPump, HeatSource};

use super::duty::{Step, Task};

/// Rounds in which flow temperature and capacity settle on each other.
const ROUNDS: usize = 6;

/// What a heat pump can do for a task in a slot.
pub(super) fn step(pump: &HeatPump, ambient: &Ambient, slot: usize, task: &Task) -> Step {
    let series = match pump.source {
        HeatSource::Air => &ambient.outdoor,
        HeatSource::Ground => &ambient.ground,
    };
    let Some(source) = series.as_ref().map(|series| series[slot].celsius()) else {
        return Step::NONE;
    };
    let hottest = pump.flow_limit.celsius().min(task.hottest);
    // Nobody plans a unit that switches because its sink takes less than its least.
    let least = pump.least_share.value() * pump.at(source, hottest).capacity_kw;
    if task.passes(hottest, task.end) < least * (1.0 - 1e-6) {
        return Step::NONE;
    }
    let most = task.passes(hottest, task.mean);
    let (mut flow, mut kw) = (hottest, most);
    for _ in 0..ROUNDS {
        kw = pump.at(source, flow).capacity_kw.min(most);
        flow = task.flow_for(kw).min(hottest);
    }
    let cop = pump.at(source, flow).cop;
    if kw <= 0.0 || cop <= 0.0 {
        return Step::NONE;
    }
    Step::new(kw, 1.0 / cop + pump.auxiliary.kw() / kw, 0.0)
}
