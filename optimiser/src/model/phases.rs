//! Three phases: for each `p` with the share that every device has of it,
//!
//! - `Σ share·energy ≤ fuse·Δt` for everything that takes, and the same with charge and
//!   less PV, so that neither sun nor battery is needed to hold a fuse and the sun may
//!   charge the battery; what is on at once is kept by [`super::directions`] where the
//!   mean of a slot hides it;
//! - `share·(pv + discharge − charge) − share·base load ≤ fuse·Δt`, with everything else
//!   off;
//! - where each phase is counted by itself, what it takes from the grid is `N_p = i_p − e_p` and
//!   `import = Σ i_p`, so that what one phase exports does not pay for what another
//!   imports.

use crate::problem::Problem;
use crate::site::{Connection, Metering, Source};

use super::duty::Duties;
use super::layout::Layout;
use super::program::{Col, Program};

/// Columns of one phase in one slot, where it is counted by itself.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PhaseColumns {
    import: Col,
    export: Col,
}

pub(super) fn columns(program: &mut Program, problem: &Problem) -> Vec<PhaseColumns> {
    match &problem.site.plant_room.phases {
        Some(phases) if phases.metering == Metering::PerPhase => (0..3)
            .map(|_| PhaseColumns {
                import: program.column(0.0, 0.0, f64::INFINITY),
                export: program.column(0.0, 0.0, f64::INFINITY),
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// Adds the rows of a slot.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    slot: usize,
) {
    let Some(phases) = &problem.site.plant_room.phases else { return };
    let columns = &layout.slots[slot];
    let base = problem.base_load[slot].kwh() + super::circulation_kwh(problem, slot);
    let fuse = phases.fuse.kw() * problem.horizon.slots()[slot].hours();
    let mut loads: Vec<(Col, f64, Connection)> = Vec::new();
    let elements = columns.heaters.iter().zip(&phases.heaters);
    loads.extend(elements.map(|(heater, &connection)| (heater.energy, 1.0, connection)));
    for (index, route) in duties.routes.iter().enumerate() {
        if route.source == Source::Buffer {
            continue;
        }
        let connection = phases.of_source(route.source);
        let parts = columns.routes[index].iter().zip(&duties.steps[slot][index]);
        loads.extend(parts.map(|(&col, step)| (col, step.electricity, connection)));
    }
    let pv = [(columns.pv, -1.0, phases.pv)];
    let battery = columns.battery.map(|own| (own.charge, own.discharge));
    let charge = battery.map(|(charge, _)| (charge, 1.0, phases.battery));
    let discharge = battery.map(|(_, discharge)| (discharge, -1.0, phases.battery));
    for phase in 0..3 {
        let fixed = base * phases.base_load.shares()[phase];
        let on_phase = |&(col, energy, connection): &(Col, f64, Connection)| {
            let share = connection.shares()[phase];
            (share != 0.0).then_some((col, energy * share))
        };
        let loads: Vec<(Col, f64)> = loads.iter().filter_map(on_phase).collect();
        let sun: Vec<(Col, f64)> = pv.iter().chain(&charge).filter_map(on_phase).collect();
        let back: Vec<(Col, f64)> = discharge.iter().filter_map(on_phase).collect();
        let most = (fuse - fixed).max(0.0);
        program.row(f64::NEG_INFINITY, most, loads.iter().copied());
        program.row(f64::NEG_INFINITY, most, loads.iter().chain(&sun).copied());
        program.row(-fuse - fixed, f64::INFINITY, sun.iter().chain(&back).copied());
        if let Some(own) = columns.phases.get(phase) {
            let counted = [(own.import, -1.0), (own.export, 1.0)];
            let all = loads.into_iter().chain(sun).chain(back);
            program.row(-fixed, -fixed, all.chain(counted));
        }
    }
    if !columns.phases.is_empty() {
        let parts = columns.phases.iter().map(|own| (own.import, -1.0));
        program.row(0.0, 0.0, parts.chain([(columns.import, 1.0)]));
    }
}

/// Energy that passes three phases counted by themselves both ways in a slot, with
/// given energies of elements and routes [kWh].
pub(crate) fn both_ways(problem: &Problem, slot: usize, flows: &crate::solution::SlotFlows) -> f64 {
    let Some(phases) = &problem.site.plant_room.phases else { return 0.0 };
    if phases.metering == Metering::Net {
        return 0.0;
    }
    let mut net = [0.0; 3];
    let mut add = |energy: f64, connection: Connection| {
        for (phase, share) in net.iter_mut().zip(connection.shares()) {
            *phase += energy * share;
        }
    };
    add(problem.base_load[slot].kwh() + flows.circulation, phases.base_load);
    add(-flows.pv, phases.pv);
    add(flows.charge - flows.discharge, phases.battery);
    for (&energy, &connection) in flows.heaters.iter().zip(&phases.heaters) {
        add(energy, connection);
    }
    for (route, flow) in problem.site.plant_room.routes().iter().zip(&flows.routes) {
        add(flow.electricity, phases.of_source(route.source));
    }
    let (taken, given) = net
        .into_iter()
        .fold((0.0, 0.0), |(taken, given), p: f64| (taken + p.max(0.0), given + (-p).max(0.0)));
    f64::min(taken, given)
}
