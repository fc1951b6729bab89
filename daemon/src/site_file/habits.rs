//! Hot-water habits, promises, hygiene rules and the present state.

use optimiser::problem::{PlantRoomState, RoomsState};
use optimiser::site::{Site, Store};
use optimiser::units::{Energy, Flow, Temperature, Volume};
use optimiser::water;

use super::fault::{Faults, nearest};
use super::patterns;
use super::tree::Node;
use crate::house::{
    DailyDraw, DrawHabit, DrawKind, HygieneRule, PlantRoomFacts, PresentState, ReadyTime,
};

/// The store that a table names, or the only one.
pub(super) fn store_of(node: &Node, stores: &[Store], faults: &mut Faults) -> Option<usize> {
    let Some(name) = node.maybe_text("store") else {
        if stores.len() > 1 && !node.blamed("store") {
            faults.error(
                node.span.clone(),
                &node.path,
                format!("there are {} stores, and this does not say which one", stores.len()),
                Some(format!("add `store = \"{}\"`", stores[0].name)),
            );
        }
        return (stores.len() == 1).then_some(0);
    };
    let found = stores.iter().position(|store| store.name == name);
    // Without any store, that is the fault to report.
    if found.is_none() && !stores.is_empty() {
        let names: Vec<&str> = stores.iter().map(|store| store.name.as_str()).collect();
        faults.error(
            node.span_of("store"),
            &node.path_of("store"),
            format!("no store has the name \"{name}\""),
            Some(nearest(name, names.iter().copied()).map_or_else(
                || format!("known: {}", names.join(", ")),
                |meant| format!("did you mean \"{meant}\"?"),
            )),
        );
    }
    found
}

/// Hot-water habits.
pub(super) fn draws(root: &Node, stores: &[Store], faults: &mut Faults) -> Vec<DrawHabit> {
    let mut habits = Vec::new();
    for node in root.tables("draws") {
        let store = store_of(node, stores, faults);
        let kind = match node.only_one(&["pattern", "list", "column"], faults) {
            Some("pattern") => Some(DrawKind::Daily(pattern(node, faults))),
            Some("list") => {
                let mains = store.map(|index| &stores[index]);
                let draws = node.tables("list").iter();
                Some(DrawKind::Daily(draws.filter_map(|d| daily_draw(d, mains, faults)).collect()))
            }
            Some(_) => Some(DrawKind::Series {
                column: node.text("column").to_owned(),
                temperature: node.quantity("at_celsius", Temperature::new),
                flow: node.quantity("flow_litres_per_minute", Flow::new),
                scale: node.number("scale"),
            }),
            None => None,
        };
        if !node.has("pattern") {
            let why = "it scales a `pattern`";
            node.stray(&["litres_per_day", "kwh_per_day"], why, faults);
        }
        if !node.has("column") {
            let why = "it belongs to a series (`column`)";
            node.stray(&["at_celsius", "flow_litres_per_minute", "scale"], why, faults);
        }
        if let (Some(store), Some(kind)) = (store, kind) {
            habits.push(DrawHabit { store, kind });
        }
    }
    habits
}

/// The pattern, scaled to the litres or the heat of the house.
fn pattern(node: &Node, faults: &mut Faults) -> Vec<DailyDraw> {
    let mut draws = patterns::draws(node.text("pattern")).expect("the key tables know the names");
    let scale = match node.only_one_or_none(&["litres_per_day", "kwh_per_day"], faults) {
        Some("litres_per_day") => {
            node.number("litres_per_day") / draws.iter().map(|d| d.volume.litres()).sum::<f64>()
        }
        Some(_) => node.number("kwh_per_day") / patterns::heat(&draws),
        None => 1.0,
    };
    for draw in &mut draws {
        draw.volume = Volume::clamped(draw.volume.litres() * scale);
    }
    draws
}

/// A draw of the house's own list. Litres that leave the store become the
/// litres at the use temperature that carry the same heat.
fn daily_draw(node: &Node, store: Option<&Store>, faults: &mut Faults) -> Option<DailyDraw> {
    let which = node.only_one(&["mixed_litres", "stored_litres"], faults);
    let mains = store.map_or(10.0, |store| store.mains.celsius());
    let at = node.number("at_celsius");
    if at - mains < 5.0 && !node.blamed("at_celsius") {
        faults.error(
            node.span_of("at_celsius"),
            &node.path_of("at_celsius"),
            format!("water at {at} °C asks nothing of a store whose mains water has {mains} °C"),
            Some(
                "give a temperature at least 5 K above the mains, or leave the draw out".to_owned(),
            ),
        );
    }
    let litres = node.number(which?);
    let flow = node.number("flow_litres_per_minute");
    let (factor, temperature) = match (which?, store) {
        ("stored_litres", Some(store)) => {
            let mixed = store.use_temperature.celsius();
            (water::mixed_litres_per_litre(at, mixed, mains), mixed)
        }
        _ => (1.0, at),
    };
    Some(DailyDraw {
        at: node.time("at")?,
        days: node.days("days"),
        volume: Volume::clamped(litres * factor),
        temperature: Temperature::clamped(temperature),
        flow: Flow::clamped(flow * factor),
    })
}

