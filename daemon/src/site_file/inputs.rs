//! What is measured, and where it arrives.

use optimiser::problem::HeaterId;
use optimiser::site::{Sink, Source};
use optimiser::units::{Fraction, Power, Volume};

use super::fault::Faults;
use super::habits::store_of;
use super::keys::service::MEASURES;
use super::service::{pointer, refuse, topic};
use super::tree::Node;
use crate::house::House;
use crate::service::learning::Meter;
use crate::service::readings::{Limits, Quantity, Shape, Unit};
use crate::service::settings::InputSettings;
use crate::service::state::Role;

/// What is measured; `None` after a fault in one of them.
pub(super) fn inputs(
    node: &Node,
    house: &House,
    faults: &mut Faults,
) -> Option<Vec<InputSettings>> {
    let nodes = node.tables("input");
    let inputs: Vec<_> = nodes.iter().map(|node| input(node, house, faults)).collect();
    for (i, node) in nodes.iter().enumerate() {
        let name = node.maybe_text("name");
        if name.is_some() && nodes[..i].iter().any(|other| other.maybe_text("name") == name) {
            let message = format!("two inputs have the name \"{}\"", name.unwrap_or_default());
            refuse(node, "name", message, "give each its own", faults);
        }
    }
    let inputs: Vec<_> = inputs.into_iter().collect::<Option<_>>()?;
    for (index, store) in house.site.stores.iter().enumerate() {
        let seen = inputs.iter().any(|input| input.role == Role::Probe { store: index });
        let is_heated = !store.elements.is_empty() || !store.coils.is_empty();
        if !seen && is_heated {
            faults.warning(
                node.span.clone(),
                &node.path,
                format!(
                    "no input measures store `{}`, so the service heats it by the model alone",
                    store.name
                ),
                Some("add a `[[service.input]]` that measures its temperature".to_owned()),
            );
        }
    }
    Some(inputs)
}

fn input(node: &Node, house: &House, faults: &mut Faults) -> Option<InputSettings> {
    let measures = node.text("measures");
    let topic = topic(node, faults);
    let shape = shape(node, faults);
    let role = role(node, measures, house, faults);
    let unit: Option<Unit> = node.maybe_text("unit").and_then(|text| match text.parse() {
        Ok(unit) => Some(unit),
        Err(error) => {
            refuse(node, "unit", error, "write it as the device means it", faults);
            None
        }
    });
    let (topic, shape, role, unit) = (topic?, shape?, role?, unit?);
    let wanted = match measures {
        "battery-level" => Quantity::Share,
        _ if measures.ends_with("-temperature") => Quantity::Temperature,
        _ if measures.ends_with("-energy") => Quantity::Counter,
        _ => Quantity::Power,
    };
    if unit.quantity != wanted {
        let message = format!("\"{}\" is no unit of `{measures}`", node.text("unit"));
        refuse(node, "unit", message, "see the list of units in the example file", faults);
        return None;
    }
    let mut limits = limits(measures, role, house);
    if let Some(minutes) = node.maybe_number("maximum_age_minutes") {
        limits.max_age_s = (minutes * 60.0) as i64;
    }
    let name = node.maybe_text("name")?.to_owned();
    let height = node.maybe_quantity("height_fraction", Fraction::new);
    Some(InputSettings { name, topic, role, height, shape, unit, limits })
}

fn shape(node: &Node, faults: &mut Faults) -> Option<Shape> {
    let form = node.text("form");
    if form != "json" {
        let why = "it leads into JSON (`form = \"json\"`)";
        node.stray(&["value_pointer", "time_pointer"], why, faults);
    }
    if form != "senml" {
        node.stray(&["record"], "it names a record of a SenML pack (`form = \"senml\"`)", faults);
    }
    match form {
        "json" => Some(Shape::Json {
            value: pointer(node, "value_pointer", true, faults)?,
            time: pointer(node, "time_pointer", false, faults),
        }),
        "senml" => {
            if let Some(name) = node.maybe_text("record") {
                return Some(Shape::SenMl { name: name.to_owned() });
            }
            let message = "a SenML pack needs `record`".to_owned();
            refuse(node, "form", message, "add `record = \"…\"`, base name included", faults);
            None
        }
        _ => Some(Shape::Plain),
    }
}

