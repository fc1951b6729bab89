//! Sources, sinks and circuits of the plant room.

mod phases;
mod routes;
mod sinks;
mod sources;

use optimiser::site::{PlantRoom, Store};
use optimiser::units::Fraction;

use self::routes::Sinks;
use super::fault::Faults;
use super::stores::element_phases;
use super::tree::Node;
use crate::house::{Climate, Months, PlantRoomFacts, Supply};

pub(super) use self::sinks::{coil, return_loop};

/// The plant room beside the stores, and what ties it to names and local time.
pub(super) fn plant_room(
    root: &Node,
    stores: &[Store],
    supply: &Supply,
    faults: &mut Faults,
) -> (PlantRoom, PlantRoomFacts) {
    let coils = coil_names(root, faults);
    let named = Sinks { stores, coils: &coils };
    let heat_pumps = root.tables("heat_pump");
    for node in heat_pumps {
        element_phases(node, supply, faults);
    }
    let mut room = PlantRoom {
        buffer: root.table("buffer").map(|node| sources::buffer(node, &named, faults)),
        heat_pumps: heat_pumps.iter().map(|n| sources::heat_pump(n, &named, faults)).collect(),
        boiler: root.table("boiler").map(|node| sources::boiler(node, &named, faults)),
        collectors: root
            .table("collectors")
            .map(|node| sources::collectors(node, root, &named, faults)),
        rooms: None,
        pool: root.table("pool").map(|node| sinks::pool(node, faults)),
        phases: None,
    };
    let rooms = root.table("rooms").map(|node| sinks::rooms(node, faults));
    let facts = PlantRoomFacts {
        loop_runs: sinks::loop_runs(root),
        climate: root.table("climate").map(|node| climate(node, faults)).unwrap_or_default(),
        albedo: root.table("collectors").map(|n| n.quantity("albedo_fraction", Fraction::new)),
        rooms: rooms.as_ref().map(|(_, wish)| wish.clone()),
        pool: root.table("pool").and_then(|node| sinks::pool_wish(node, faults)),
        coils: coils.clone(),
    };
    room.rooms = rooms.map(|(rooms, _)| rooms);
    room.phases = phases::phases(root, supply, faults);
    (room, facts)
}

fn coil_names(root: &Node, faults: &mut Faults) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for store in root.tables("store") {
        let mut names: Vec<String> = Vec::new();
        for node in store.tables("coil") {
            let name = node.text("name").to_owned();
            if names.contains(&name) && !node.blamed("name") {
                faults.error(
                    node.span_of("name"),
                    &node.path_of("name"),
                    format!("another coil of the store has the name \"{name}\""),
                    Some("names must differ".to_owned()),
                );
            }
            names.push(name);
        }
        all.push(names);
    }
    all
}

fn climate(node: &Node, faults: &mut Faults) -> Climate {
    Climate {
        outdoor: months(node, "outdoor_celsius", faults),
        brine: months(node, "brine_celsius", faults),
        wind: months(node, "wind_metres_per_second", faults),
        humidity: months(node, "humidity_percent", faults)
            .map(|months| months.map(|percent| percent / 100.0)),
    }
}

/// Twelve values, or one for all months.
pub(super) fn months(node: &Node, key: &str, faults: &mut Faults) -> Option<Months> {
    let values = node.numbers(key)?;
    if let [value] = values {
        return Some([*value; 12]);
    }
    let months = Months::try_from(values).ok();
    if months.is_none() {
        faults.error(
            node.span_of(key),
            &node.path_of(key),
            format!("`{key}` has {} values", values.len()),
            Some("give one, or twelve from January to December".to_owned()),
        );
    }
    months
}