/// Promises by local time.
pub(super) fn ready(root: &Node, stores: &[Store], faults: &mut Faults) -> Vec<ReadyTime> {
    let mut promises = Vec::new();
    for node in root.tables("ready") {
        let (Some(store), Some(by)) = (store_of(node, stores, faults), node.time("by")) else {
            continue;
        };
        let usual = stores[store].use_temperature;
        promises.push(ReadyTime {
            store,
            by,
            days: node.days("days"),
            volume: node.quantity("mixed_litres", Volume::new),
            temperature: node.maybe_quantity("at_celsius", Temperature::new).unwrap_or(usual),
        });
    }
    promises
}

/// Pasteurisation rules.
pub(super) fn hygiene(root: &Node, stores: &[Store], faults: &mut Faults) -> Vec<HygieneRule> {
    let mut rules: Vec<HygieneRule> = Vec::new();
    for node in root.tables("hygiene") {
        let Some(store) = store_of(node, stores, faults) else { continue };
        let name = &stores[store].name;
        if rules.iter().any(|rule| rule.store == store) {
            faults.error(
                node.span.clone(),
                &node.path,
                format!("store `{name}` has two hygiene rules"),
                Some("keep the stricter one".to_owned()),
            );
        }
        let temperature = node.quantity("temperature_celsius", Temperature::new);
        let reach = stores[store].highest_reach();
        if temperature > reach
            && !stores[store].elements.is_empty()
            && stores[store].coils.is_empty()
        {
            faults.error(
                node.span_of("temperature_celsius"),
                &node.path_of("temperature_celsius"),
                format!("no element of store `{name}` reaches {temperature}; thermostats and ceiling stop at {reach}"),
                Some("raise a thermostat and the ceiling within their limits, or lower the rule".to_owned()),
            );
        }
        rules.push(HygieneRule {
            store,
            temperature,
            hold_minutes: node.number("hold_minutes"),
            every_days: node.number("every_days"),
            last_proven: node.instant("last_proven"),
        });
    }
    rules
}

/// The present state. What is not given is taken as empty: the battery at its
/// reserve, the stores at mains temperature.
pub(super) fn state(
    root: &Node,
    site: &Site,
    facts: &PlantRoomFacts,
    faults: &mut Faults,
) -> PresentState {
    let node = root.part("state");
    let mut stores: Vec<_> = site.stores.iter().map(|store| vec![store.mains]).collect();
    let mut given = Vec::new();
    for part in node.tables("store") {
        let Some(index) = store_of(part, &site.stores, faults) else { continue };
        if given.contains(&index) {
            faults.error(
                part.span.clone(),
                &part.path,
                format!("the state of store `{}` is given twice", site.stores[index].name),
                Some("keep one of them".to_owned()),
            );
        }
        given.push(index);
        if let Some(profile) = part.numbers("bottom_to_top_celsius") {
            stores[index] = profile.iter().map(|&t| Temperature::clamped(t)).collect();
        }
    }
    let plant_room = plant_room_state(node, site, facts, faults);
    PresentState { battery: battery_state(node, site, faults), stores, plant_room }
}

/// Buffer and pool as warm as what is around them, rooms at their lowest comfort,
/// unless it is stated.
fn plant_room_state(
    node: &Node,
    site: &Site,
    facts: &PlantRoomFacts,
    faults: &mut Faults,
) -> PlantRoomState {
    let room = &site.plant_room;
    for (key, there, what) in [
        ("buffer_celsius", room.buffer.is_some(), "buffer"),
        ("pool_celsius", room.pool.is_some(), "pool"),
        ("rooms", room.rooms.is_some(), "description of rooms"),
    ] {
        if !there {
            node.stray(&[key], &format!("there is no {what}"), faults);
        }
    }
    let celsius = |key, other| node.maybe_quantity(key, Temperature::new).unwrap_or(other);
    let rooms = facts.rooms.as_ref().map(|wish| {
        let low = wish.comfort.iter().map(|(_, band)| band.low);
        let low = low.reduce(|a, b| if b < a { b } else { a }).unwrap_or(wish.design_indoor);
        let stated = node.table("rooms");
        let air = stated.map_or(low, |rooms| rooms.quantity("air_celsius", Temperature::new));
        let mass = stated.and_then(|rooms| rooms.maybe_quantity("mass_celsius", Temperature::new));
        RoomsState { air, mass: mass.unwrap_or(air) }
    });
    PlantRoomState {
        buffer: room.buffer.as_ref().map(|b| celsius("buffer_celsius", b.surroundings)),
        pool: room.pool.map(|pool| celsius("pool_celsius", pool.ground)),
        rooms,
        ..PlantRoomState::default()
    }
}

fn battery_state(node: &Node, site: &Site, faults: &mut Faults) -> Energy {
    let given = node.only_one_or_none(&["battery_kwh", "battery_percent"], faults);
    let Some(battery) = &site.battery else {
        node.stray(&["battery_kwh", "battery_percent"], "there is no battery", faults);
        return Energy::constant(0.0);
    };
    match given {
        Some("battery_kwh") => {
            let level = node.quantity("battery_kwh", Energy::new);
            if level > battery.capacity {
                faults.error(
                    node.span_of("battery_kwh"),
                    &node.path_of("battery_kwh"),
                    format!("a level of {level} is above the capacity {}", battery.capacity),
                    Some("correct the level or the capacity".to_owned()),
                );
            }
            level
        }
        Some(_) => Energy::clamped(node.number("battery_percent") / 100.0 * battery.capacity.kwh()),
        None => battery.reserve,
    }
}
