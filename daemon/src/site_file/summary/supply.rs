//! Site, connection, tariff, PV, battery and base load.

use optimiser::site::{Connection, HeatPump, Metering, Phases};
use optimiser::standards::electrics;
use optimiser::units::{Current, Power, Price};

use super::super::Checked;
use super::super::cautions::phase_amperes;
use super::Page;
use super::sources::design_source;
use crate::house::{BaseLoad, House, Pv};
use crate::tariff::{Band, Index, Rates, Tariff};

pub(super) fn describe(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    page.heading(&house.name);
    page.line("time zone", house.time_zone.name());
    page.line("currency", &house.tariff.currency);
    if let Some(place) = house.location {
        page.line(
            "location",
            &format!("{}°, {}°, {} m", place.latitude, place.longitude, place.altitude_m),
        );
    }
    connection(page, checked);
    tariff(page, &house.tariff);
    sources(page, house);
}

fn connection(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    let supply = house.supply;
    page.heading("Connection");
    page.line(
        "main fuse",
        &format!(
            "{} on {} phase{} of {} V: {:.1} kW",
            supply.fuse,
            supply.phases,
            if supply.phases == 1 { "" } else { "s" },
            supply.volts,
            supply.fuse.power_at(supply.volts, supply.phases).kw()
        ),
    );
    page.line("import limit", &format!("{:.2} kW", house.site.grid.import_limit.kw()));
    let free = Current::constant(electrics::G98_AMPERES).power_at(supply.volts, supply.phases);
    let consent = if house.site.grid.export_limit > free {
        format!(
            "; above {:.2} kW (16 A per phase, G98) Great Britain asks for the network operator's consent",
            free.kw()
        )
    } else {
        String::new()
    };
    page.line("export limit", &format!("{:.2} kW{consent}", house.site.grid.export_limit.kw()));
    for wired in &checked.wiring {
        let store = &house.site.stores[wired.heater.store];
        let element = &store.elements[wired.heater.element];
        let circuit = wired.circuit.map_or_else(
            || "circuit not stated".to_owned(),
            |at| {
                let circuit = &checked.circuits[at];
                format!(
                    "circuit of {}, headroom {:.1} A",
                    circuit.rating,
                    circuit.rating.amperes() - circuit.load.amperes()
                )
            },
        );
        page.line(
            &format!("{} / {}", store.name, element.name),
            &format!(
                "{}: {:.1} A{}, {circuit}",
                element.power,
                wired.current.amperes(),
                per_phase(wired.phases)
            ),
        );
    }
    let total = phase_amperes(&checked.wiring);
    let assumption =
        if supply.phases == 1 { "" } else { " if all single-phase ones are on one phase" };
    page.line(
        "all elements on",
        &format!(
            "{total:.1} A on a phase{assumption}; headroom to the main fuse {:.1} A",
            supply.fuse.amperes() - total
        ),
    );
    phases(page, house);
    coincident(page, checked);
}

/// What one cheap half-hour can switch on at once, whoever waits for it.
fn coincident(page: &mut Page, checked: &Checked) {
    let house = &checked.house;
    let mut loads: Vec<(&str, Power)> = Vec::new();
    let elements = house.site.stores.iter().flat_map(|store| &store.elements);
    loads.push(("elements", Power::clamped(elements.map(|e| e.power.kw()).sum())));
    let room = &house.site.plant_room;
    for pump in &room.heat_pumps {
        loads.push(("heat pump", electric(house, pump)));
    }
    let immersion = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
    loads.extend(immersion.map(|power| ("buffer element", power)));
    let charge = house.site.battery.filter(|battery| battery.charges_from_grid);
    loads.extend(charge.map(|battery| ("battery", battery.charge_limit)));
    loads.extend(highest_load(house).map(|kw| ("house at its highest", Power::clamped(kw))));
    let powers: Vec<Power> = loads.iter().map(|&(_, power)| power).collect();
    let supply = house.supply.fuse.power_at(house.supply.volts, house.supply.phases);
    let left = electrics::headroom_kw(supply, &powers);
    let listed: Vec<String> =
        loads.iter().map(|(what, power)| format!("{what} {:.1} kW", power.kw())).collect();
    page.line(
        "one price for all",
        &format!(
            "{}: {:.1} kW, {}",
            listed.join(", "),
            powers.iter().map(|power| power.kw()).sum::<f64>(),
            if left < 0.0 {
                format!("{:.1} kW above the main fuse; plans stagger them", -left)
            } else {
                format!("headroom {left:.1} kW; no diversity is assumed")
            }
        ),
    );
}

