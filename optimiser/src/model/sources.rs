//! The sources of the plant room.
//!
//! For each route and step of its sink a column `q` holds the heat [kWh]. Per
//! source that does one job at a time:
//!
//! `Σ_{sinks, steps} q/Q(step) ≤ Δt`
//!
//! so that hot water and rooms, or two stores and a pool, share its minutes. Its
//! electricity `Σ q/COP(step)` stands in the electrical node.

use crate::problem::Problem;
use crate::site::Source;

use super::boiler;
use super::duty::{Duties, Step};
use super::layout::Layout;
use super::program::{Col, Program};

/// A sink later in the order of a solar pump station costs this much more for
/// each kWh, so that the order decides between sinks of equal worth [minor].
const ORDER_COST: f64 = 1e-4;

/// The columns of a slot, `[route][step]`.
pub(super) fn columns(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    resting: &[bool],
    slot: usize,
) -> Vec<Vec<Col>> {
    let hours = problem.horizon.slots()[slot].hours();
    let routes = duties.routes.iter().zip(&duties.steps[slot]).enumerate();
    routes
        .map(|(index, (route, steps))| {
            let allowed = !matches!(route.source, Source::HeatPump(pump) if resting[pump]);
            let order = index as f64 * ORDER_COST;
            let column = |step: &Step| {
                let cost = match (route.source, &problem.site.plant_room.boiler) {
                    (Source::Boiler, Some(own)) => boiler::cost(problem, own, step),
                    (Source::Collectors, _) => order,
                    _ => 0.0,
                };
                let most = if allowed { step.kw * hours } else { 0.0 };
                program.column(cost, 0.0, most)
            };
            steps.iter().map(column).collect()
        })
        .collect()
}

/// Adds the rows that share a source's minutes in a slot.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) {
    let hours = problem.horizon.slots()[slot].hours();
    let columns = &layout.slots[slot].routes;
    let mut first = 0;
    while first < duties.routes.len() {
        let source = duties.routes[first].source;
        let count = duties.routes[first..].iter().take_while(|r| r.source == source).count();
        // The circuits of a buffer run beside each other.
        if source != Source::Buffer {
            let parts = first..first + count;
            let terms: Vec<_> = parts
                .flat_map(|route| columns[route].iter().zip(&duties.steps[slot][route]))
                .filter(|(_, step)| step.kw > 0.0)
                .map(|(&col, step)| (col, 1.0 / step.kw))
                .collect();
            program.row(f64::NEG_INFINITY, hours, terms);
        }
        first += count;
    }
}
