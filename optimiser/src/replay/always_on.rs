//! What the devices do when there is no plan.

use super::SlotCommands;
use super::timeline::SLOT_SECONDS;
use crate::plant::HeaterCommand;
use crate::site::Site;

/// The comfort minimum: every element on its own thermostat.
pub(super) fn always_on(site: &Site) -> SlotCommands {
    let elements = site.stores.iter().flat_map(|store| &store.elements);
    let minutes = SLOT_SECONDS as f64 / 60.0;
    SlotCommands {
        heaters: elements
            .map(|element| HeaterCommand { power: element.power, minutes, delay_minutes: 0.0 })
            .collect(),
        ..SlotCommands::idle(site)
    }
}
