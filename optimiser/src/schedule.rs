//! The plan as it is published: what every device does in every slot, what it
//! costs, and why.

use crate::plant::JobCommand;
use crate::problem::{HeaterId, RoomsState};
use crate::site::Route;
use crate::time::{Instant, Slot};
use crate::units::{Energy, Power, Price, Temperature};

/// Which rung of the chain a schedule comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// The linear program was solved to optimality and passed the check.
    Optimal,
    /// The linear program stopped at a limit; its answer passed the check.
    LimitReached,
    /// Thermostat in the cheapest allowed slots before each named time.
    Rule,
}

impl Origin {
    /// The name used in files and on the wire.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Optimal => "optimal",
            Self::LimitReached => "limit-reached",
            Self::Rule => "rule",
        }
    }
}

/// Who vouches for the temperatures and litres in a schedule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Evidence {
    /// The numbers are the linear program's own.
    Modelled,
    /// The numbers come from the simulated plant.
    Simulated {
        /// Rounds of cutting and re-solving.
        rounds: usize,
        /// What the polish on the simulated plant gained [minor].
        polish_gain: f64,
    },
}

/// Money over the horizon, in minor units; income and worth are positive.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cost {
    /// Paid for import (negative when paid to import).
    pub import: f64,
    /// Earned by export.
    pub export_income: f64,
    /// Wear of the battery.
    pub wear: f64,
    /// Fuel burnt.
    pub fuel: f64,
    /// Worth of heat and charge left at the end.
    pub end_value: f64,
}

impl Cost {
    /// `import − export income + wear + fuel − end value`.
    pub fn total(&self) -> f64 {
        self.import - self.export_income + self.wear + self.fuel - self.end_value
    }

    /// The total without the worth of what is left: what the meter will say.
    pub fn net(&self) -> f64 {
        self.import - self.export_income + self.wear + self.fuel
    }
}

/// What the battery is to do in a slot, so that it can act inside the slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BatteryMode {
    /// Neither charge nor discharge.
    Hold,
    /// Keep the grid flow at zero within its limits.
    Follow,
    /// Charge at the planned power, from PV and grid.
    Charge,
    /// Discharge at the planned power, into house and grid.
    Discharge,
    /// Take what would go to the grid, give nothing.
    Absorb,
    /// Give what would come from the grid, take nothing.
    Supply,
}

impl BatteryMode {
    /// The name used in files and on the wire.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hold => "hold",
            Self::Follow => "follow",
            Self::Charge => "charge",
            Self::Discharge => "discharge",
            Self::Absorb => "absorb",
            Self::Supply => "supply",
        }
    }
}

/// One slot of a schedule.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotPlan {
    /// The slot.
    pub slot: Slot,
    /// Unit rate of import.
    pub import_price: Price,
    /// Unit rate of export.
    pub export_price: Price,
    /// Net energy from the grid.
    pub import: Energy,
    /// Net energy to the grid; zero where `import` is not.
    pub export: Energy,
    /// Energy that passes the meter both ways inside the slot, because an
    /// on/off element at full power draws more than the surplus while on and
    /// leaves it to the grid while off.
    pub swing: Energy,
    /// PV energy used.
    pub pv: Energy,
    /// PV energy given up.
    pub curtailed: Energy,
    /// Energy of the rest of the house.
    pub base_load: Energy,
    /// AC energy into the battery.
    pub charge: Energy,
    /// AC energy out of the battery.
    pub discharge: Energy,
    /// Battery level at the end of the slot.
    pub battery: Energy,
    /// What the battery does inside the slot; `None` without a battery.
    pub battery_mode: Option<BatteryMode>,
    /// Worth of one more kWh at the house in this slot.
    pub electricity_value: Price,
    /// Every element, in the order of [`crate::Problem::heaters`].
    pub heaters: Vec<HeaterPlan>,
    /// Every store, at the end of the slot.
    pub stores: Vec<StorePlan>,
    /// Electricity of the pumps of secondary circulations.
    pub circulation: Energy,
    /// What the sources of the plant room do, in the order in which they do it.
    pub jobs: Vec<Job>,
    /// What they are told for that. It asks for more than comes of it where a thermostat
    /// or a cold buffer holds a source back; told only what comes of it, it gives less
    /// again.
    pub told: Vec<JobCommand>,
    /// Buffer, rooms and pool at the end of the slot.
    pub plant_room: PlantRoomPlan,
}

/// A source that serves a sink for a part of a slot. Jobs of one source do not
/// overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Which source serves which sink.
    pub route: Route,
    /// Minutes after the start of the slot at which it begins.
    pub delay_minutes: f64,
    /// Minutes that it lasts.
    pub minutes: f64,
    /// Heat that reaches the sink.
    pub heat: Energy,
    /// Electricity used, with pumps and controls.
    pub electricity: Energy,
    /// Part of the electricity from PV.
    pub pv: Energy,
    /// Part of the electricity from the battery.
    pub battery: Energy,
    /// Part of the electricity from the grid.
    pub grid: Energy,
    /// Fuel burnt.
    pub fuel: Energy,
    /// Why it runs.
    pub why: Reason,
}

