//! What the energy for heat costs in a house with one meter.

use std::ops::Range;

use crate::replay::{Run, Stage, StoredWorth};

/// What the energy of elements, heat pumps and pumps, and fuel, cost over some slots
/// [minor]: each half-hour at
/// the price of what the house would have done without it. While it imports
/// that is the import price; while it exports, the income given up; otherwise
/// the battery gives, and its charge is worth what replacing it costs.
///
/// The rule is the project's own: common practice, no published source.
pub fn heat_cost(stage: &Stage<'_>, run: &Run, worth: StoredWorth, slots: Range<usize>) -> f64 {
    let charge = stage.site().battery.map_or(0.0, |battery| {
        worth.battery / battery.discharge_efficiency.value() + battery.wear.per_kwh()
    });
    let boiler = stage.site().plant_room.boiler.as_ref();
    let fuel = boiler.map_or(0.0, |boiler| boiler.fuel_price.per_kwh());
    let room = run.outcome.plant_room.as_ref();
    let burnt = |slot: usize| room.map_or(0.0, |room| room.slots()[slot].fuel_kwh());
    slots
        .map(|slot| {
            let record = &run.outcome.house[slot];
            let (import, export) = stage.usual_prices(slot);
            // The two registers of a slot can both count; energy goes to what
            // the meter took first.
            let used = record.heaters_kwh + record.sources_kwh;
            let bought = used.min(record.import_kwh);
            let rest = used - bought;
            let from_battery = rest.min(record.discharge_kwh);
            let given_up = rest - from_battery;
            bought * import.per_kwh()
                + from_battery * charge
                + given_up * export.per_kwh()
                + burnt(slot) * fuel
        })
        .sum()
}
