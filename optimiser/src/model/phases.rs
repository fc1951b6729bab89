//! Three phases: for each `p` with the share that every device has of it,
//!
//! - `−fuse·Δt ≤ N_p ≤ fuse·Δt` for what the phase takes from the grid in the mean,
//!   `N_p = Σ share·energy`, with PV and discharge negative;
//! - where each phase is counted by itself `N_p = i_p − e_p` and `import = Σ i_p`, so that
//!   what one phase exports does not pay for what another imports.

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
    let mut devices: Vec<(Col, f64, Connection)> = vec![(columns.pv, -1.0, phases.pv)];
    devices.extend(columns.battery.iter().flat_map(|own| {
        [(own.charge, 1.0, phases.battery), (own.discharge, -1.0, phases.battery)]
    }));
    let elements = columns.heaters.iter().zip(&phases.heaters);
    devices.extend(elements.map(|(heater, &connection)| (heater.energy, 1.0, connection)));
    for (index, route) in duties.routes.iter().enumerate() {
        let connection = phases.of_source(route.source);
        let parts = columns.routes[index].iter().zip(&duties.steps[slot][index]);
        let taking = parts.filter(|(_, step)| step.electricity > 0.0);
        devices.extend(taking.map(|(&col, step)| (col, step.electricity, connection)));
    }
    for phase in 0..3 {
        let fixed = base * phases.base_load.shares()[phase];
        let terms: Vec<(Col, f64)> = devices
            .iter()
            .map(|&(col, energy, connection)| (col, energy * connection.shares()[phase]))
            .filter(|(_, share)| *share != 0.0)
            .collect();
        program.row(f64::NEG_INFINITY, fuse - fixed, terms.iter().copied());
        program.row(-fuse - fixed, f64::INFINITY, terms.iter().copied());
        if let Some(own) = columns.phases.get(phase) {
            let counted = [(own.import, -1.0), (own.export, 1.0)];
            program.row(-fixed, -fixed, terms.into_iter().chain(counted));
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

impl crate::site::Phases {
    /// Where a source hangs; boilers and pumps with the rest of the house.
    pub(crate) fn of_source(&self, source: Source) -> Connection {
        match source {
            Source::HeatPump(index) => {
                self.heat_pumps.get(index).copied().unwrap_or(self.base_load)
            }
            Source::Immersion => self.immersion,
            Source::Boiler | Source::Collectors | Source::Buffer => self.base_load,
        }
    }
}
