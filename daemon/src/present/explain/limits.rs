//! The limits that a slot runs into.

use optimiser::schedule::{BatteryMode, HeaterPlan, SlotPlan};

use crate::present::{Plan, some};

/// Share of a limit from which it counts as reached.
const REACHED: f64 = 0.995;

/// Every limit that binds for a heater in a slot, in words.
pub(super) fn of(plan: &Plan<'_>, slot: &SlotPlan, heater: &HeaterPlan) -> Vec<String> {
    let site = &plan.problem.site;
    let hours = slot.slot.hours();
    let reached = |energy: f64, kw: f64| kw > 0.0 && energy >= REACHED * kw * hours;
    let mut limits = Vec::new();
    let element = plan.element(heater.id);
    if reached(heater.energy.kwh(), element.power.kw()) {
        limits.push(format!("the element is fully on at {}", element.power));
    }
    if reached(slot.import.kwh(), site.grid.import_limit.kw()) {
        limits.push(format!("import is at its limit of {}", site.grid.import_limit));
    }
    if reached(slot.export.kwh(), site.grid.export_limit.kw()) {
        limits.push(format!("export is at its limit of {}", site.grid.export_limit));
    }
    let store = plan.store(heater.id);
    let reach = store.reach(element);
    if reach.above(slot.stores[heater.id.store].top) < 0.5 {
        let whose = if element.thermostat < store.ceiling { "thermostat" } else { "ceiling" };
        limits.push(format!("the water is at the {whose} of {reach}"));
    }
    if let Some(battery) = &site.battery {
        let at_full_power = reached(slot.charge.kwh(), battery.charge_limit.kw())
            || reached(slot.discharge.kwh(), battery.discharge_limit.kw());
        if at_full_power {
            limits.push("the battery runs at full power".to_owned());
        } else if slot.battery.kwh() >= battery.capacity.kwh() - 0.005 {
            limits.push("the battery is full".to_owned());
        } else if slot.battery.kwh() <= battery.reserve.kwh() + 0.005
            && slot.battery_mode != Some(BatteryMode::Charge)
        {
            limits.push("the battery is at its reserve".to_owned());
        }
    }
    if some(slot.curtailed) {
        limits.push(format!("{:.2} kWh of PV have nowhere to go", slot.curtailed.kwh()));
    }
    limits
}