/// Buffer, rooms and pool at the end of a slot; `None` where there is none.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlantRoomPlan {
    /// Water in the buffer.
    pub buffer: Option<Temperature>,
    /// The rooms.
    pub rooms: Option<RoomsState>,
    /// Water in the pool.
    pub pool: Option<Temperature>,
    /// Worth of one more kWh of heat in the buffer.
    pub buffer_value: Option<Price>,
    /// Worth of one more kWh of heat in the rooms.
    pub rooms_value: Option<Price>,
    /// Worth of one more kWh of heat in the pool.
    pub pool_value: Option<Price>,
}

impl SlotPlan {
    /// What the battery is told: its mode and its AC power.
    pub fn battery_command(&self) -> (BatteryMode, Power) {
        let energy = match self.battery_mode {
            Some(BatteryMode::Charge) => self.charge,
            Some(BatteryMode::Discharge) => self.discharge,
            // One that follows the house needs no power.
            Some(
                BatteryMode::Hold | BatteryMode::Follow | BatteryMode::Absorb | BatteryMode::Supply,
            )
            | None => Energy::constant(0.0),
        };
        let mode = self.battery_mode.unwrap_or(BatteryMode::Hold);
        (mode, Power::clamped(energy.kwh() / self.slot.hours()))
    }
}

/// One element in one slot.
#[derive(Debug, Clone, PartialEq)]
pub struct HeaterPlan {
    /// Which element.
    pub id: HeaterId,
    /// Power while on.
    pub power: Power,
    /// Minutes on.
    pub minutes: f64,
    /// Minutes after the start of the slot at which it goes on.
    pub delay_minutes: f64,
    /// Energy used.
    pub energy: Energy,
    /// Part of it from PV.
    pub pv: Energy,
    /// Part of it from the battery.
    pub battery: Energy,
    /// Part of it from the grid.
    pub grid: Energy,
    /// Why it is on, or why it is not.
    pub why: Reason,
}

/// One store at the end of a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StorePlan {
    /// Heat above mains temperature.
    pub stored: Energy,
    /// Temperature at the top.
    pub top: Temperature,
    /// Temperature at the bottom.
    pub bottom: Temperature,
    /// Litres at the use temperature that could be drawn now.
    pub usable_litres: f64,
    /// Draw energy that arrives cold in this slot [kWh].
    pub unmet_kwh: f64,
    /// Worth of one more kWh of heat in the store.
    pub value: Price,
}

/// Why an element is on, or off, in a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// Off: nothing is needed that is not cheaper in another slot.
    NotNeeded,
    /// Off: the same heat is cheaper in the slot that starts then.
    CheaperAt(Instant),
    /// Off: the water it reaches is as hot as it may be.
    Full,
    /// On, because the price is below zero.
    PaidToUse,
    /// On, with PV that would otherwise be given up.
    FreeSun,
    /// On, with PV that would earn less by export than the heat is worth.
    Sun,
    /// On, with energy the battery had spare.
    Battery,
    /// On: the cheapest time before a draw or promise at that instant.
    CheapestBefore(Instant),
    /// On: the last chance before a draw or promise at that instant.
    NeededBy(Instant),
    /// On, for a pasteurisation due at that instant.
    Hygiene(Instant),
    /// On or off by hand until that instant.
    ByHand(Instant),
    /// On, because the heat is worth more after the end of the plan.
    Stock,
    /// On: rooms or pool would leave their comfort, or it is cheaper now than later.
    Comfort,
    /// On: the sun heats the collectors.
    Sunlight,
    /// On as back-up: nothing else can keep what was promised.
    BackUp,
    /// It stands guard: its own thermostat is expected to put it on for so long.
    Guard,
}

/// A whole schedule.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// Where it comes from.
    pub origin: Origin,
    /// Who vouches for its temperatures.
    pub evidence: Evidence,
    /// Money over the horizon.
    pub cost: Cost,
    /// Draw energy that arrives cold over the horizon [kWh].
    pub unmet_kwh: f64,
    /// The same as litres at the temperature that was asked for.
    pub unmet_litres: f64,
    /// Promised or reserved water that is missing, at its worst [kWh].
    pub short_kwh: f64,
    /// Pasteurisations in the plan: for each one due, when its hold starts, or
    /// `None` if it cannot be done in time.
    pub hygiene: Vec<Option<Instant>>,
    /// The slots.
    pub slots: Vec<SlotPlan>,
}
