//! The electrical node of the house.
//!
//! `import + pv + discharge = base load + Σ p + charge + export`, for each slot,
//! and for elements that are not modulating the flow that the half-hour mean
//! hides:
//!
//! `import + discharge ≥ Σ q`, with `q ≥ max(0, s_i − S)/s_i`-wise share of the
//! energy at power `s_i` beyond the surplus `S = (pv − base load)/Δt` while on.
//! For stages `s_0 = 0 < s_1 < … < s_n` the least `q` is the lower convex
//! envelope of the points `(s_i·Δt, max(0, s_i − S)·Δt)`.

use crate::problem::Problem;

use super::layout::Layout;
use super::program::{Program, Row};

pub(super) fn rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) -> Row {
    let columns = &layout.slots[slot];
    let base = problem.base_load[slot].kwh();
    let mut terms = vec![(columns.import, 1.0), (columns.pv, 1.0), (columns.export, -1.0)];
    if let Some(battery) = columns.battery {
        terms.push((battery.discharge, 1.0));
        terms.push((battery.charge, -1.0));
    }
    terms.extend(columns.missing.map(|missing| (missing, 1.0)));
    terms.extend(columns.heaters.iter().map(|h| (h.energy, -1.0)));
    let node = program.row(base, base, terms);
    coincidence_rows(program, problem, layout, slot);
    node
}

fn coincidence_rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let hours = problem.horizon.slots()[slot].hours();
    let surplus = surplus_kw(problem, slot);
    let mut from_meter = vec![(columns.import, 1.0)];
    let feeds = problem.site.battery.is_some_and(|b| b.feeds_heaters);
    if let (Some(battery), true) = (columns.battery, feeds) {
        from_meter.push((battery.discharge, 1.0));
    }
    let mut any = false;
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let Some(coincident) = heater.coincident else { continue };
        any = true;
        from_meter.push((coincident, -1.0));
        let steps = problem.site.stores[id.store].elements[id.element].steps();
        let mut below = 0.0;
        for step in steps.iter().map(|p| p.kw()) {
            let beyond = |kw: f64| (kw - surplus).max(0.0);
            let slope = (beyond(step) - beyond(below)) / (step - below);
            let offset = (beyond(below) - slope * below) * hours;
            program.row(offset, f64::INFINITY, [(coincident, 1.0), (heater.energy, -slope)]);
            below = step;
        }
    }
    if any {
        program.row(0.0, f64::INFINITY, from_meter);
    }
}

/// PV beyond the base load in a slot, as power [kW].
pub(super) fn surplus_kw(problem: &Problem, slot: usize) -> f64 {
    let spare = problem.pv[slot].kwh() - problem.base_load[slot].kwh();
    (spare / problem.horizon.slots()[slot].hours()).max(0.0)
}