/// Electrical power of a heat pump with its source on the design day and its
/// hottest flow.
pub(crate) fn electric(house: &House, pump: &HeatPump) -> Power {
    let at = pump.at(design_source(house, pump).celsius(), pump.flow_limit.celsius());
    Power::clamped(at.capacity_kw / at.cop + pump.auxiliary.kw())
}

/// What hangs on which phase.
fn phases(page: &mut Page, house: &House) {
    let Some(phases) = &house.site.plant_room.phases else { return };
    let metered = match phases.metering {
        Metering::Net => "import on one phase is netted against export on another",
        Metering::PerPhase => "each phase is counted by itself",
    };
    page.line("metering", metered);
    let elements = house.site.stores.iter().flat_map(|store| {
        store.elements.iter().map(move |element| format!("{} / {}", store.name, element.name))
    });
    let heaters = elements.zip(&phases.heaters);
    let pumps = house.site.plant_room.heat_pumps.iter().map(|pump| pump.name.clone());
    let others =
        [("the house", &phases.base_load), ("PV", &phases.pv), ("battery", &phases.battery)];
    let others = others.into_iter().map(|(name, at)| (name.to_owned(), at));
    let immersion = house.site.plant_room.buffer.as_ref().and_then(|buffer| buffer.immersion);
    let immersion = immersion.map(|_| ("buffer element".to_owned(), &phases.immersion));
    let named = heaters.chain(pumps.zip(&phases.heat_pumps)).chain(immersion).chain(others);
    for (name, connection) in named {
        let text = match connection {
            Connection::Phase(phase) => format!("on phase {}", phase + 1),
            Connection::Three => "evenly on all three phases".to_owned(),
        };
        page.line(&name, &text);
    }
    for phase in 0..3 {
        let kw = at_once(house, phases, phase);
        let fuse = phases.fuse.kw();
        let room = if kw > fuse {
            format!("{:.1} kW above its fuse; plans put them in turn", kw - fuse)
        } else {
            format!("headroom {:.1} kW", fuse - kw)
        };
        page.line(&format!("phase {}, all at once", phase + 1), &format!("{kw:.1} kW, {room}"));
    }
}

/// Elements, heat pumps, buffer's element, a battery that charges from the grid and the
/// house at its highest, on one phase [kW].
fn at_once(house: &House, phases: &Phases, phase: usize) -> f64 {
    let room = &house.site.plant_room;
    let elements = house.site.stores.iter().flat_map(|store| &store.elements);
    let elements = elements.zip(&phases.heaters).map(|(own, &at)| (own.power.kw(), at));
    let pumps = room.heat_pumps.iter().zip(&phases.heat_pumps);
    let pumps = pumps.map(|(own, &at)| (electric(house, own).kw(), at));
    let immersion = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
    let immersion = immersion.map(|power| (power.kw(), phases.immersion));
    let charge = house.site.battery.filter(|battery| battery.charges_from_grid);
    let charge = charge.map(|battery| (battery.charge_limit.kw(), phases.battery));
    let highest = highest_load(house).map(|kw| (kw, phases.base_load));
    let all = elements.chain(pumps).chain(immersion).chain(charge).chain(highest);
    all.map(|(kw, at)| kw * at.shares()[phase]).sum()
}

/// The rest of the house at its highest, where its day is known [kW].
pub(crate) fn highest_load(house: &House) -> Option<f64> {
    let BaseLoad::Daily(steps) = &house.base_load else { return None };
    Some(steps.iter().map(|(_, power)| power.kw()).fold(0.0, f64::max))
}

fn per_phase(phases: u8) -> &'static str {
    if phases == 1 { "" } else { " on each of three phases" }
}

fn tariff(page: &mut Page, tariff: &Tariff) {
    page.heading("Tariff, in minor units per kWh");
    rates(page, "import", &tariff.import);
    rates(page, "export", &tariff.export);
    page.line("standing charge", &format!("{} a day", tariff.standing_charge_per_day));
}

