//! Design checks of heat pumps, boiler, collectors and buffer.

use optimiser::physics::charging::{Charged, Charger};
use optimiser::site::{Boiler, Buffer, Collectors, HeatPump, HeatSource, Sink, Source};
use optimiser::standards::{losses, vessel};
use optimiser::units::Temperature;
use optimiser::water::heat_kwh;

use super::super::Checked;
use super::{Page, duration};
use crate::house::House;

/// Rating points of EN 14511 (from memory): source and flow temperature.
const AIR_POINTS: [(f64, f64); 4] = [(-7.0, 35.0), (2.0, 35.0), (7.0, 35.0), (7.0, 55.0)];
const GROUND_POINTS: [(f64, f64); 3] = [(0.0, 35.0), (0.0, 45.0), (0.0, 55.0)];

/// Brine where the site states none, as [`crate::assemble`] takes it [°C].
const USUAL_BRINE: f64 = 5.0;

/// Difference that a buffer works over between two runs [K] (common practice,
/// no published source).
const BUFFER_SWING_K: f64 = 5.0;

pub(super) fn describe(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    let room = &house.site.plant_room;
    for (index, pump) in room.heat_pumps.iter().enumerate() {
        heat_pump(page, house, index, pump);
    }
    if let Some(boiler) = &room.boiler {
        describe_boiler(page, house, boiler);
    }
    if let Some(collectors) = &room.collectors {
        describe_collectors(page, house, collectors);
    }
    if let Some(buffer) = &room.buffer {
        describe_buffer(page, house, buffer);
    }
}

/// The source temperature that the design is checked at.
pub(in crate::site_file) fn design_source(house: &House, pump: &HeatPump) -> Temperature {
    let celsius = match pump.source {
        HeatSource::Air => house.site.plant_room.rooms.map_or(2.0, |r| r.curve.cold.celsius()),
        HeatSource::Ground => house
            .plant_room
            .climate
            .brine
            .map_or(USUAL_BRINE, |months| months.into_iter().fold(f64::MAX, f64::min)),
    };
    Temperature::clamped(celsius)
}

fn heat_pump(page: &mut Page, house: &House, index: usize, pump: &HeatPump) {
    page.heading(&format!("Heat pump `{}`", pump.name));
    page.line("COP after", pump.performance.name());
    let (letter, points): (char, &[(f64, f64)]) = match pump.source {
        HeatSource::Air => ('A', &AIR_POINTS),
        HeatSource::Ground => ('B', &GROUND_POINTS),
    };
    for (row, &(source, flow)) in points.iter().enumerate() {
        let at = pump.at(source, flow);
        let beyond = if flow > pump.flow_limit.celsius() { ", beyond its flow limit" } else { "" };
        page.line(
            if row == 0 { "at rating points" } else { "" },
            &format!(
                "{letter}{source}/W{flow}: {:.1} kW, COP {:.2}, {:.1} kW electric{beyond}",
                at.capacity_kw,
                at.cop,
                at.capacity_kw / at.cop + pump.auxiliary.kw()
            ),
        );
    }
    if pump.defrost_loss.value() > 0.0 {
        page.line(
            "",
            &format!(
                "{:.0} % less of both below {} for frost",
                100.0 * pump.defrost_loss.value(),
                HeatPump::FROST_BELOW
            ),
        );
    }
    let source = design_source(house, pump);
    for sink in &pump.serves {
        if let Sink::Coil { store, coil } = *sink {
            let charger = Charger::HeatPump(pump, source);
            charging(page, house, &charger, (store, coil));
        }
    }
    short_runs(page, house, index, pump, source);
}

/// What a source makes of the water around a coil.
fn charging(page: &mut Page, house: &House, charger: &Charger<'_>, at: (usize, usize)) {
    let (store, coil) = (&house.site.stores[at.0], &house.site.stores[at.0].coils[at.1]);
    let name = house.sink_name(Sink::Coil { store: at.0, coil: at.1 });
    let reach = charger.highest_water(coil).min(store.ceiling.celsius());
    let above = 1.0 - coil.bottom.value();
    let part = Charged {
        litres: above * store.volume.litres(),
        loss_w_per_k: above * store.heat_loss.watts_per_kelvin(),
        surroundings: store.surroundings.celsius(),
    };
    // A little below its highest, which it only creeps up to.
    let target = (reach - 1.0).min(55.0).floor();
    let time = charger.heat_up(coil, &part, store.mains.celsius(), target);
    let time = time.map_or_else(
        || format!("never reaches {target} °C"),
        |charge| {
            let per = if charge.fuel > 0.0 {
                format!("{:.1} kWh of fuel", charge.fuel)
            } else {
                format!("mean COP {:.2}", charge.heat / charge.electricity)
            };
            format!(
                "{:.0} L from {} to {target} °C in {}, {:.1} kWh, {per}",
                part.litres,
                store.mains,
                duration(charge.hours),
                charge.heat
            )
        },
    );
    page.line(&format!("into `{name}`"), &time);
    page.line("", &format!("hottest water {reach:.1} °C{}", hygiene(house, at.0, reach, coil)));
    if let (Charger::HeatPump(..), Some(rooms), Some(wish)) =
        (charger, house.site.plant_room.rooms, &house.plant_room.rooms)
        && let Some(charge) = charger.heat_up(coil, &part, store.mains.celsius(), target)
    {
        let lost = rooms.loss().watts_per_kelvin() * wish.design_indoor.above(rooms.curve.cold);
        let fall = lost / 1_000.0 * charge.hours / rooms.capacity_kwh_per_k;
        page.line(
            "",
            &format!("meanwhile rooms without other heat fall by {fall:.1} K on the design day"),
        );
    }
}

