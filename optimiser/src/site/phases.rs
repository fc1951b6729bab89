//! The phases of the connection and what hangs on each.

use super::{PlantRoom, SiteFault, Source, Store, fault};
use crate::units::Power;

/// A connection of three phases. Without it all devices share one.
#[derive(Debug, Clone, PartialEq)]
pub struct Phases {
    /// Fuse of each phase.
    pub fuse: Power,
    /// How the meter counts flows of opposite sign on different phases.
    pub metering: Metering,
    /// Where the rest of the house hangs.
    pub base_load: Connection,
    /// Where the PV feeds in.
    pub pv: Connection,
    /// Where the battery hangs.
    pub battery: Connection,
    /// Where each element hangs, in the order of [`crate::Problem::heaters`].
    pub heaters: Vec<Connection>,
    /// Where each heat pump hangs.
    pub heat_pumps: Vec<Connection>,
    /// Where the immersion element of the buffer hangs.
    pub immersion: Connection,
}

impl Phases {
    /// Where a source hangs; boilers and pumps with the rest of the house.
    pub fn of_source(&self, source: Source) -> Connection {
        match source {
            Source::HeatPump(index) => {
                self.heat_pumps.get(index).copied().unwrap_or(self.base_load)
            }
            Source::Immersion => self.immersion,
            Source::Boiler | Source::Collectors | Source::Buffer => self.base_load,
        }
    }
}

/// How a meter counts three phases.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metering {
    /// Import on one phase is netted against export on another.
    Net,
    /// Each phase is counted by itself.
    PerPhase,
}

/// What a device hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Connection {
    /// One phase, 0 to 2.
    Phase(u8),
    /// All three, evenly.
    Three,
}

impl Connection {
    /// Share of its power on each phase.
    pub fn shares(self) -> [f64; 3] {
        match self {
            Self::Phase(phase) => {
                std::array::from_fn(|p| if p == usize::from(phase) { 1.0 } else { 0.0 })
            }
            Self::Three => [1.0 / 3.0; 3],
        }
    }
}

/// Every contradiction in the phases.
pub(super) fn faults(
    phases: &Phases,
    room: &PlantRoom,
    stores: &[Store],
    faults: &mut Vec<SiteFault>,
) {
    let mut add = |field, rule: &str| faults.push(fault("phases", field, rule));
    if phases.fuse.kw() <= 0.0 {
        add("fuse", "the fuse of a phase is zero; give its rating");
    }
    let elements: usize = stores.iter().map(|store| store.elements.len()).sum();
    if phases.heaters.len() != elements {
        add("heaters", "every element needs its phase, and nothing else");
    }
    if phases.heat_pumps.len() != room.heat_pumps.len() {
        add("heat_pumps", "every heat pump needs its phase, and nothing else");
    }
    let single = [phases.base_load, phases.pv, phases.battery, phases.immersion];
    let all = single.iter().chain(&phases.heaters).chain(&phases.heat_pumps);
    if all.into_iter().any(|c| matches!(c, Connection::Phase(phase) if *phase > 2)) {
        add("connection", "phases are numbered 0 to 2");
    }
}
