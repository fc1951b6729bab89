//! Devices that a site may describe and plans do not use.

use optimiser::Site;

/// Every such device of a site, in words.
pub(super) fn devices(site: &Site) -> Vec<String> {
    let room = &site.plant_room;
    let mut devices: Vec<String> =
        room.heat_pumps.iter().map(|pump| format!("heat pump `{}`", pump.name)).collect();
    for (there, name) in [
        (room.boiler.is_some(), "the boiler"),
        (room.collectors.is_some(), "the collectors"),
        (room.buffer.is_some(), "the buffer"),
        (room.rooms.is_some(), "the rooms"),
        (room.pool.is_some(), "the pool"),
        (room.phases.is_some(), "phases of their own"),
    ] {
        if there {
            devices.push(name.to_owned());
        }
    }
    for store in &site.stores {
        if !store.coils.is_empty() {
            devices.push(format!("the coils of store `{}`", store.name));
        }
        if store.return_loop.is_some() {
            devices.push(format!("the secondary return of store `{}`", store.name));
        }
    }
    devices
}
