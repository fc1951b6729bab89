//! Design checks of return loops, rooms and pool.

use optimiser::physics::coil::SPREAD_K;
use optimiser::site::{Exposure, HeatSource, Pool, ReturnLoop, Rooms, Sink, Source, Store};
use optimiser::units::Power;
use optimiser::water::heat_kwh;

use super::super::Checked;
use super::sources::design_source;
use super::{Page, duration};
use crate::house::{House, PoolComfort, RoomsWish};

/// Mean difference between calculated and measured heat loss: 56 homes in Great
/// Britain, Heat Pump Ready study, 2024.
const LOSS_DOUBT: f64 = 0.35;

/// Temperature that a circulation loop is judged at [°C].
const LOOP_CELSIUS: f64 = 60.0;

pub(super) fn describe(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    for (index, store) in house.site.stores.iter().enumerate() {
        if let Some(pipe) = &store.return_loop {
            return_loop(page, house, index, store, pipe);
        }
    }
    if let (Some(rooms), Some(wish)) = (&house.site.plant_room.rooms, &house.plant_room.rooms) {
        describe_rooms(page, house, rooms, wish);
    }
    if let Some(pool) = &house.site.plant_room.pool {
        describe_pool(page, house, pool);
    }
}

fn return_loop(page: &mut Page, house: &House, index: usize, store: &Store, pipe: &ReturnLoop) {
    page.heading(&format!("Secondary return of `{}`", store.name));
    let hot = store.highest_reach().celsius().min(LOOP_CELSIUS);
    let kelvin = hot - pipe.surroundings.celsius();
    let watts = pipe.heat_loss() * kelvin;
    page.line(
        "pipe",
        &format!(
            "{} m, {:.1} L, {:.1} W/m at {hot} °C in {}",
            pipe.length_m,
            pipe.content.litres(),
            pipe.loss_w_per_mk * kelvin,
            pipe.surroundings
        ),
    );
    // Between two runs the pipe cools; each run warms it again.
    let runs: Vec<_> = house.plant_room.loop_runs.iter().filter(|r| r.store == index).collect();
    let hours: f64 =
        runs.iter().map(|r| r.seconds as f64 / 3_600.0 * r.days.len() as f64 / 7.0).sum();
    let starts: f64 = runs.iter().map(|r| r.days.len() as f64 / 7.0).sum();
    let warming = heat_kwh(pipe.content.litres(), kelvin);
    page.line(
        "loss",
        &format!(
            "{:.2} kWh a day as timed ({starts:.1} runs, {}), {:.1} kWh a day if it always ran",
            starts * warming + hours * watts / 1_000.0,
            duration(hours),
            watts * 24.0 / 1_000.0
        ),
    );
    page.line(
        "mixing",
        &format!(
            "its flow of {} turns the store over in {}; what is above its return mixes sooner",
            pipe.flow,
            duration(store.volume.litres() / pipe.flow.litres_per_minute() / 60.0)
        ),
    );
}

fn describe_rooms(page: &mut Page, house: &House, rooms: &Rooms, wish: &RoomsWish) {
    page.heading("Rooms");
    let kelvin = wish.design_indoor.above(rooms.curve.cold);
    let load = |watts_per_kelvin: f64| watts_per_kelvin * kelvin / 1_000.0;
    let calculated = load(rooms.heat_loss.watts_per_kelvin());
    page.line(
        "design load",
        &format!(
            "{calculated:.1} kW calculated, {:.0} W/K from {} to {}",
            rooms.heat_loss.watts_per_kelvin(),
            wish.design_indoor,
            rooms.curve.cold
        ),
    );
    let (low, high) = match rooms.measured_loss {
        Some(measured) => {
            let measured = load(measured.watts_per_kelvin());
            page.line("", &format!("{measured:.1} kW by the measured coefficient, planned with"));
            (measured, measured)
        }
        None => (calculated / (1.0 + LOSS_DOUBT), calculated),
    };
    if low < high {
        page.line(
            "",
            &format!(
                "{low:.1} to {high:.1} kW in truth: 56 measured homes were off by {:.0} % in the mean, most over-estimated",
                100.0 * LOSS_DOUBT
            ),
        );
    }
    let mean_k =
        rooms.curve.flow_when_cold.celsius() - 0.5 * SPREAD_K - wish.design_indoor.celsius();
    let emitted = rooms.emitters.watts_per_kelvin() * mean_k / 1_000.0;
    page.line(
        "emitters",
        &format!(
            "{emitted:.1} kW at a flow of {}{}",
            rooms.curve.flow_when_cold,
            if emitted < low * 0.99 { ", LESS than the design load" } else { "" }
        ),
    );
    page.line(
        "time constant",
        &format!(
            "{:.0} h: {:.1} kWh/K over {:.0} W/K",
            rooms.capacity_kwh_per_k * 1_000.0 / rooms.loss().watts_per_kelvin(),
            rooms.capacity_kwh_per_k,
            rooms.loss().watts_per_kelvin()
        ),
    );
    supply(page, house, rooms, (low, high));
}