fn rates(page: &mut Page, label: &str, rates: &Rates) {
    match rates {
        Rates::Bands(bands) if bands.len() == 1 => {
            page.line(label, &format!("{} at all times", bands[0].rate.per_kwh()));
        }
        Rates::Bands(bands) => {
            for (index, band) in bands.iter().enumerate() {
                page.line(if index == 0 { label } else { "" }, &banded(band));
            }
        }
        Rates::Indexed(index) => {
            page.line(label, &formula(index));
            for adder in &index.adders {
                page.line("", &format!("plus {}", banded(adder)));
            }
        }
    }
}

fn banded(band: &Band) -> String {
    format!(
        "{} from {} to {}",
        band.rate.per_kwh(),
        band.from.format("%H:%M"),
        band.until.format("%H:%M")
    )
}

fn formula(index: &Index) -> String {
    let column = index.column.as_deref().map_or(String::new(), |name| format!(" `{name}`"));
    let limit = |word: &str, price: Option<Price>| {
        price.map_or(String::new(), |price| format!(", {word} {}", price.per_kwh()))
    };
    format!(
        "follows the price series{column} × {}{}, then {} % VAT{}{}",
        index.factor,
        if index.adders.is_empty() { "" } else { " plus an adder" },
        (index.vat * 1_000.0).round() / 10.0,
        limit("never below", index.floor),
        limit("never above", index.cap),
    )
}

fn sources(page: &mut Page, house: &House) {
    page.heading("Sources and base load");
    let pv = match &house.pv {
        None => "none".to_owned(),
        Some(Pv::Forecast { scale }) => format!("a forecast series × {scale}"),
        Some(Pv::Irradiance { peak, performance_ratio, inverter_limit }) => format!(
            "{peak} peak × irradiance × {performance_ratio}{}",
            inverter_limit.map_or(String::new(), |limit| format!(", inverter at most {limit}"))
        ),
        Some(Pv::Arrays(system)) => {
            let arrays: Vec<String> = system
                .arrays
                .iter()
                .map(|a| {
                    let (tilt, azimuth) = (a.tilt.degrees(), a.azimuth.degrees());
                    format!("{} at {tilt}° facing {azimuth}°", a.peak)
                })
                .collect();
            format!(
                "{} (0° is north, 90° east), inverter at most {}",
                arrays.join(" and "),
                system.inverter.limit
            )
        }
    };
    page.line("PV", &pv);
    battery(page, house);
    let base = match &house.base_load {
        BaseLoad::Series { scale } => format!("a load series × {scale}"),
        BaseLoad::Daily(steps) if steps.len() == 1 => format!("{} all day", steps[0].1),
        BaseLoad::Daily(steps) => {
            let ends = steps.iter().skip(1).map(|(from, _)| seconds(*from)).chain([86_400.0]);
            let kwh: f64 = steps
                .iter()
                .zip(ends)
                .map(|((from, power), end)| power.kw() * (end - seconds(*from)) / 3_600.0)
                .sum();
            format!("{kwh:.1} kWh a day in {} steps", steps.len())
        }
    };
    page.line("base load", &base);
}

fn seconds(time: chrono::NaiveTime) -> f64 {
    f64::from(chrono::Timelike::num_seconds_from_midnight(&time))
}

fn battery(page: &mut Page, house: &House) {
    let Some(battery) = &house.site.battery else {
        page.line("battery", "none");
        return;
    };
    let round_trip = battery.charge_efficiency.value() * battery.discharge_efficiency.value();
    page.line(
        "battery",
        &format!(
            "{} with {} in reserve, {} in, {} out, round trip {:.0} %",
            battery.capacity,
            battery.reserve,
            battery.charge_limit,
            battery.discharge_limit,
            100.0 * round_trip
        ),
    );
    let may = |allowed: bool, what: &'static str| if allowed { what } else { "" };
    let rules: Vec<&str> = [
        may(battery.charges_from_grid, "charge from the grid"),
        may(battery.exports, "discharge into the grid"),
        may(battery.feeds_heaters, "feed elements"),
    ]
    .into_iter()
    .filter(|rule| !rule.is_empty())
    .collect();
    let rules =
        if rules.is_empty() { "only carry PV to the house".to_owned() } else { rules.join(", ") };
    page.line("", &format!("may {rules}"));
    let wear = battery.wear.per_kwh();
    page.line(
        "",
        &format!(
            "wear {wear:.1} a kWh; bought at 10, a kWh must be worth {:.1} later",
            electrics::break_even(10.0, round_trip, wear)
        ),
    );
}
