//! The ladder of each store.
//!
//! - `V_z ≥ H[z,1] ≥ … ≥ H[z,K] ≥ 0`
//! - `H[z,k,t] = H[z,k,t−1] − d[z,k]·(H[z,k,t−1] − H[z,k+1,t−1]) + Σ_e u[e,z,k]
//!   + m[z−1,k] − m[z,k] − [z = top]·Σ_{j≥k} x[j]`
//!
//! with `d` the share that standing loss lowers by one rung, and `m ≥ 0` the
//! water that rises because what is warmer is lighter.

use crate::problem::Problem;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::{Program, Row};

/// Adds the rows of a slot; returns the balances, `[store][z][k − 1]`.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    layout: &Layout,
    slot: usize,
) -> Vec<Vec<Vec<Row>>> {
    let hours = problem.horizon.slots()[slot].hours();
    let mut balances = Vec::with_capacity(ladders.len());
    for (store, ladder) in ladders.iter().enumerate() {
        let start = (slot == 0).then(|| ladder.litres(&problem.state.stores[store]));
        let mut own = Vec::with_capacity(ladder.zones());
        for zone in 0..ladder.zones() {
            let rungs = 1..=ladder.rungs();
            own.push(
                rungs
                    .map(|rung| {
                        let at = (slot, store, zone, rung);
                        balance(program, ladder, layout, at, hours, start.as_ref())
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

fn balance(
    program: &mut Program,
    ladder: &Ladder,
    layout: &Layout,
    (slot, store, zone, rung): (usize, usize, usize, usize),
    hours: f64,
    start: Option<&Vec<Vec<f64>>>,
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
    } else {
        let previous = &layout.slots[slot - 1].stores[store].litres[zone];
        terms.push((previous[k], decay - 1.0));
        if let Some(&higher) = previous.get(k + 1) {
            terms.push((higher, -decay));
        }
    }
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
