//! What the devices are told to do in each slot.

use crate::problem::{Problem, Watch};
use crate::schedule::{BatteryMode, Reason, Schedule, SlotPlan};
use crate::site::{Control, Element, Route, Sink, Site};
use crate::time::{Horizon, Slot};
use crate::units::{Energy, Power};

/// Energies below this are rounding, not a wish [kWh].
const NOTHING_KWH: f64 = 1e-6;

/// One element in one slot: one stretch at one power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeaterCommand {
    /// Power while on.
    pub power: Power,
    /// Minutes on.
    pub minutes: f64,
    /// Minutes after the start of the slot at which it goes on.
    pub delay_minutes: f64,
}

impl HeaterCommand {
    /// Off for the whole slot.
    pub const OFF: Self = Self { power: Power::constant(0.0), minutes: 0.0, delay_minutes: 0.0 };

    /// The stretch that uses an energy in a slot, from its start: full power
    /// for a part of it, the lowest stage that suffices, or constant power
    /// throughout, as the element can. What does not fit is left out.
    pub fn using(element: &Element, energy: Energy, slot: Slot) -> Self {
        let mean = energy.kwh() / slot.hours();
        if mean <= 0.0 {
            return Self::OFF;
        }
        let full = element.power.kw();
        let power = match &element.control {
            Control::OnOff => full,
            Control::Modulating => mean.min(full),
            Control::Staged(stages) => {
                stages.iter().map(|s| s.kw()).find(|kw| *kw >= mean).unwrap_or(full)
            }
        };
        let minutes = 60.0 * slot.hours() * (mean / power).min(1.0);
        Self { power: Power::clamped(power), minutes, delay_minutes: 0.0 }
    }

    /// Energy it uses if nothing stops it.
    pub fn energy(&self) -> Energy {
        self.power.over_hours(self.minutes / 60.0)
    }
}

/// The battery in one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatteryCommand {
    /// What it does.
    pub mode: BatteryMode,
    /// AC power of [`BatteryMode::Charge`] and [`BatteryMode::Discharge`]; the others
    /// set their own.
    pub power: Power,
}

impl BatteryCommand {
    /// Neither charge nor discharge.
    pub const HOLD: Self = Self { mode: BatteryMode::Hold, power: Power::constant(0.0) };
}

/// A source that is to serve a sink for a part of a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobCommand {
    /// Which source serves which sink.
    pub route: Route,
    /// Minutes after the start of the slot at which it begins.
    pub delay_minutes: f64,
    /// Minutes that it lasts.
    pub minutes: f64,
    /// Heat that is wished for meanwhile; a source gives what it can and no
    /// more than this, but never less than its lowest share.
    pub heat: Power,
}

/// Into a coil a source may give so much more than the mean of its job, as it
/// does while the water is still cold.
const COLD_COIL: f64 = 1.25;

impl JobCommand {
    /// A job at the power that gives a heat in its minutes.
    pub(crate) fn giving(route: Route, delay_minutes: f64, minutes: f64, heat: Energy) -> Self {
        let hours = minutes / 60.0;
        let headroom = if matches!(route.sink, Sink::Coil { .. }) { COLD_COIL } else { 1.0 };
        let kw = if hours > 0.0 { headroom * heat.kwh() / hours } else { 0.0 };
        Self { route, delay_minutes, minutes, heat: Power::clamped(kw) }
    }
}

/// How far PV is used in a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PvUse {
    /// As much as house and grid take.
    Free,
    /// Only what the house takes: nothing may go to the grid.
    NoExport,
    /// Only what the house needs beyond the import limit: import is paid for.
    LastResort,
}

/// Commands for every device and slot of a horizon.
#[derive(Debug, PartialEq)]
pub struct Commands {
    /// For each element, in the order of [`Problem::heaters`], every slot.
    pub heaters: Vec<Vec<HeaterCommand>>,
    /// For each element and slot, what it watches while it does not run, if it stands
    /// guard.
    pub guards: Vec<Vec<Option<Watch>>>,
    /// The battery; ignored without one.
    pub battery: Vec<BatteryCommand>,
    /// The use of PV.
    pub pv: Vec<PvUse>,
    /// For each store, the slots in which its destratification pump runs.
    pub pumps: Vec<Vec<bool>>,
    /// For each slot, the jobs of the plant room's sources.
    pub jobs: Vec<Vec<JobCommand>>,
}

/// Copied often, so into memory that is there.
impl Clone for Commands {
    fn clone(&self) -> Self {
        Self {
            heaters: self.heaters.clone(),
            guards: self.guards.clone(),
            battery: self.battery.clone(),
            pv: self.pv.clone(),
            pumps: self.pumps.clone(),
            jobs: self.jobs.clone(),
        }
    }