fn role(node: &Node, measures: &str, house: &House, faults: &mut Faults) -> Option<Role> {
    debug_assert!(MEASURES.contains(&measures), "the key tables know the words");
    let of_heater = matches!(measures, "heater-power" | "heater-energy");
    if measures != "store-temperature" {
        node.stray(&["height_fraction"], "it belongs to a probe in a store", faults);
    }
    if measures != "store-temperature" && !of_heater {
        node.stray(&["store"], "it belongs to a probe in a store, or to a heater", faults);
    }
    if !of_heater {
        node.stray(&["heater"], "it belongs to the power or energy of a heater", faults);
    }
    if !matches!(measures, "source-power" | "source-energy") {
        node.stray(&["source"], "it belongs to the power or energy of a source", faults);
    }
    let room = &house.site.plant_room;
    let there = |is_there: bool, table: &str, role: Role, faults: &mut Faults| {
        if !is_there {
            let message = format!("the site has no `[{table}]`");
            refuse(node, "measures", message, "describe it, or remove this input", faults);
        }
        is_there.then_some(role)
    };
    match measures {
        "store-temperature" => {
            if !node.has("height_fraction") {
                let message = "a probe needs `height_fraction`".to_owned();
                let hint = "0 is the bottom of the store, 1 its top";
                refuse(node, "measures", message, hint, faults);
            }
            store_of(node, &house.site.stores, faults).map(|store| Role::Probe { store })
        }
        "battery-level" | "battery-power" if house.site.battery.is_none() => {
            let message = "the site has no battery".to_owned();
            refuse(node, "measures", message, "add `[battery]`, or remove this input", faults);
            None
        }
        "battery-level" => Some(Role::Charge),
        "battery-power" => Some(Role::Meter(Meter::Battery)),
        "pv-power" | "pv-energy" => Some(Role::Meter(Meter::Pv)),
        "load-power" | "load-energy" => Some(Role::Meter(Meter::Load)),
        "import-power" => Some(Role::Meter(Meter::Import)),
        "buffer-temperature" => {
            there(room.buffer.is_some(), "buffer", Role::Sink(Sink::Buffer), faults)
        }
        "room-temperature" => there(room.rooms.is_some(), "rooms", Role::Sink(Sink::Rooms), faults),
        "pool-temperature" => there(room.pool.is_some(), "pool", Role::Sink(Sink::Pool), faults),
        "collector-temperature" => {
            there(room.collectors.is_some(), "collectors", Role::Collectors, faults)
        }
        "source-power" | "source-energy" => {
            source(node, house, faults).map(|source| Role::Meter(Meter::Source(source)))
        }
        _ if of_heater => heater(node, house, faults).map(|id| Role::Meter(Meter::Heater(id))),
        _ => Some(Role::Outdoor),
    }
}

fn heater(node: &Node, house: &House, faults: &mut Faults) -> Option<HeaterId> {
    let store = store_of(node, &house.site.stores, faults)?;
    let elements = &house.site.stores[store].elements;
    let names: Vec<&str> = elements.iter().map(|element| element.name.as_str()).collect();
    let found = match node.maybe_text("heater") {
        Some(name) => names.iter().position(|own| *own == name),
        None => (names.len() == 1).then_some(0),
    };
    if found.is_none() {
        let message = "it must say which heater it measures".to_owned();
        let hint = format!("give `heater`: {}", names.join(", "));
        refuse(node, "heater", message, &hint, faults);
    }
    found.map(|element| HeaterId { store, element })
}

fn source(node: &Node, house: &House, faults: &mut Faults) -> Option<Source> {
    let routes = house.site.plant_room.routes().into_iter();
    let mut sources: Vec<Source> =
        routes.map(|route| route.source).filter(|source| *source != Source::Buffer).collect();
    sources.dedup();
    let names: Vec<String> = sources.iter().map(|source| house.source_name(*source)).collect();
    let found = match node.maybe_text("source") {
        Some(name) => names.iter().position(|own| own == name),
        None => (names.len() == 1).then_some(0),
    };
    if found.is_none() {
        let (message, hint) = if names.is_empty() {
            ("the site has no source".to_owned(), "remove this input".to_owned())
        } else {
            let hint = format!("give `source`: {}", names.join(", "));
            ("it must say which source it measures".to_owned(), hint)
        };
        refuse(node, "source", message, &hint, faults);
    }
    found.map(|index| sources[index])
}

/// Least water that surrounds a probe: this share of the store
/// (common practice, no published source).
const AROUND_PROBE: f64 = 0.05;

fn limits(measures: &str, role: Role, house: &House) -> Limits {
    let fuse = house.supply.fuse.power_at(house.supply.volts, house.supply.phases);
    match (role, &house.site.battery) {
        (Role::Probe { store: index }, _) => {
            let store = &house.site.stores[index];
            let heaters: f64 = store.elements.iter().map(|element| element.power.kw()).sum();
            let heaters = heaters + coils_kw(house, index);
            Limits::of_probe(
                Power::clamped(heaters),
                Volume::clamped(store.volume.litres() * AROUND_PROBE),
                store.volume,
            )
        }
        (Role::Charge, Some(battery)) => {
            let most = battery.charge_limit.kw().max(battery.discharge_limit.kw());
            Limits::of_charge(Power::clamped(most), battery.capacity.kwh())
        }
        (Role::Outdoor, _) => Limits::of_outdoors(),
        (Role::Sink(sink), _) => of_sink(sink, house),
        (Role::Collectors, _) => Limits::of_collectors(),
        _ if measures.ends_with("-energy") => Limits::of_counter(fuse),
        _ => Limits::of_power(fuse),
    }
}

/// Most heat that reaches a store through its coils at once [kW]: each coil as rated at
/// twice the difference of its rating.
fn coils_kw(house: &House, store: usize) -> f64 {
    const DIFFERENCE_K: f64 = 30.0;
    let coils = house.site.stores[store].coils.iter();
    coils.map(|coil| coil.transfer.watts_per_kelvin() / 1_000.0 * DIFFERENCE_K).sum()
}

fn of_sink(sink: Sink, house: &House) -> Limits {
    let room = &house.site.plant_room;
    let pumps: f64 = room.heat_pumps.iter().map(|pump| pump.performance.rated_kw()).sum();
    let boiler = room.boiler.as_ref().map_or(0.0, |boiler| boiler.power.kw());
    match (sink, &room.buffer, &room.pool) {
        (Sink::Buffer, Some(buffer), _) => {
            let immersion = buffer.immersion.map_or(0.0, Power::kw);
            Limits::of_buffer(Power::clamped(pumps + boiler + immersion), buffer.volume)
        }
        (Sink::Pool, _, Some(pool)) => {
            let water = Volume::clamped(pool.surface_m2 * pool.depth_m * 1_000.0);
            Limits::of_pool(pool.exchanger, water)
        }
        _ => Limits::of_rooms(),
    }
}
