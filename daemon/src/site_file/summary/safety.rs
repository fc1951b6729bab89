//! The safety cautions that end every summary.

use optimiser::standards::{hygiene, scald};
use optimiser::water;

use super::{Page, duration};
use crate::house::House;

pub(super) fn describe(page: &mut Page, house: &House) {
    page.heading("Safety");
    page.sentence("stowheat is not a safety device, and no setting here replaces one.");
    page.sentence(&format!(
        "Keep on every store an independent thermostat, a non-self-resetting cut-out (at most {} °C) and relief at {} °C; stored water must never exceed {} °C.",
        scald::CUT_OUT_MAX_CELSIUS,
        scald::RELIEF_CELSIUS,
        scald::NEVER_CELSIUS
    ));
    page.sentence(
        "Unvented cylinders and fixed wiring are work for licensed people under local codes.",
    );
    page.sentence(&format!(
        "Legionella: store at {} °C, have {} °C at the outlets within a minute, and follow local guidance.",
        hygiene::STORE_CELSIUS,
        hygiene::OUTLET_CELSIUS
    ));
    plant_room(page, house);
    for store in &house.site.stores {
        let hot = store.highest_reach().celsius();
        if let Some(seconds) = scald::burn_seconds(hot) {
            let time = if seconds < 60.0 {
                format!("{seconds:.0} s or less")
            } else {
                duration(seconds / 3_600.0)
            };
            page.sentence(&format!(
                "Scalds: water at {hot} °C from store `{}` burns skin in {time}. Mix down at the tap: {} °C at a bath is {:.0} % of it.",
                store.name,
                scald::BATH_CELSIUS,
                100.0 * water::hot_share(hot, scald::BATH_CELSIUS, store.mains.celsius()).min(1.0)
            ));
        }
    }
}

/// What fuel, refrigerant, pressure and pools add.
fn plant_room(page: &mut Page, house: &House) {
    let room = &house.site.plant_room;
    if !room.heat_pumps.is_empty() {
        page.sentence(
            "Refrigerant: only certified people open its circuit; some kinds burn and need clearances.",
        );
    }
    if room.boiler.is_some() {
        page.sentence(
            "Boiler: fuel, flue and combustion air are for registered people; keep its own controls and a carbon-monoxide alarm.",
        );
    }
    if room.collectors.is_some() {
        page.sentence(
            "Collectors stagnate far above 100 °C: steam, relief and expansion vessel are for the pump station, never for stowheat.",
        );
    }
    if room.buffer.is_some() || room.collectors.is_some() {
        page.sentence(
            "Pressure: each sealed circuit keeps its relief valve and expansion vessel, sized for all of its water.",
        );
    }
    if room.pool.is_some() {
        page.sentence(
            "Pool: wiring near water has rules of its own, and its treatment is not heated away.",
        );
    }
}
