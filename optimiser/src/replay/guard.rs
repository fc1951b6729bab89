//! Elements on their own thermostats, for what no plan foresees.
//!
//! The highest of several elements of a store can stand guard: while the plan has
//! no other use for it, it keeps the top of the store at a lower dial, and reacts
//! to a draw that nobody expected before the next plan does.

use super::SlotCommands;
use super::timeline::SLOT_SECONDS;
use crate::plant::HeaterCommand;
use crate::site::{Element, Site, Store};
use crate::units::Temperature;

/// The house with its guards at a dial.
pub(super) fn dialled(site: &Site, dial: Temperature) -> Site {
    let mut site = site.clone();
    for store in &mut site.stores {
        if let Some(guard) = guard_of(store) {
            let own = &mut store.elements[guard].thermostat;
            if dial < *own {
                *own = dial;
            }
        }
    }
    site
}

/// Puts the guards on their dials, unless the plan uses one of them.
pub(super) fn stand_by(site: &Site, commands: &mut SlotCommands) {
    let mut first = 0;
    let mut guards = Vec::new();
    for store in &site.stores {
        guards.extend(guard_of(store).map(|guard| (first + guard, &store.elements[guard])));
        first += store.elements.len();
    }
    if guards.iter().all(|(guard, _)| commands.heaters[*guard].minutes <= 0.0) {
        commands.dials_up = false;
        for (guard, element) in guards {
            commands.heaters[guard] = on_throughout(element);
        }
    }
}

/// The comfort minimum: every element on its own thermostat.
pub(super) fn always_on(site: &Site) -> SlotCommands {
    let elements = site.stores.iter().flat_map(|store| &store.elements);
    SlotCommands {
        heaters: elements.map(on_throughout).collect(),
        dials_up: true,
        ..SlotCommands::idle(site)
    }
}

/// An element on for a whole slot, as far as its thermostat lets it.
fn on_throughout(element: &Element) -> HeaterCommand {
    let minutes = SLOT_SECONDS as f64 / 60.0;
    HeaterCommand { power: element.power, minutes, delay_minutes: 0.0 }
}

/// The highest of several elements of a store.
fn guard_of(store: &Store) -> Option<usize> {
    let heights = store.elements.iter().map(|e| e.height.value()).enumerate();
    let highest = heights.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(index, _)| index);
    highest.filter(|_| store.elements.len() > 1)
}
