//! What a house means for those who obey commands and keep it safe.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::site::{Connection, Phases, PlantRoom, Sink, Source, Store};
use optimiser::units::{Fraction, Power, Temperature};

use crate::house::House;
use crate::service::commands::{Feeder, Plant, PlantFeeder, PlantHeater, PlantStore};
use crate::service::readings::Gate;
use crate::service::settings::{InputSettings, ServiceSettings};
use crate::service::state::fuses::Fuses;
use crate::service::state::{
    Comfort, Input, Need, PlantRoomRules, Rescue, Role, Settings, Shortest, SourceOrder,
};
use crate::service::wire::topics::Topics;
use crate::site_file::{electric, highest_load};

/// How far above useful the comfort minimum heats [K].
const COMFORT_SPAN_K: f64 = 5.0;

/// A flow that heats water to be of use, above that [K].
const WATER_FLOW_K: f64 = 12.0;

/// Names and limits of a house.
pub(super) fn plant(house: &House) -> Plant {
    let full_s = |store: &Store| {
        let kw: f64 = store.elements.iter().map(|element| element.power.kw()).sum();
        (store.heat_at(store.ceiling) / kw.max(1e-3) * 3_600.0) as i64
    };
    let stores = house.site.stores.iter().map(|store| PlantStore {
        name: store.name.clone(),
        ceiling: store.ceiling,
        full_s: full_s(store),
        heaters: store
            .elements
            .iter()
            .map(|element| PlantHeater {
                name: element.name.clone(),
                power_w: (element.power.kw() * 1_000.0).round() as u32,
            })
            .collect(),
    });
    Plant {
        stores: stores.collect(),
        feeders: feeders(house),
        rooms: house.site.plant_room.rooms.is_some(),
    }
}

/// Sources and circuits of a house, by their names.
pub fn feeders(house: &House) -> Vec<PlantFeeder> {
    let mut feeders: Vec<PlantFeeder> = Vec::new();
    for route in house.site.plant_room.routes() {
        let feeder = Feeder::of(route);
        if feeders.iter().all(|own| own.feeder != feeder) {
            let name = match feeder {
                Feeder::Source(source) => house.source_name(source),
                Feeder::Circuit(sink) => format!("{} circuit", house.sink_name(sink)),
            };
            feeders.push(PlantFeeder { name, feeder });
        }
    }
    feeders
}

/// Coils of its store that a probe lies beside.
fn coils_beside(house: &House, input: &InputSettings) -> Vec<usize> {
    let (Role::Probe { store }, Some(height)) = (input.role, input.height) else {
        return Vec::new();
    };
    let coils = house.site.stores[store].coils.iter().enumerate();
    coils.filter(|(_, c)| c.bottom <= height && height <= c.top).map(|(index, _)| index).collect()
}

fn plant_room(house: &House) -> PlantRoomRules {
    let room = &house.site.plant_room;
    let limits = [
        (Sink::Buffer, room.buffer.as_ref().map(|buffer| buffer.ceiling)),
        (Sink::Rooms, room.rooms.map(|rooms| rooms.limit)),
        (Sink::Pool, room.pool.map(|pool| pool.limit)),
    ];
    let lows = house.plant_room.rooms.iter().flat_map(|wish| &wish.comfort);
    PlantRoomRules {
        limits: limits.into_iter().filter_map(|(sink, limit)| Some((sink, limit?))).collect(),
        solar_serves: room.collectors.as_ref().map_or_else(Vec::new, |own| own.serves.clone()),
        stop_difference_k: room.collectors.as_ref().map_or(0.0, |own| own.stop_difference_k),
        useful: house.site.stores.iter().map(|store| store.use_temperature).collect(),
        rooms_low: lows
            .map(|(_, band)| band.low)
            .min_by(|a, b| a.celsius().total_cmp(&b.celsius())),
        spells: spells(room),
        fuses: room.phases.as_ref().map(|phases| fuses(house, phases)),
        rescues: rescues(house),
    }
}

/// What hangs on each phase, at its most.
fn fuses(house: &House, phases: &Phases) -> Fuses {
    let room = &house.site.plant_room;
    let on = |kw: f64, at: Connection| at.shares().map(|share| share * kw);
    let elements = house.site.stores.iter().enumerate().flat_map(|(store, own)| {
        let elements = own.elements.iter().enumerate();
        elements.map(move |(element, e)| (HeaterId { store, element }, e.power.kw()))
    });
    let heaters = elements.zip(&phases.heaters).map(|((id, kw), &at)| (id, on(kw, at)));
    let pumps = room.heat_pumps.iter().enumerate().map(|(index, pump)| {
        let kw = electric(house, pump).kw();
        (Source::HeatPump(index), kw)
    });
    let immersion = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
    let immersion = immersion.map(|power| (Source::Immersion, power.kw()));
    let sources = pumps
        .chain(immersion)
        .map(|(source, kw)| (Feeder::Source(source), on(kw, phases.of_source(source))));
    Fuses {
        fuse: phases.fuse.kw(),
        house: on(highest_load(house).unwrap_or(0.0), phases.base_load),
        battery: phases.battery.shares(),
        heaters: heaters.collect(),
        sources: sources.collect(),
    }
}

