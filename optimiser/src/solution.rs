//! The linear program's answer in physical terms.

use crate::model::{Col, Formulation, Row, SlotColumns};
use crate::problem::{HeaterId, Problem};
use crate::solve::Answer;

/// Flows of one slot, in kWh unless said otherwise. Import and export are what
/// the meter's two registers count.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SlotFlows {
    /// From the grid.
    pub import: f64,
    /// To the grid.
    pub export: f64,
    /// PV used.
    pub pv: f64,
    /// Load that could not be served, in a softened program.
    pub missing: f64,
    /// AC energy into the battery.
    pub charge: f64,
    /// AC energy out of the battery.
    pub discharge: f64,
    /// Battery level at the end of the slot.
    pub battery: f64,
    /// Energy of each heater.
    pub heaters: Vec<f64>,
    /// Worth of one more kWh of heat through each heater [minor/kWh].
    pub heat_value: Vec<f64>,
    /// Worth of one more kWh at the house [minor/kWh].
    pub electricity_value: f64,
    /// Worth of one more kWh in the battery [minor/kWh]; zero without one.
    pub battery_value: f64,
    /// Each store.
    pub stores: Vec<StoreFlows>,
}

/// One store in one slot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoreFlows {
    /// Litres at or above each rung at the end of the slot, `[zone][rung − 1]`.
    pub litres: Vec<Vec<f64>>,
    /// Draw heat that arrives cold.
    pub unmet: f64,
    /// Heat missing from the reserve.
    pub reserve_short: f64,
}

/// A whole answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Objective of the program [minor].
    pub objective: f64,
    /// Heaters in the order of the flows.
    pub heaters: Vec<HeaterId>,
    /// Temperatures of the rungs of each store, mains first [°C].
    pub rungs: Vec<Vec<f64>>,
    /// Volumes of the zones of each store [L].
    pub zones: Vec<Vec<f64>>,
    /// Flows of each slot.
    pub slots: Vec<SlotFlows>,
    /// Heat missing from each promise.
    pub ready_short: Vec<f64>,
    /// Worth of what is left at the end [minor].
    pub end_value: f64,
}

impl Solution {
    /// Reads an answer to a formulation.
    pub fn new(problem: &Problem, formulation: &Formulation, answer: &Answer) -> Self {
        let layout = &formulation.layout;
        let value = |col: &Col| answer.values[col.0 as usize];
        // Tiny negative values are rounding of the solver, not flows.
        let flow = |col: &Col| value(col).max(0.0);
        let slots = (0..problem.horizon.len())
            .map(|slot| {
                let mut flows = slot_flows(&layout.slots[slot], &flow);
                flows.electricity_value = dual(answer, formulation.node_rows[slot]);
                flows.battery_value =
                    formulation.battery_rows[slot].map_or(0.0, |row| -dual(answer, row));
                flows.heat_value = layout
                    .heaters
                    .iter()
                    .map(|id| heat_value(formulation, answer, &flows, slot, *id))
                    .collect();
                for (store, own) in flows.stores.iter_mut().enumerate() {
                    own.unmet += formulation.demand.beyond[store][slot];
                }
                flows
            })
            .collect();
        let step_worth =
            |(col, step): (&Col, &crate::problem::ValueStep)| flow(col) * step.value.per_kwh();
        let store_ends = layout.store_ends.iter().zip(&problem.end_value.stores);
        let end_value = store_ends
            .flat_map(|(cols, steps)| cols.iter().zip(steps))
            .chain(layout.battery_ends.iter().zip(&problem.end_value.battery))
            .map(step_worth)
            .sum();
        Self {
            objective: answer.objective,
            heaters: layout.heaters.clone(),
            rungs: formulation.ladders.iter().map(|l| l.temperatures.clone()).collect(),
            zones: formulation.ladders.iter().map(|l| l.volumes.clone()).collect(),
            slots,
            ready_short: layout.ready_short.iter().map(flow).collect(),
            end_value,
        }
    }
}

fn dual(answer: &Answer, row: Row) -> f64 {
    answer.duals[row.0 as usize]
}

/// Worth of one more kWh through a heater in a slot: the best of all ways to
/// lift a litre that is there, from the rung it stands at to a higher one.
/// Zero where nothing can be lifted.
///
/// The dual of the heater's own balance is not used: where the heater is off it
/// may be anything up to the price.
fn heat_value(
    formulation: &Formulation,
    answer: &Answer,
    flows: &SlotFlows,
    slot: usize,
    id: HeaterId,
) -> f64 {
    let ladder = &formulation.ladders[id.store];
    let mut best = 0.0_f64;
    for zone in ladder.element_zone[id.element]..ladder.zones() {
        let litres = &flows.stores[id.store].litres[zone];
        let rows = &formulation.store_rows[slot][id.store][zone];
        let at_or_above = |rung: usize| match rung {
            0 => ladder.volumes[zone],
            _ => litres.get(rung - 1).copied().unwrap_or(0.0),
        };
        for from in 0..ladder.element_rung[id.element] {
            if at_or_above(from) - at_or_above(from + 1) < 1e-3 {
                continue;
            }
            let (mut worth, mut heat) = (0.0, 0.0);
            for to in from + 1..=ladder.element_rung[id.element] {
                worth -= dual(answer, rows[to - 1]);
                heat += ladder.step_kwh(to);
                best = best.max(worth / heat);
            }
        }
    }
    best
}

fn slot_flows(columns: &SlotColumns, flow: &impl Fn(&Col) -> f64) -> SlotFlows {
    SlotFlows {
        import: flow(&columns.import),
        export: flow(&columns.export),
        pv: flow(&columns.pv),
        missing: columns.missing.as_ref().map_or(0.0, flow),
        charge: columns.battery.as_ref().map_or(0.0, |b| flow(&b.charge)),
        discharge: columns.battery.as_ref().map_or(0.0, |b| flow(&b.discharge)),
        battery: columns.battery.as_ref().map_or(0.0, |b| flow(&b.level)),
        heaters: columns.heaters.iter().map(|h| flow(&h.energy)).collect(),
        heat_value: Vec::new(),
        electricity_value: 0.0,
        battery_value: 0.0,
        stores: columns
            .stores
            .iter()
            .map(|store| StoreFlows {
                litres: store.litres.iter().map(|zone| zone.iter().map(flow).collect()).collect(),
                unmet: store.classes.iter().map(|class| flow(&class.unmet)).sum(),
                reserve_short: flow(&store.reserve_short),
            })
            .collect(),
    }
}
