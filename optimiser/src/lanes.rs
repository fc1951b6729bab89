//! What may be on at once: through the connection as a whole, and through each phase
//! where phases are described.
//!
//! A source counts with the most that it may draw, for as long as the slot lasts. The
//! whole connection is helped by sun and battery at their means; of a phase they help
//! only what charges the battery, since a cloud must not break a fuse.

use std::collections::BTreeSet;

use crate::problem::Problem;
use crate::site::{Connection, HeatPump, HeatSource, Phases, Source};

/// One value for the whole connection and one for each phase.
pub(crate) type Lanes = [f64; 4];

/// Power left that is rounding [kW].
const NOTHING_KW: f64 = 1e-6;

/// Energies in a slot beside elements and sources [kWh].
#[derive(Debug, Clone, Copy)]
pub(crate) struct Beside {
    /// The rest of the house.
    pub(crate) base: f64,
    /// PV that is used.
    pub(crate) pv: f64,
    /// Into the battery, less what comes out of it.
    pub(crate) battery: f64,
}

/// Power that elements may take at every instant of a slot [kW].
#[derive(Debug, Clone, Copy)]
pub(crate) struct Room {
    pub(crate) kw: Lanes,
    /// Whether sources alone take more than there is.
    pub(crate) is_crowded: bool,
}

/// What is left beside the house, its battery and sources that work in a slot.
pub(crate) fn room(
    problem: &Problem,
    slot: usize,
    beside: Beside,
    sources: impl Iterator<Item = Source>,
) -> Room {
    let hours = problem.horizon.slots()[slot].hours();
    let peak = peak_kw(problem, slot, sources);
    let mut kw = limits(problem, beside.base / hours);
    kw[0] -= (beside.base + beside.battery - beside.pv) / hours + peak[0];
    if let Some(phases) = &problem.site.plant_room.phases {
        let (base, pv, battery) =
            (phases.base_load.shares(), phases.pv.shares(), phases.battery.shares());
        for phase in 0..3 {
            let charging = beside.battery.max(0.0) * battery[phase] - beside.pv * pv[phase];
            let taken = beside.base * base[phase] + charging.max(0.0);
            kw[phase + 1] -= taken / hours + peak[phase + 1];
        }
    }
    let is_crowded = kw.iter().zip(peak).any(|(left, peak)| peak > 0.0 && *left < -NOTHING_KW);
    Room { kw, is_crowded }
}

/// The most that may be taken from the grid [kW], beside a load that nobody switches;
/// of a phase at least that load.
pub(crate) fn limits(problem: &Problem, base_kw: f64) -> Lanes {
    let mut limits = [f64::INFINITY; 4];
    limits[0] = problem.site.grid.import_limit.kw();
    if let Some(phases) = &problem.site.plant_room.phases {
        for (limit, share) in limits[1..].iter_mut().zip(phases.base_load.shares()) {
            *limit = phases.fuse.kw().max(base_kw * share);
        }
    }
    limits
}

/// What an element takes of each lane for each kW, by its place among all elements.
pub(crate) fn heater_shares(problem: &Problem, heater: usize) -> Lanes {
    shares(problem, |phases| phases.heaters.get(heater).copied())
}

/// Most electrical power of sources that work in a slot [kW]; each counts once.
pub(crate) fn peak_kw(
    problem: &Problem,
    slot: usize,
    sources: impl Iterator<Item = Source>,
) -> Lanes {
    let own: BTreeSet<Source> = sources.collect();
    let mut peak = [0.0; 4];
    for source in own {
        let kw = source_kw(problem, slot, source);
        let shares = shares(problem, |phases| Some(phases.of_source(source)));
        for (peak, share) in peak.iter_mut().zip(shares) {
            *peak += kw * share;
        }
    }
    peak
}

/// Most electrical power of a source that works in a slot [kW].
pub fn source_kw(problem: &Problem, slot: usize, source: Source) -> f64 {
    let room = &problem.site.plant_room;
    match source {
        Source::HeatPump(index) => {
            let pump = &room.heat_pumps[index];
            let at = pump.at(source_celsius(problem, pump, slot), pump.flow_limit.celsius());
            at.capacity_kw / at.cop + pump.auxiliary.kw()
        }
        Source::Boiler => room.boiler.as_ref().map_or(0.0, |own| own.auxiliary.kw()),
        Source::Collectors => room.collectors.as_ref().map_or(0.0, |own| own.pump.kw()),
        Source::Immersion => {
            let element = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
            element.map_or(0.0, crate::units::Power::kw)
        }
        Source::Buffer => 0.0,
    }
}

/// Temperature of what a heat pump takes its heat from in a slot [°C].
pub(crate) fn source_celsius(problem: &Problem, pump: &HeatPump, slot: usize) -> f64 {
    let series = match pump.source {
        HeatSource::Air => &problem.ambient.outdoor,
        HeatSource::Ground => &problem.ambient.ground,
    };
    series.as_ref().map_or(0.0, |series| series[slot].celsius())
}

fn shares(problem: &Problem, connection: impl Fn(&Phases) -> Option<Connection>) -> Lanes {
    let phases = problem.site.plant_room.phases.as_ref();
    let [first, second, third] = phases.and_then(connection).map_or([0.0; 3], Connection::shares);
    [1.0, first, second, third]
}
