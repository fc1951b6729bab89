//! The ladder of each store.
//!
//! - `V_z ≥ H[z,1] ≥ … ≥ H[z,K] ≥ 0`
//! - `H[z,k,t] = H[z,k,t−1] − d[z,k]·(H[z,k,t−1] − H[z,k+1,t−1]) + Σ_e u[e,z,k]
//!   + Σ_coils q[k]/(c·(θ_k − θ_{k−1})) + m[z−1,k] − m[z,k] − [z = top]·Σ_{j≥k} x[j]`
//!
//! with `q` the heat of a coil in its own zone, `d` the share that standing loss
//! lowers by one rung, and `m ≥ 0` the water that rises because what is warmer
//! is lighter. A return loop adds to `d` and mixes, see [`super::return_loop`].

use crate::problem::Problem;
use crate::site::Sink;

use super::duty::Duties;
use super::ladder::Ladder;
use super::layout::Layout;
use super::program::{Col, Program, Row};
use super::return_loop::Circulation;

/// Adds the rows of a slot; returns the balances, `[store][z][k − 1]`.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) -> Vec<Vec<Vec<Row>>> {
    let hours = problem.horizon.slots()[slot].hours();
    let mut balances = Vec::with_capacity(ladders.len());
    for (store, ladder) in ladders.iter().enumerate() {
        let start = (slot == 0).then(|| ladder.litres(&problem.state.stores[store]));
        let circulation = Circulation::new(problem, ladder, store, slot);
        let mut own = Vec::with_capacity(ladder.zones());
        for zone in 0..ladder.zones() {
            let rungs = 1..=ladder.rungs();
            own.push(
                rungs
                    .map(|rung| {
                        let at = (slot, store, zone, rung);
                        let start = start.as_ref();
                        let coils = coil_terms(duties, ladder, layout, at);
                        let circulated = circulation.as_ref().map(|c| c.terms(ladder, zone, rung));
                        let more = More { coils, circulated: circulated.unwrap_or_default() };
                        balance(program, ladder, layout, at, hours, start, more)
                    })
                    .collect(),
            );
            let litres = &layout.slots[slot].stores[store].litres[zone];
            for pair in litres.windows(2) {
                program.row(0.0, f64::INFINITY, [(pair[0], 1.0), (pair[1], -1.0)]);
            }
        }
        balances.push(own);
    }
    balances
}

/// What a balance has beyond elements, losses, rise and draws.
struct More {
    /// Heat from coils with the litres that a kWh lifts.
    coils: Vec<(Col, f64)>,
    /// What the return loop does to the water before: zone, rung, share.
    circulated: Vec<(usize, usize, f64)>,
}

/// Heat that coils give to the water of a zone at a rung.
fn coil_terms(
    duties: &Duties,
    ladder: &Ladder,
    layout: &Layout,
    (slot, store, zone, rung): (usize, usize, usize, usize),
) -> Vec<(Col, f64)> {
    let columns = &layout.slots[slot].routes;
    let routes = duties.routes.iter().zip(columns);
    routes
        .filter(|(route, _)| {
            matches!(route.sink, Sink::Coil { store: own, coil }
                if own == store && ladder.coil_zone[coil] == zone)
        })
        .filter_map(|(_, parts)| Some((*parts.get(rung - 1)?, 1.0 / ladder.step_kwh(rung))))
        .collect()
}

fn balance(
    program: &mut Program,
    ladder: &Ladder,
    layout: &Layout,
    (slot, store, zone, rung): (usize, usize, usize, usize),
    hours: f64,
    start: Option<&Vec<Vec<f64>>>,
    more: More,
) -> Row {
    let columns = &layout.slots[slot];
    let own = &columns.stores[store];
    let decay = ladder.decay(zone, rung, hours);
    let k = rung - 1;
    let mut terms = vec![(own.litres[zone][k], 1.0)];
    let mut before = 0.0;
    if let Some(start) = start {
        let higher = start[zone].get(k + 1).copied().unwrap_or(0.0);
        before = (1.0 - decay) * start[zone][k] + decay * higher;
        for (from, rung, share) in more.circulated {
            before += share * start[from][rung - 1];
        }
    } else {
        let previous = &layout.slots[slot - 1].stores[store].litres[zone];
        terms.push((previous[k], decay - 1.0));
        if let Some(&higher) = previous.get(k + 1) {
            terms.push((higher, -decay));
        }
        let zones = &layout.slots[slot - 1].stores[store].litres;
        let circulated = more.circulated.into_iter();
        terms.extend(circulated.map(|(from, rung, share)| (zones[from][rung - 1], -share)));
    }
    terms.extend(more.coils.into_iter().map(|(part, litres)| (part, -litres)));
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let lift = zone
            .checked_sub(heater.lowest_zone)
            .filter(|_| id.store == store)
            .and_then(|z| heater.lifts.get(z)?.get(k));
        terms.extend(lift.map(|&u| (u, -1.0)));
    }
    if let Some(below) = zone.checked_sub(1) {
        terms.push((own.rise[below][k], -1.0));
    }
    match own.rise.get(zone) {
        Some(rise) => terms.push((rise[k], 1.0)),
        None => {
            for class in &own.classes {
                let first = ladder.rungs() + 1 - class.taken.len();
                terms.extend(
                    class
                        .taken
                        .iter()
                        .enumerate()
                        .filter(|(j, _)| first + j >= rung)
                        .map(|(_, &x)| (x, 1.0)),
                );
            }
        }
    }
    program.row(before, before, terms)
}
