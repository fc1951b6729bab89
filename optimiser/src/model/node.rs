//! The electrical node of the house.
//!
//! `import + pv + discharge = base load + Σ p + Σ q/COP + charge + export`, for
//! each slot, with `q` the heat of the plant room's sources and the pumps of return
//! loops in the base load,
//! where export earns more than import costs
//! `export ≤ max(0, pv − base load) + discharge`, so that nothing is bought to be
//! sold, and for elements that are not modulating the flow that the half-hour
//! mean hides:
//!
//! `import + discharge ≥ Σ q`, where `q` is what an element draws beyond the
//! surplus `S = (pv − base load)/Δt` while on: `q = p·max(0, P − S)/P` on/off. For
//! stages `s_0 = 0 < s_1 < … < s_n` the least `q` is the lower convex envelope
//! of the points `(s_i·Δt, max(0, s_i − S)·Δt)`.

use crate::problem::Problem;
use crate::site::Control;
use crate::time::Slot;

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Program, Row};

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) -> Row {
    let columns = &layout.slots[slot];
    let base = problem.base_load[slot].kwh();
    let mut terms = vec![(columns.import, 1.0), (columns.pv, 1.0), (columns.export, -1.0)];
    if let Some(battery) = columns.battery {
        terms.push((battery.discharge, 1.0));
        terms.push((battery.charge, -1.0));
    }
    terms.extend(columns.missing.map(|missing| (missing, 1.0)));
    terms.extend(columns.heaters.iter().map(|h| (h.energy, -1.0)));
    let sources = duties.electricity(columns, slot);
    terms.extend(sources.map(|(part, share)| (part, -share)));
    let base = base + circulation_kwh(problem, slot);
    let node = program.row(base, base, terms);
    export_row(program, problem, layout, slot);
    coincidence_rows(program, problem, layout, slot);
    node
}

fn export_row(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let surplus = (problem.pv[slot].kwh() - problem.base_load[slot].kwh()).max(0.0);
    let tempting = problem.export_price[slot] > problem.import_price[slot];
    let most = if tempting { surplus } else { f64::INFINITY };
    let discharge = columns.battery.map(|battery| (battery.discharge, -1.0));
    program.row(f64::NEG_INFINITY, most, [(columns.export, 1.0)].into_iter().chain(discharge));
}

fn coincidence_rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let hours = problem.horizon.slots()[slot].hours();
    let surplus = surplus_kw(problem, slot);
    let beyond = |kw: f64| (kw - surplus).max(0.0);
    let mut from_meter = vec![(columns.import, 1.0)];
    let feeds = problem.site.battery.is_some_and(|b| b.feeds_heaters);
    if let (Some(battery), true) = (columns.battery, feeds) {
        from_meter.push((battery.discharge, 1.0));
    }
    let others = from_meter.len();
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let element = &problem.site.stores[id.store].elements[id.element];
        match (&element.control, heater.coincident) {
            (Control::OnOff, _) => {
                let kw = element.power.kw();
                from_meter.push((heater.energy, -beyond(kw) / kw));
            }
            (Control::Staged(powers), Some(coincident)) => {
                from_meter.push((coincident, -1.0));
                let mut below = 0.0;
                for step in powers.iter().map(|p| p.kw()) {
                    let slope = (beyond(step) - beyond(below)) / (step - below);
                    let offset = (beyond(below) - slope * below) * hours;
                    let terms = [(coincident, 1.0), (heater.energy, -slope)];
                    program.row(offset, f64::INFINITY, terms);
                    below = step;
                }
            }
            _ => {}
        }
    }
    if from_meter.len() > others {
        // Without a surplus the node already says it.
        let lower = if surplus > 0.0 { 0.0 } else { f64::NEG_INFINITY };
        program.row(lower, f64::INFINITY, from_meter);
    }
}

/// Electricity of the pumps of return loops in a slot, should their thermostats
/// let them run [kWh].
pub(crate) fn circulation_kwh(problem: &Problem, slot: usize) -> f64 {
    let span = problem.horizon.slots()[slot];
    let runs = problem.ambient.loop_runs.iter().filter_map(|run| {
        let pump = problem.site.stores[run.store].return_loop?.pump;
        let on = Slot::new(run.start, run.start + run.seconds)?;
        Some(pump.kw() * on.overlap_seconds(span) as f64 / 3_600.0)
    });
    runs.sum()
}

/// PV beyond the base load in a slot, as power [kW].
pub(super) fn surplus_kw(problem: &Problem, slot: usize) -> f64 {
    let spare = problem.pv[slot].kwh() - problem.base_load[slot].kwh();
    (spare / problem.horizon.slots()[slot].hours()).max(0.0)
}
