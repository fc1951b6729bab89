//! One direction a slot, only in the slots where the plain program was seen to
//! cheat; which direction is decided by branching outside the program.
//!
//! - meter in: `export ≤ Σ q` and `export ≤ S·(Δt − p/P)` for each element that
//!   switches; meter out: the same for `import`; where `q` is what the element
//!   takes from the grid while on at full power, and the surplus `S` is given
//!   away only while it is off;
//! - battery in: `discharge ≤ 0`; battery out: `charge ≤ 0`;
//! - elements one after the other: `Σ p/P ≤ Δt` and
//!   `import + (P_max·Δt − Σ p) ≤ I·Δt`, so that each fits beside all else; those
//!   that never fit, and all where that leaves no answer, are off: `p ≤ 0`.

use crate::problem::Problem;
use crate::site::Control;

use super::layout::Layout;
use super::node::surplus_kw;
use super::program::{Col, Program};
use super::refinement::{Direction, Refinement};

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    layout: &Layout,
    refinement: &Refinement,
) {
    for (&slot, &direction) in &refinement.meter {
        let columns = &layout.slots[slot];
        let closed = match direction {
            Direction::In => columns.export,
            Direction::Out => columns.import,
        };
        let terms = [(closed, 1.0)].into_iter().chain(swings(problem, layout, slot));
        program.row(f64::NEG_INFINITY, 0.0, terms);
        off_time_rows(program, problem, layout, slot, closed);
    }
    for (&slot, &direction) in &refinement.battery {
        let Some(battery) = layout.slots[slot].battery else { continue };
        let closed = match direction {
            Direction::In => battery.discharge,
            Direction::Out => battery.charge,
        };
        program.row(f64::NEG_INFINITY, 0.0, [(closed, 1.0)]);
    }
    for &slot in &refinement.in_turn {
        in_turn_rows(program, problem, layout, slot);
    }
    for &slot in &refinement.idle {
        off_rows(program, switched(problem, layout, slot));
    }
}

/// The lesser register counts no more than the surplus while an element is off.
fn off_time_rows(
    program: &mut Program,
    problem: &Problem,
    layout: &Layout,
    slot: usize,
    closed: Col,
) {
    let surplus = surplus_kw(problem, slot);
    if surplus <= 0.0 {
        return;
    }
    let most = surplus * problem.horizon.slots()[slot].hours();
    let columns = &layout.slots[slot];
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let element = &problem.site.stores[id.store].elements[id.element];
        if element.control != Control::Modulating {
            let share = surplus / element.power.kw();
            let terms = [(closed, 1.0), (heater.energy, share)];
            // An element weaker than the surplus never draws from the grid.
            if share < 1.0 {
                program.row(f64::NEG_INFINITY, most, terms);
            }
        }
    }
}

/// What elements that switch draw beyond the surplus at full power, with the sign of a limit.
fn swings(problem: &Problem, layout: &Layout, slot: usize) -> Vec<(Col, f64)> {
    let surplus = surplus_kw(problem, slot);
    let heaters = layout.slots[slot].heaters.iter().zip(&layout.heaters);
    heaters
        .filter_map(|(heater, id)| {
            let element = &problem.site.stores[id.store].elements[id.element];
            let beyond = (1.0 - surplus / element.power.kw()).max(0.0);
            (element.control != Control::Modulating).then_some((heater.energy, -beyond))
        })
        .filter(|_| surplus > 0.0)
        .collect()
}

fn in_turn_rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let hours = problem.horizon.slots()[slot].hours();
    let limit = problem.site.grid.import_limit.kw() * hours;
    // Least that the rest of the house takes meanwhile.
    let spared = problem.site.battery.map_or(0.0, |b| b.discharge_limit.kw() * hours);
    let others = problem.base_load[slot].kwh() - problem.pv[slot].kwh() - spared;
    let (fitting, too_strong): (Vec<_>, Vec<_>) =
        switched(problem, layout, slot).partition(|&(_, kw)| others + kw * hours <= limit + 1e-9);
    off_rows(program, too_strong.into_iter());
    let strongest = fitting.iter().map(|&(_, kw)| kw).fold(0.0, f64::max);
    program.row(f64::NEG_INFINITY, hours, fitting.iter().map(|&(energy, kw)| (energy, 1.0 / kw)));
    let energies = fitting.iter().map(|&(energy, _)| (energy, -1.0));
    let terms = [(columns.import, 1.0)].into_iter().chain(energies);
    program.row(f64::NEG_INFINITY, limit - strongest * hours, terms);
}

/// Energy and full power of each element that switches.
fn switched<'a>(
    problem: &'a Problem,
    layout: &'a Layout,
    slot: usize,
) -> impl Iterator<Item = (Col, f64)> + 'a {
    let heaters = layout.slots[slot].heaters.iter().zip(&layout.heaters);
    heaters.filter_map(|(heater, id)| {
        let element = &problem.site.stores[id.store].elements[id.element];
        (element.control != Control::Modulating).then(|| (heater.energy, element.power.kw()))
    })
}

fn off_rows(program: &mut Program, elements: impl Iterator<Item = (Col, f64)>) {
    for (energy, _) in elements {
        program.row(f64::NEG_INFINITY, 0.0, [(energy, 1.0)]);
    }
}
