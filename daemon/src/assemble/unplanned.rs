//! What a site may describe and a command does not use.

use optimiser::Site;

use crate::house::House;

use super::AssembleError;

/// Refuses a house whose phases are described: plans keep no limit of each phase.
///
/// # Errors
/// If the phases are described.
pub fn refuse_phases(house: &House) -> Result<(), AssembleError> {
    match house.site.plant_room.phases {
        Some(_) => Err(AssembleError::Unused {
            by: "plans",
            devices: vec!["limits of single phases".to_owned()],
        }),
        None => Ok(()),
    }
}

/// Refuses a house with more than stores and elements, for a command that does not
/// know it yet.
///
/// # Errors
/// Names every device.
pub fn refuse_plant_room(house: &House, by: &'static str) -> Result<(), AssembleError> {
    let devices = devices(&house.site);
    if devices.is_empty() { Ok(()) } else { Err(AssembleError::Unused { by, devices }) }
}

/// Every device beyond stores and elements, in words.
fn devices(site: &Site) -> Vec<String> {
    let room = &site.plant_room;
    let mut devices: Vec<String> =
        room.heat_pumps.iter().map(|pump| format!("heat pump `{}`", pump.name)).collect();
    for (there, name) in [
        (room.boiler.is_some(), "the boiler"),
        (room.collectors.is_some(), "the collectors"),
        (room.buffer.is_some(), "the buffer"),
        (room.rooms.is_some(), "the rooms"),
        (room.pool.is_some(), "the pool"),
        (room.phases.is_some(), "limits of single phases"),
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
