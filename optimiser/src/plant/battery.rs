//! The battery and its inverter, seen from the AC side.

use super::command::BatteryCommand;
use crate::schedule::BatteryMode;
use crate::site::Battery;

/// Distance from full or reserve that counts as there [kWh].
const THERE_KWH: f64 = 1e-9;

/// Powers around the battery at an instant [kW].
#[derive(Debug, Clone, Copy)]
pub(super) struct Surroundings {
    /// PV that may be used.
    pub(super) pv: f64,
    /// The house without heaters.
    pub(super) base: f64,
    /// All heaters.
    pub(super) heaters: f64,
    /// Most that may be imported.
    pub(super) import_limit: f64,
    /// Most that may be exported.
    pub(super) export_limit: f64,
}

/// AC power into and out of a battery [kW]; one of them is zero.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Exchange {
    pub(super) charge: f64,
    pub(super) discharge: f64,
}

impl Surroundings {
    /// What the house takes beyond its PV; negative with a surplus.
    pub(super) fn net(&self) -> f64 {
        self.base + self.heaters - self.pv
    }
}

/// What the battery does at a level [kWh], within its limits and rules. PV
/// serves the house first, then the heaters.
pub(super) fn exchange(
    battery: &Battery,
    command: &BatteryCommand,
    level: f64,
    around: &Surroundings,
) -> Exchange {
    let surplus = (-around.net()).max(0.0);
    let (charge, discharge) = match command.mode {
        BatteryMode::Hold => (0.0, 0.0),
        BatteryMode::Follow => (surplus, around.net().max(0.0)),
        BatteryMode::Charge => (command.power.kw(), 0.0),
        BatteryMode::Discharge => (0.0, command.power.kw()),
        BatteryMode::Absorb => (surplus, 0.0),
        BatteryMode::Supply => (0.0, around.net().max(0.0)),
    };
    let may_take = if battery.charges_from_grid {
        (around.import_limit - around.net()).max(0.0)
    } else {
        surplus
    };
    let may_give = if !battery.feeds_heaters && around.heaters > 0.0 {
        (around.base - around.pv).max(0.0)
    } else if battery.exports {
        (around.net() + around.export_limit).max(0.0)
    } else {
        around.net().max(0.0)
    };
    let full = level >= battery.capacity.kwh() - THERE_KWH;
    let empty = level <= battery.reserve.kwh() + THERE_KWH;
    Exchange {
        charge: if full { 0.0 } else { charge.min(battery.charge_limit.kw()).min(may_take) },
        discharge: if empty {
            0.0
        } else {
            discharge.min(battery.discharge_limit.kw()).min(may_give)
        },
    }
}

/// Stored energy gained by an exchange in an hour [kW].
pub(super) fn gain(battery: &Battery, exchange: Exchange) -> f64 {
    exchange.charge * battery.charge_efficiency.value()
        - exchange.discharge / battery.discharge_efficiency.value()
}

/// Hours until an exchange meets full or the reserve.
pub(super) fn hours_left(battery: &Battery, level: f64, exchange: Exchange) -> f64 {
    let gain = gain(battery, exchange);
    if gain > 0.0 {
        (battery.capacity.kwh() - level) / gain
    } else if gain < 0.0 {
        (level - battery.reserve.kwh()) / -gain
    } else {
        f64::INFINITY
    }
}