/// What the sources of the rooms give on the design day, and what they draw.
fn supply(page: &mut Page, house: &House, rooms: &Rooms, (low, high): (f64, f64)) {
    let room = &house.site.plant_room;
    let flow = rooms.curve.flow_when_cold;
    for source in serving(house, Sink::Rooms) {
        let (kw, cop, what) = match source {
            Source::HeatPump(index) => {
                let pump = &room.heat_pumps[index];
                let from = design_source(house, pump);
                let at = pump.at(from.celsius(), flow.celsius());
                let letter = if pump.source == HeatSource::Air { 'A' } else { 'B' };
                let point = format!("{letter}{}/W{}", from.celsius(), flow.celsius());
                let model = pump.performance.name();
                let what = format!(" at {point}, COP {:.2} after {model}", at.cop);
                (at.capacity_kw, Some(at.cop), what)
            }
            Source::Boiler => {
                (room.boiler.as_ref().map_or(0.0, |b| b.power.kw()), None, String::new())
            }
            Source::Immersion => {
                let power = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
                (power.map_or(0.0, Power::kw), Some(1.0), String::new())
            }
            Source::Collectors | Source::Buffer => continue,
        };
        page.line(
            &format!("heat from `{}`", house.source_name(source)),
            &format!("{kw:.1} kW{what}; {:.0} % of the design load", 100.0 * kw / high.max(0.01)),
        );
        if let Some(cop) = cop {
            let day = |load: f64| 24.0 * load.min(kw) / cop;
            let (least, most) = (day(low), day(high));
            let band = if most - least < 0.05 {
                format!("{most:.0}")
            } else {
                format!("{least:.0} to {most:.0}")
            };
            page.line("", &format!("{band} kWh of electricity on a day as cold as that"));
        }
    }
}

/// Sources whose heat reaches a sink, directly or through the buffer.
pub(super) fn serving(house: &House, sink: Sink) -> Vec<Source> {
    let routes = house.site.plant_room.routes();
    let through = routes.iter().any(|r| r.source == Source::Buffer && r.sink == sink);
    let mut sources: Vec<Source> = routes
        .iter()
        .filter(|r| r.source != Source::Buffer)
        .filter(|r| r.sink == sink || through && r.sink == Sink::Buffer)
        .map(|r| r.source)
        .collect();
    sources.sort_unstable();
    sources.dedup();
    sources
}

fn describe_pool(page: &mut Page, house: &House, pool: &Pool) {
    page.heading("Pool");
    let capacity = pool.capacity_kwh_per_k();
    page.line(
        "water",
        &format!(
            "{:.0} m², {:.0} m³: {capacity:.1} kWh for each kelvin",
            pool.surface_m2,
            pool.surface_m2 * pool.depth_m
        ),
    );
    match pool.exposure {
        Exposure::Outdoor { evaporation, wind_share, .. } => page.line(
            "evaporation after",
            &format!(
                "{}, wind at the surface {:.0} % of the weather's",
                evaporation.name(),
                100.0 * wind_share.value()
            ),
        ),
        Exposure::Indoor { loss_w_per_m2 } => {
            let kw = loss_w_per_m2 * pool.surface_m2 / 1_000.0;
            page.line("loss", &format!("{kw:.2} kW steadily, {:.1} kWh a day", 24.0 * kw));
        }
    }
    if let Some(wish) = &house.plant_room.pool {
        let wanted = match &wish.comfort {
            PoolComfort::AboveAir(kelvin) => format!("the mean air of the day and {kelvin} K"),
            PoolComfort::Bands(bands) => {
                let bands: Vec<String> = bands
                    .iter()
                    .map(|(from, band)| {
                        format!("{} to {} from {}", band.low, band.high, from.format("%H:%M"))
                    })
                    .collect();
                bands.join(", ")
            }
        };
        page.line("wanted", &wanted);
        let covers: Vec<String> = wish
            .covered
            .iter()
            .map(|(from, until)| format!("{} to {}", from.format("%H:%M"), until.format("%H:%M")))
            .collect();
        if matches!(pool.exposure, Exposure::Outdoor { .. }) {
            let covers = if covers.is_empty() { "never".to_owned() } else { covers.join(", ") };
            page.line("under its cover", &covers);
        }
    }
    let kw = most_heat(house, pool);
    page.line(
        "heat-up",
        &format!(
            "{kw:.1} kW at most bring a kelvin in {} before losses, ten in {}",
            duration(capacity / kw.max(0.01)),
            duration(10.0 * capacity / kw.max(0.01))
        ),
    );
}

/// Most heat that the sources bring through the pool's exchanger [kW].
pub(super) fn most_heat(house: &House, pool: &Pool) -> f64 {
    let sum: f64 = serving(house, Sink::Pool).into_iter().map(|s| nominal_kw(house, s)).sum();
    sum.min(pool.exchanger.kw())
}

/// Heat of a source at its design point [kW]; collectors count for nothing.
pub(super) fn nominal_kw(house: &House, source: Source) -> f64 {
    let room = &house.site.plant_room;
    match source {
        Source::HeatPump(index) => {
            let pump = &room.heat_pumps[index];
            pump.at(design_source(house, pump).celsius(), 35.0).capacity_kw
        }
        Source::Boiler => room.boiler.as_ref().map_or(0.0, |boiler| boiler.power.kw()),
        Source::Immersion => room.buffer.as_ref().and_then(|b| b.immersion).map_or(0.0, Power::kw),
        Source::Collectors | Source::Buffer => 0.0,
    }
}
