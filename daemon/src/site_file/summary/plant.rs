//! The plant drawn as text: who feeds what, at which height, within which limits.

use optimiser::site::{HeatPump, HeatSource, Sink, SolarPriority, Source, Store};

use super::super::Checked;
use super::Page;
use crate::house::House;

pub(super) fn describe(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    if !house.site.plant_room.is_empty() {
        page.heading("Plant, from sources to sinks");
        for source in house.site.plant_room.sources() {
            page.sentence(&source_in_words(house, source));
            for route in house.site.plant_room.routes() {
                if route.source == source {
                    page.sentence(&format!("  └─ {}", sink_in_words(house, route.sink, source)));
                }
            }
        }
    }
    for (index, store) in house.site.stores.iter().enumerate() {
        column(page, house, index, store);
    }
}

/// A source, its limits and its manners.
pub(crate) fn source_in_words(house: &House, source: Source) -> String {
    let room = &house.site.plant_room;
    match source {
        Source::HeatPump(index) => {
            let pump = &room.heat_pumps[index];
            format!(
                "heat pump `{}`, {}, flow to {}, one job at a time, runs {} and rests {} min or more",
                pump.name,
                taken_from(pump),
                pump.flow_limit,
                pump.least_run_seconds / 60,
                pump.least_rest_seconds / 60
            )
        }
        Source::Boiler => room.boiler.as_ref().map_or_else(String::new, |boiler| {
            format!(
                "boiler, {}, flow to {}, one job at a time{}",
                boiler.power,
                boiler.flow_limit,
                if boiler.back_up_only { ", only as back-up" } else { "" }
            )
        }),
        Source::Collectors => room.collectors.as_ref().map_or_else(String::new, |sun| {
            format!(
                "collectors, {} m² at {}° facing {}°, one sink at a time: {}, to {}",
                sun.area_m2,
                sun.tilt.degrees(),
                sun.azimuth.degrees(),
                match sun.priority {
                    SolarPriority::Absolute => "the first until it is full, then the next",
                    SolarPriority::Relative => "the first that they are warm enough for",
                    SolarPriority::Optimiser => "the plan chooses",
                },
                sun.limit
            )
        }),
        Source::Immersion => {
            let power = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
            power.map_or_else(String::new, |kw| format!("element of the buffer, {kw}"))
        }
        Source::Buffer => room.buffer.as_ref().map_or_else(String::new, |buffer| {
            format!("buffer, {}, to {}", buffer.volume, buffer.ceiling)
        }),
    }
}

fn taken_from(pump: &HeatPump) -> &'static str {
    match pump.source {
        HeatSource::Air => "from the air",
        HeatSource::Ground => "from the ground",
    }
}

/// A sink as a source meets it.
pub(crate) fn sink_in_words(house: &House, sink: Sink, from: Source) -> String {
    let room = &house.site.plant_room;
    match sink {
        Sink::Coil { store, coil } => {
            let site = &house.site.stores[store];
            let here = &site.coils[coil];
            format!(
                "store `{}`, coil `{}` from {} to {} of the height, {:.0} W/K; water to {}",
                site.name,
                house.plant_room.coils[store][coil],
                here.bottom.value(),
                here.top.value(),
                here.transfer.watts_per_kelvin(),
                site.ceiling
            )
        }
        Sink::Buffer => room.buffer.as_ref().map_or_else(String::new, |buffer| {
            format!("buffer, {}, to {}", buffer.volume, buffer.ceiling)
        }),
        Sink::Rooms => room.rooms.as_ref().map_or_else(String::new, |rooms| {
            let curve = rooms.curve;
            format!(
                "rooms, {}flow {} at {} to {} at {}; thermostats close at {}",
                if from == Source::Buffer { "through the mixing valve, " } else { "" },
                curve.flow_when_cold,
                curve.cold,
                curve.flow_when_mild,
                curve.mild,
                rooms.limit
            )
        }),
        Sink::Pool => room.pool.map_or_else(String::new, |pool| {
            format!(
                "pool, {}exchanger of {}; water to {}",
                if from == Source::Buffer { "unmixed, " } else { "" },
                pool.exchanger,
                pool.limit
            )
        }),
    }
}

/// A store from its top down, with everything that enters, leaves or heats it.
fn column(page: &mut Page, house: &House, index: usize, store: &Store) {
    page.heading(&format!("Store `{}` from its top down, height as a share", store.name));
    let mut marks: Vec<(f64, String)> = Vec::new();
    for element in &store.elements {
        let text = format!(
            "element `{}`, {}, to {}; heats what is above",
            element.name,
            element.power,
            store.reach(element)
        );
        marks.push((element.height.value(), text));
    }
    for (number, coil) in store.coils.iter().enumerate() {
        let name = &house.plant_room.coils[index][number];
        let feeders = feeders(house, Sink::Coil { store: index, coil: number });
        marks.push((coil.top.value(), format!("coil `{name}` begins, fed by {feeders}")));
        marks.push((coil.bottom.value(), format!("coil `{name}` ends")));
    }
    if let Some(pipe) = &store.return_loop {
        let text = format!(
            "secondary return, {} while the pump runs, until it is {} warm",
            pipe.flow, pipe.cut_off
        );
        marks.push((pipe.return_height.value(), text));
    }
    marks.sort_by(|a, b| b.0.total_cmp(&a.0));
    let cut_out = store.cut_out.map_or_else(String::new, |cut_out| format!(", cut-out {cut_out}"));
    page.sentence(&format!("1.00 ┬ hot water out; planned to {}{cut_out}", store.ceiling));
    for (height, text) in marks {
        page.sentence(&format!("{height:.2} ┼ {text}"));
    }
    page.sentence(&format!("0.00 ┴ cold water in, {}", store.mains));
}

/// Names of the sources that serve a sink.
fn feeders(house: &House, sink: Sink) -> String {
    let routes = house.site.plant_room.routes();
    let names: Vec<String> = routes
        .iter()
        .filter(|route| route.sink == sink)
        .map(|route| match route.source {
            Source::HeatPump(_) => format!("heat pump `{}`", house.source_name(route.source)),
            source => house.source_name(source),
        })
        .collect();
    if names.is_empty() { "nothing".to_owned() } else { names.join(" and ") }
}
