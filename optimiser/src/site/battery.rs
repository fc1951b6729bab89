//! The battery.

use super::{SiteFault, fault};
use crate::units::{Energy, Fraction, Power, Price};

/// A battery seen from its AC side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Battery {
    /// Energy between empty and full.
    pub capacity: Energy,
    /// Level that is never drawn below.
    pub reserve: Energy,
    /// Most AC power into the battery.
    pub charge_limit: Power,
    /// Most AC power out of the battery.
    pub discharge_limit: Power,
    /// Stored energy for each unit of AC energy taken in.
    pub charge_efficiency: Fraction,
    /// AC energy given out for each unit of stored energy.
    pub discharge_efficiency: Fraction,
    /// Cost of wear for each kWh given out.
    pub wear: Price,
    /// Whether it may charge from the grid.
    pub charges_from_grid: bool,
    /// Whether it may discharge into the grid.
    pub exports: bool,
    /// Whether it may feed immersion elements.
    pub feeds_heaters: bool,
}

pub(super) fn battery_faults(battery: &Battery, faults: &mut Vec<SiteFault>) {
    let mut add = |field, rule: &str| faults.push(fault("battery", field, rule));
    if battery.capacity.kwh() <= 0.0 {
        add("capacity", "the capacity is zero; leave the battery out if there is none");
    }
    if battery.reserve > battery.capacity {
        add(
            "reserve",
            &format!("the reserve {} is above the capacity {}", battery.reserve, battery.capacity),
        );
    }
    for (field, efficiency) in [
        ("charge_efficiency", battery.charge_efficiency),
        ("discharge_efficiency", battery.discharge_efficiency),
    ] {
        if efficiency.value() < 0.3 {
            add(
                field,
                &format!(
                    "a one-way efficiency of {} is not a battery's; 0.9 to 0.97 is usual",
                    efficiency.value()
                ),
            );
        }
    }
    if battery.charge_limit.kw() <= 0.0 && battery.discharge_limit.kw() <= 0.0 {
        add("charge_limit", "the battery can neither charge nor discharge; give its power");
    }
    if battery.wear.per_kwh() < 0.0 {
        add("wear", "the wear cost is negative; wear cannot earn money");
    }
}
