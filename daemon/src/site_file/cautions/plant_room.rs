//! Plant rooms that hold together and still may not be what was meant.

use optimiser::physics::charging::Charger;
use optimiser::site::{Sink, Source};

use super::super::fault::Faults;
use super::super::tree::Node;
use crate::house::House;

/// Warns of coils, circuits and pasteurisations that no source reaches.
pub(super) fn warn(root: &Node, house: &House, faults: &mut Faults) {
    unfed_coils(root, house, faults);
    unfed_sinks(root, house, faults);
    collectors_from_the_sun(root, house, faults);
    pasteurisation(root, house, faults);
    unknown_state(root, house, faults);
}

fn unknown_state(root: &Node, house: &House, faults: &mut Faults) {
    let (room, state) = (&house.site.plant_room, root.part("state"));
    for (there, key, instead) in [
        (room.buffer.is_some(), "buffer_celsius", "as warm as what is around it"),
        (room.rooms.is_some(), "rooms", "at their lowest comfort"),
        (room.pool.is_some(), "pool_celsius", "as cold as the ground"),
    ] {
        if there && !state.has(key) {
            faults.warning(
                state.span.clone(),
                &state.path_of(key),
                format!("`{key}` of the present state is not given"),
                Some(format!("plans without readings take it {instead}; add it to `[state]`")),
            );
        }
    }
}

fn unfed_coils(root: &Node, house: &House, faults: &mut Faults) {
    let routes = house.site.plant_room.routes();
    for (store, node) in root.tables("store").iter().enumerate() {
        for (coil, node) in node.tables("coil").iter().enumerate() {
            let sink = Sink::Coil { store, coil };
            if routes.iter().all(|route| route.sink != sink) {
                let name = &house.plant_room.coils[store][coil];
                faults.warning(
                    node.span.clone(),
                    &node.path,
                    format!(
                        "no source feeds coil `{name}` of store `{}`",
                        house.site.stores[store].name
                    ),
                    Some("name it in the `serves` of a source, or leave it out".to_owned()),
                );
            }
        }
    }
}

fn unfed_sinks(root: &Node, house: &House, faults: &mut Faults) {
    let room = &house.site.plant_room;
    let routes = room.routes();
    for (sink, there, key) in [
        (Sink::Buffer, room.buffer.is_some(), "buffer"),
        (Sink::Rooms, room.rooms.is_some(), "rooms"),
        (Sink::Pool, room.pool.is_some(), "pool"),
    ] {
        let fed = routes.iter().any(|route| route.sink == sink);
        if let Some(node) = root.table(key).filter(|_| there && !fed) {
            faults.warning(
                node.span.clone(),
                &node.path,
                format!("nothing heats the {key}"),
                Some(format!(
                    "add \"{key}\" to the `serves` of a source or the `feeds` of the buffer"
                )),
            );
        }
    }
}

/// Who counts directions from south writes 0 for the best one.
fn collectors_from_the_sun(root: &Node, house: &House, faults: &mut Faults) {
    let (Some(sun), Some(place), Some(node)) =
        (&house.site.plant_room.collectors, &house.location, root.table("collectors"))
    else {
        return;
    };
    let sunny = if place.latitude < 0.0 { 0.0_f64 } else { 180.0 };
    let towards_sun = (sun.azimuth.degrees() - sunny).to_radians().cos();
    if sun.tilt.degrees() > 15.0 && towards_sun < -0.7 {
        faults.warning(
            node.span_of("azimuth_degrees"),
            &node.path_of("azimuth_degrees"),
            format!(
                "the collectors face away from the sun: {} is counted clockwise from north",
                sun.azimuth
            ),
            Some(format!("write {sunny} if they face the sun at noon, 90 for east, 270 for west")),
        );
    }
}

/// A rule that neither element nor source through a coil can keep.
fn pasteurisation(root: &Node, house: &House, faults: &mut Faults) {
    let room = &house.site.plant_room;
    for (node, rule) in root.tables("hygiene").iter().zip(&house.hygiene) {
        let store = &house.site.stores[rule.store];
        let hottest = room.routes().into_iter().filter_map(|route| {
            let Sink::Coil { store: at, coil } = route.sink else { return None };
            let coil = store.coils.get(coil).filter(|_| at == rule.store)?;
            match route.source {
                Source::HeatPump(index) => {
                    let pump = &room.heat_pumps[index];
                    let source = crate::site_file::summary::design_source(house, pump);
                    Some(Charger::HeatPump(pump, source).highest_water(coil))
                }
                Source::Boiler => {
                    room.boiler.as_ref().map(|boiler| Charger::Boiler(boiler).highest_water(coil))
                }
                Source::Collectors | Source::Immersion | Source::Buffer => None,
            }
        });
        let elements = store.elements.iter().map(|element| store.reach(element).celsius());
        let by_elements = elements.fold(store.mains.celsius(), f64::max);
        let reach = hottest.fold(by_elements, f64::max).min(store.ceiling.celsius());
        if reach < rule.temperature.celsius() && !store.coils.is_empty() {
            faults.warning(
                node.span_of("temperature_celsius"),
                &node.path_of("temperature_celsius"),
                format!(
                    "nothing brings store `{}` to {}: elements and coils stop at {reach:.1} °C, and the sun cannot be counted on",
                    store.name, rule.temperature
                ),
                Some("give it an element that reaches it, or a larger coil or hotter flow".to_owned()),
            );
        }
    }
}