/// Least runs and rests of machines.
fn spells(room: &PlantRoom) -> BTreeMap<Feeder, Shortest> {
    let pumps = room.heat_pumps.iter().enumerate().map(|(index, pump)| {
        let shortest = Shortest { on_s: pump.least_run_seconds, off_s: pump.least_rest_seconds };
        (Feeder::Source(Source::HeatPump(index)), shortest)
    });
    let boiler = room.boiler.iter().map(|boiler| {
        let shortest = Shortest { on_s: boiler.least_run_seconds, off_s: 0 };
        (Feeder::Source(Source::Boiler), shortest)
    });
    pumps.chain(boiler).collect()
}

/// Hot water of stores that have no element, then the rooms, by sources in the order of
/// the site: heat pumps, boiler, the buffer's element.
fn rescues(house: &House) -> Vec<Rescue> {
    let (stores, room) = (&house.site.stores, &house.site.plant_room);
    let mut water = Vec::new();
    let mut warmth = Vec::new();
    for route in room.routes() {
        if route.source == Source::Collectors {
            continue;
        }
        let warms = match route.sink {
            Sink::Rooms => true,
            Sink::Buffer => room.buffer.as_ref().is_some_and(|b| b.feeds.contains(&Sink::Rooms)),
            Sink::Pool | Sink::Coil { .. } => false,
        };
        let feeder = Feeder::of(route);
        let own = |need, flow: Option<f64>| Rescue {
            need,
            feeder,
            order: SourceOrder {
                sink: Some(route.sink),
                heat_w: heat_w(house, feeder),
                flow: flow.map(|flow| Temperature::clamped(flow.min(hottest(house, feeder)))),
                request: None,
            },
        };
        match route.sink {
            Sink::Coil { store, .. } if stores[store].elements.is_empty() => {
                let flow = stores[store].use_temperature.celsius() + COMFORT_SPAN_K + WATER_FLOW_K;
                water.push(own(Need::Store(store), Some(flow)));
            }
            _ if warms => {
                let flow = room.rooms.map(|rooms| rooms.curve.flow_when_cold.celsius());
                let flow = flow.filter(|_| route.source != Source::Immersion);
                warmth.push(own(Need::Rooms, flow));
            }
            _ => {}
        }
    }
    water.into_iter().chain(warmth).collect()
}

/// Most heat of a source [W]; what a circuit gives its mixing valve decides.
fn heat_w(house: &House, feeder: Feeder) -> u32 {
    let room = &house.site.plant_room;
    let kw = match feeder {
        Feeder::Source(Source::HeatPump(index)) => room.heat_pumps[index].performance.rated_kw(),
        Feeder::Source(Source::Boiler) => room.boiler.as_ref().map_or(0.0, |own| own.power.kw()),
        Feeder::Source(Source::Immersion) => {
            room.buffer.as_ref().and_then(|buffer| buffer.immersion).map_or(0.0, Power::kw)
        }
        Feeder::Source(Source::Collectors | Source::Buffer) | Feeder::Circuit(_) => 0.0,
    };
    (kw * 1_000.0).round() as u32
}

/// The hottest flow of a source [°C].
fn hottest(house: &House, feeder: Feeder) -> f64 {
    let room = &house.site.plant_room;
    match feeder {
        Feeder::Source(Source::HeatPump(index)) => room.heat_pumps[index].flow_limit.celsius(),
        Feeder::Source(Source::Boiler) => {
            room.boiler.as_ref().map_or(0.0, |own| own.flow_limit.celsius())
        }
        _ => f64::INFINITY,
    }
}

/// All that does not change while the service runs.
pub(super) fn settings(
    house: &House,
    settings: &ServiceSettings,
    topics: &Topics,
    boot_id: &str,
) -> Settings {
    let inputs = settings.inputs.iter().map(|input| Input {
        name: input.name.clone(),
        topic: input.topic.clone(),
        role: input.role,
        height: input.height.map(Fraction::value),
        coils: coils_beside(house, input),
        gate: Gate::new(input.shape.clone(), input.unit, input.limits),
    });
    let comfort = house.site.stores.iter().map(|store| {
        let heights = store.elements.iter().enumerate();
        let highest = heights.max_by(|a, b| a.1.height.value().total_cmp(&b.1.height.value()));
        let below = store.use_temperature;
        highest.map(|(element, own)| Comfort {
            element,
            height: own.height.value(),
            below,
            above: Temperature::clamped(
                (below.celsius() + COMFORT_SPAN_K).min(store.ceiling.celsius()),
            ),
        })
    });
    Settings {
        site: house.name.clone(),
        boot_id: boot_id.to_owned(),
        plant: plant(house),
        inputs: inputs.collect(),
        command: topics.command(),
        start_offset: settings.start_offset,
        comfort: comfort.collect(),
        plant_room: plant_room(house),
        commands_battery: settings.commands_battery,
        shadow: false,
    }
}
