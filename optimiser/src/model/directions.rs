//! Binaries, only in the slots where the plain program was seen to cheat.
//!
//! - meter: `import ≤ I·y + Σ q`, `export ≤ X·(1 − y) + Σ q`, where `q` is what an
//!   element that switches takes from the grid at full power while it gives the
//!   surplus away when off;
//! - battery: `charge ≤ C·y`, `discharge ≤ D·(1 − y)`;
//! - overlap: `p ≤ P·Δt·y` for each on/off element, and
//!   `import + Σ (P·Δt·y − p) ≤ I`: elements at full power at the same time.

use crate::problem::Problem;
use crate::site::Control;

use super::layout::Layout;
use super::node::surplus_kw;
use super::program::{Col, Program};
use super::refinement::Refinement;

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    layout: &Layout,
    refinement: &Refinement,
) {
    for &slot in &refinement.one_way_meter {
        meter_rows(program, problem, layout, slot);
    }
    for &slot in &refinement.one_way_battery {
        let Some(battery) = layout.slots[slot].battery else { continue };
        let most = |col: Col, program: &Program| program.columns()[col.0 as usize].upper;
        let (charge, discharge) = (most(battery.charge, program), most(battery.discharge, program));
        let charging = program.binary();
        program.row(f64::NEG_INFINITY, 0.0, [(battery.charge, 1.0), (charging, -charge)]);
        program.row(
            f64::NEG_INFINITY,
            discharge,
            [(battery.discharge, 1.0), (charging, discharge)],
        );
    }
    for &slot in &refinement.overlap {
        overlap_rows(program, problem, layout, slot);
    }
}

fn meter_rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let hours = problem.horizon.slots()[slot].hours();
    let grid = &problem.site.grid;
    let surplus = surplus_kw(problem, slot);
    let importing = program.binary();
    let most_import = grid.import_limit.kw() * hours;
    let most_export = grid.export_limit.kw() * hours;
    let swings: Vec<(Col, f64)> = columns
        .heaters
        .iter()
        .zip(&layout.heaters)
        .filter_map(|(heater, id)| {
            let element = &problem.site.stores[id.store].elements[id.element];
            let beyond = (1.0 - surplus / element.power.kw()).max(0.0);
            let switched = element.control != Control::Modulating;
            (surplus > 0.0 && switched).then_some((heater.energy, -beyond))
        })
        .collect();
    let import = [(columns.import, 1.0), (importing, -most_import)];
    program.row(f64::NEG_INFINITY, 0.0, import.into_iter().chain(swings.iter().copied()));
    let export = [(columns.export, 1.0), (importing, most_export)];
    program.row(f64::NEG_INFINITY, most_export, export.into_iter().chain(swings));
}

fn overlap_rows(program: &mut Program, problem: &Problem, layout: &Layout, slot: usize) {
    let columns = &layout.slots[slot];
    let hours = problem.horizon.slots()[slot].hours();
    let limit = problem.site.grid.import_limit.kw() * hours;
    let mut terms = vec![(columns.import, 1.0)];
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let element = &problem.site.stores[id.store].elements[id.element];
        if element.control != Control::Modulating {
            let full = element.power.kw() * hours;
            let on = program.binary();
            program.row(f64::NEG_INFINITY, 0.0, [(heater.energy, 1.0), (on, -full)]);
            terms.push((on, full));
            terms.push((heater.energy, -1.0));
        }
    }
    program.row(f64::NEG_INFINITY, limit, terms);
}
