//! A day of a plant room, slot by slot.

use std::fmt::Write as _;

use optimiser::plant::PlantRoomTrace;
use optimiser::site::{Route, Source};
use optimiser::time::Slot;

use super::put;
use crate::present::{digits, local};
use crate::replay::{Entry, Replayed};

/// Heat from each source to each sink, and temperatures; nothing for a house of
/// stores and elements.
pub(super) fn table(out: &mut String, replayed: &Replayed<'_>, entry: &Entry, slots: &[usize]) {
    let Some(trace) = &entry.run.outcome.plant_room else { return };
    let site = &replayed.house.site.plant_room;
    let routes = site.routes();
    put(out, "");
    put(out, "Heat from source to sink [kWh], fuel [kWh], and temperatures at the end [°C]");
    let names: Vec<String> = routes.iter().map(|route| name(replayed, *route)).collect();
    let width = |name: &String| name.chars().count().max(7) + 2;
    let mut head = format!("{:<9}", "Start");
    for name in &names {
        let _ = write!(head, "{name:>0$}", width(name));
    }
    let column =
        |there: bool, name, decimals, of: Of| there.then_some(Column { name, decimals, of });
    let columns: Vec<Column> = [
        column(site.boiler.is_some(), "fuel", 3, |trace, k| trace.slots()[k].fuel_kwh()),
        column(site.buffer.is_some(), "buffer", 1, |trace, k| trace.buffer(k + 1)),
        column(site.rooms.is_some(), "rooms", 1, |trace, k| trace.slots()[k].air),
        column(site.pool.is_some(), "pool", 1, |trace, k| trace.pool(k + 1)),
    ]
    .into_iter()
    .flatten()
    .collect();
    for column in &columns {
        let _ = write!(head, "{:>8}", column.name);
    }
    put(out, &head);
    let heat = |slot: usize, route: Route| -> f64 {
        let own = trace.slots()[slot].jobs.iter().filter(|job| job.route == route);
        own.map(|job| job.heat_kwh).sum()
    };
    for &slot in slots {
        let span: Slot = replayed.stage.horizon().slots()[slot];
        let mut text = format!("{:<9}", local::clear_clock(replayed.house.time_zone, span.start()));
        for (route, name) in routes.iter().zip(&names) {
            let _ = write!(text, "{:>1$}", digits::text(heat(slot, *route), 3), width(name));
        }
        for column in &columns {
            let _ = write!(text, "{:>8}", digits::text((column.of)(trace, slot), column.decimals));
        }
        put(out, &text);
    }
    let mut text = format!("{:<9}", "Sum");
    for (route, name) in routes.iter().zip(&names) {
        let sum: f64 = slots.iter().map(|&slot| heat(slot, *route)).sum();
        let _ = write!(text, "{:>1$}", digits::text(sum, 3), width(name));
    }
    if site.boiler.is_some() {
        let sum: f64 = slots.iter().map(|&slot| trace.slots()[slot].fuel_kwh()).sum();
        let _ = write!(text, "{sum:>8.3}");
    }
    put(out, &text);
    if routes.iter().any(|route| route.source == Source::Buffer) {
        put(out, "What the buffer gives is what others gave it; its heat is not counted twice.");
    }
}

/// A value of a slot.
type Of = fn(&PlantRoomTrace, usize) -> f64;

/// What a row shows beside heat.
struct Column {
    name: &'static str,
    decimals: i32,
    of: Of,
}

fn name(replayed: &Replayed<'_>, route: Route) -> String {
    let house = replayed.house;
    format!("{}→{}", house.source_name(route.source), house.sink_name(route.sink))
}
