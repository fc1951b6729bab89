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
use crate::site::{Route, Source};

use super::duty::{Duties, Step};
use super::layout::Layout;
use super::program::{Col, Program};
use super::refinement::Refinement;
use super::{boiler, solar_thermal};

/// The columns of a slot, `[route][step]`.
pub(super) fn columns(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    refinement: &Refinement,
    slot: usize,
) -> Vec<Vec<Col>> {
    let hours = problem.horizon.slots()[slot].hours();
    let routes = duties.routes.iter().zip(&duties.steps[slot]);
    routes
        .map(|(route, steps)| {
            let allowed = !refinement.rests(route.source, slot);
            let column = |step: &Step| {
                let most = if allowed { step.most_kw * hours } else { 0.0 };
                program.column(cost(problem, *route, step), 0.0, most)
            };
            steps.iter().map(column).collect()
        })
        .collect()
}

/// Cost of a kWh of heat beside its electricity [minor].
fn cost(problem: &Problem, route: Route, step: &Step) -> f64 {
    let room = &problem.site.plant_room;
    match (route.source, &room.boiler, &room.collectors) {
        (Source::Boiler, Some(own), _) => boiler::cost(problem, own, step),
        (Source::Collectors, _, Some(own)) => {
            let place = own.serves.iter().position(|sink| *sink == route.sink).unwrap_or(0);
            solar_thermal::cost(problem, own, place)
        }
        _ => 0.0,
    }
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
                .map(|(&col, step)| (col, step.hours_per_kwh()))
                .collect();
            program.row(f64::NEG_INFINITY, hours, terms);
        }
        first += count;
    }
}