    fn clone_from(&mut self, source: &Self) {
        let Self { heaters, guards, battery, pv, pumps, jobs } = self;
        heaters.clone_from(&source.heaters);
        guards.clone_from(&source.guards);
        battery.clone_from(&source.battery);
        pv.clone_from(&source.pv);
        pumps.clone_from(&source.pumps);
        jobs.clone_from(&source.jobs);
    }
}

impl Commands {
    /// Nothing heats, the battery holds, PV is used freely.
    pub fn idle(site: &Site, slots: usize) -> Self {
        let heaters = site.stores.iter().map(|s| s.elements.len()).sum();
        Self {
            heaters: vec![vec![HeaterCommand::OFF; slots]; heaters],
            guards: vec![vec![None; slots]; heaters],
            battery: vec![BatteryCommand::HOLD; slots],
            pv: vec![PvUse::Free; slots],
            pumps: vec![vec![false; slots]; site.stores.len()],
            jobs: vec![Vec::new(); slots],
        }
    }

    /// Elements that use given energies, one row per element; all else idle.
    pub fn heating(site: &Site, horizon: &Horizon, energies: &[Vec<Energy>]) -> Self {
        let mut commands = Self::idle(site, horizon.len());
        let elements = site.stores.iter().flat_map(|store| &store.elements);
        for ((row, element), wishes) in commands.heaters.iter_mut().zip(elements).zip(energies) {
            for ((command, wish), slot) in row.iter_mut().zip(wishes).zip(horizon.slots()) {
                *command = HeaterCommand::using(element, *wish, *slot);
            }
        }
        commands
    }

    /// Whether others tell a slot something else that heats.
    pub(crate) fn heat_differs(&self, other: &Self, slot: usize) -> bool {
        let rows = self.heaters.iter().zip(&other.heaters);
        let guards = self.guards.iter().zip(&other.guards);
        let pumps = self.pumps.iter().zip(&other.pumps);
        rows.into_iter().any(|(own, other)| own[slot] != other[slot])
            || guards.into_iter().any(|(own, other)| own[slot] != other[slot])
            || pumps.into_iter().any(|(own, other)| own[slot] != other[slot])
            || self.jobs[slot] != other.jobs[slot]
    }

    /// Nothing runs but elements that stand guard; PV stays off the grid where export
    /// costs money.
    pub(crate) fn on_guard(problem: &Problem) -> Self {
        let mut commands = Self::idle(&problem.site, problem.horizon.len());
        for (row, id) in commands.guards.iter_mut().zip(problem.heaters()) {
            let guard = problem.comfort.guards.iter().find(|guard| guard.heater == id);
            if let Some(guard) = guard {
                row.copy_from_slice(guard.watches.values());
            }
        }
        for (pv, price) in commands.pv.iter_mut().zip(problem.export_price.values()) {
            *pv = if price.per_kwh() < 0.0 { PvUse::NoExport } else { PvUse::Free };
        }
        commands
    }

    /// What a published schedule tells the devices. A pump runs through the
    /// hold of each pasteurisation, where there is one.
    pub fn of(problem: &Problem, schedule: &Schedule) -> Self {
        let mut commands = Self::on_guard(problem);
        for (index, plan) in schedule.slots.iter().enumerate() {
            let told = commands.heaters.iter_mut().zip(&plan.heaters);
            // Who stands guard is put on by its thermostat, if at all.
            for (row, heater) in told.filter(|(_, heater)| heater.why != Reason::Guard) {
                row[index] = HeaterCommand {
                    power: heater.power,
                    minutes: heater.minutes,
                    delay_minutes: heater.delay_minutes,
                };
            }
            let (mode, power) = plan.battery_command();
            commands.battery[index] = BatteryCommand { mode, power };
            commands.pv[index] = pv_use(plan);
            commands.jobs[index].clone_from(&plan.told);
        }
        for (due, start) in problem.hygiene.iter().zip(&schedule.hygiene) {
            let hold = start.and_then(|start| Slot::new(start, start + due.hold_seconds));
            if let Some(hold) = hold
                && problem.site.stores[due.store].destratification_pump
            {
                let runs = &mut commands.pumps[due.store];
                for (run, plan) in runs.iter_mut().zip(&schedule.slots) {
                    *run |= plan.slot.overlap_seconds(hold) > 0;
                }
            }
        }
        commands
    }
}

/// A plan that gives up PV while it imports is paid to import; otherwise PV
/// stays off the grid where export costs money.
fn pv_use(plan: &SlotPlan) -> PvUse {
    let gives_up = plan.curtailed.kwh() > NOTHING_KWH;
    if gives_up && plan.import.kwh() > NOTHING_KWH && plan.import_price.per_kwh() < 0.0 {
        PvUse::LastResort
    } else if plan.export_price.per_kwh() < 0.0 || (gives_up && plan.export.kwh() <= NOTHING_KWH) {
        PvUse::NoExport
    } else {
        PvUse::Free
    }
}