/// Whether a source reaches what the store's hygiene rule asks.
fn hygiene(house: &House, store: usize, reach: f64, coil: &optimiser::site::Coil) -> String {
    let Some(rule) = house.hygiene.iter().find(|rule| rule.store == store) else {
        return String::new();
    };
    let site = &house.site.stores[store];
    let asked = rule.temperature;
    if reach < asked.celsius() {
        let others = site.elements.iter().any(|element| site.reach(element) >= asked);
        let rest = if others { "an element must do the rest" } else { "nothing here does" };
        return format!(": CANNOT pasteurise at {asked}; {rest}");
    }
    let below = coil.bottom.value();
    if below <= 1.0 / site.layers as f64 || site.destratification_pump {
        format!(": can pasteurise all of the store at {asked}")
    } else {
        let cold = below * site.volume.litres();
        format!(": can pasteurise at {asked}, but not the {cold:.0} L under the coil")
    }
}

/// A minimum run against what the buffer takes.
fn short_runs(page: &mut Page, house: &House, index: usize, pump: &HeatPump, source: Temperature) {
    let room = &house.site.plant_room;
    let Some(buffer) = room.buffer.as_ref().filter(|_| pump.serves.contains(&Sink::Buffer)) else {
        return;
    };
    debug_assert!(index < room.heat_pumps.len(), "the pump is one of the room's");
    let flow = room.rooms.map_or(35.0, |rooms| rooms.curve.flow_when_cold.celsius());
    let kw = pump.least_share.value() * pump.at(source.celsius(), flow).capacity_kw;
    let run = kw * pump.least_run_seconds as f64 / 3_600.0;
    let takes = heat_kwh(buffer.volume.litres(), BUFFER_SWING_K);
    page.line(
        "on the buffer",
        &format!(
            "a shortest run makes {run:.2} kWh, the buffer takes {takes:.2} kWh over {BUFFER_SWING_K} K ({:.1} min){}",
            60.0 * takes / kw.max(0.01),
            if run > takes { "; the circuits must take the rest" } else { "" }
        ),
    );
}

fn describe_boiler(page: &mut Page, house: &House, boiler: &Boiler) {
    page.heading("Boiler");
    page.line(
        "heat",
        &format!(
            "{} at {:.1} a kWh: fuel {} over a seasonal efficiency of {:.0} %",
            boiler.power,
            boiler.heat_price(),
            boiler.fuel_price.per_kwh(),
            100.0 * boiler.efficiency.value()
        ),
    );
    for sink in &boiler.serves {
        if let Sink::Coil { store, coil } = *sink {
            charging(page, house, &Charger::Boiler(boiler), (store, coil));
        }
    }
}

fn describe_collectors(page: &mut Page, house: &House, sun: &Collectors) {
    page.heading("Collectors");
    let kw = sun.area_m2 * 0.8 * sun.efficiency(40.0, 800.0).max(0.0);
    page.line(
        "after EN ISO 9806",
        &format!(
            "{kw:.1} kW at 800 W/m² with the fluid 40 K above the air, efficiency {:.0} %",
            100.0 * sun.efficiency(40.0, 800.0).max(0.0)
        ),
    );
    page.line(
        "stagnation",
        &format!(
            "{:.0} °C at 1000 W/m² in air of 30 °C; relief, pipes and glycol must stand it",
            sun.stagnation(30.0, 1_000.0)
        ),
    );
    let litres: f64 = sun
        .serves
        .iter()
        .filter_map(|sink| match *sink {
            Sink::Coil { store, coil } => {
                let site = &house.site.stores[store];
                Some(site.volume.litres() * (1.0 - site.coils[coil].bottom.value()))
            }
            _ => None,
        })
        .sum();
    page.line(
        "store",
        &format!("{:.0} L above the coils for each m²; 50 or more is usual", litres / sun.area_m2),
    );
}

fn describe_buffer(page: &mut Page, house: &House, buffer: &Buffer) {
    page.heading("Buffer");
    let (litres, ceiling) = (buffer.volume.litres(), buffer.ceiling.celsius());
    page.line(
        "as a store",
        &format!(
            "{:.2} kWh over {BUFFER_SWING_K} K: minutes of heat, not hours",
            heat_kwh(litres, BUFFER_SWING_K)
        ),
    );
    let watts = buffer.heat_loss.watts_per_kelvin();
    page.line(
        "standing loss",
        &format!(
            "{:.2} kWh a day at {} in {}, {watts:.2} W/K",
            losses::daily_kwh(watts, buffer.ceiling.above(buffer.surroundings)),
            buffer.ceiling,
            buffer.surroundings
        ),
    );
    let (filled, relief) = vessel::CIRCUIT_BAR;
    if let Some(size) = vessel::vessel_litres(litres, 10.0, ceiling, vessel::CIRCUIT_BAR) {
        page.line(
            "expansion vessel",
            &format!(
                "{size:.0} L or more for the buffer alone, filled at {filled} bar with relief at {relief} bar; add the water of circuits and emitters"
            ),
        );
    }
    let feeders = house.site.plant_room.routes();
    if !feeders.iter().any(|r| r.sink == Sink::Buffer && r.source != Source::Buffer) {
        page.line("fed by", "NOTHING: no source names it");
    }
}
