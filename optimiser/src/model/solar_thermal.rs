//! Solar thermal collectors.
//!
//! Heat for each rung and sink is data: `Q = A·(η₀·G − a₁·ΔT − a₂·ΔT²)` with the
//! mean fluid as much warmer than the water as it takes to pass `Q`, and nothing
//! where the collector at rest is not warmer by what starts its pump, or the
//! water as warm as the sun may make it. Sinks share the pump's time.
//!
//! A pump station with a priority of its own is expected to keep it: heat in an
//! earlier sink is worth a little more to the program, so that it goes there
//! first, and it goes somewhere wherever it can.

use crate::problem::{Ambient, Problem};
use crate::site::{Collectors, SolarPriority};
use crate::water::KWH_PER_LITRE_KELVIN;

use super::duty::{Step, Task};

/// What the first sink of a station that chooses by itself earns for each kWh,
/// as a share of the price of what is short.
const STATION_PULL: f64 = 0.1;

/// A sink later in the order costs so much more for each kWh, where the program
/// chooses and all else is equal [minor].
const ORDER_COST: f64 = 1e-4;

/// What the collectors can do for a task in a slot.
pub(super) fn step(own: &Collectors, ambient: &Ambient, slot: usize, task: &Task) -> Step {
    let (Some(light), Some(air)) = (&ambient.collector_irradiance, &ambient.outdoor) else {
        return Step::NONE;
    };
    let (light, air) = (light[slot].watts_per_m2(), air[slot].celsius());
    let warmer = own.stagnation(air, light) - task.mean;
    if warmer < own.start_difference_k || task.mean >= own.limit.celsius() {
        return Step::NONE;
    }
    // The spread between flow and return is what the flow leaves of the heat.
    let through = 2.0 * own.flow.litres_per_minute() * 60.0 * KWH_PER_LITRE_KELVIN;
    let heat = own.heat_kw(task.mean, task.transfer.min(through), air, light);
    let kw = heat.min(task.most_kw);
    if kw <= 0.0 {
        return Step::NONE;
    }
    Step::new(kw, own.pump.kw() / kw, 0.0)
}

/// Cost of a kWh into the sink at a place of the order [minor].
pub(super) fn cost(problem: &Problem, own: &Collectors, place: usize) -> f64 {
    match own.priority {
        SolarPriority::Optimiser => place as f64 * ORDER_COST,
        SolarPriority::Absolute | SolarPriority::Relative => {
            let left = own.serves.len().saturating_sub(place) as f64;
            -STATION_PULL * problem.weights.short_per_kwh * left / own.serves.len().max(1) as f64
        }
    }
}
