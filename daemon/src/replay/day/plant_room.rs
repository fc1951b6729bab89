//! A day of a plant room, slot by slot.

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
        head += &format!("{name:>0$}", width(name));
    }
    let shown = Shown {
        fuel: site.boiler.is_some(),
        buffer: site.buffer.is_some(),
        rooms: site.rooms.is_some(),
        pool: site.pool.is_some(),
    };
    for (there, name) in [
        (shown.fuel, "fuel"),
        (shown.buffer, "buffer"),
        (shown.rooms, "rooms"),
        (shown.pool, "pool"),
    ] {
        if there {
            head += &format!("{name:>8}");
        }
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
            text += &format!("{:>1$}", digits::text(heat(slot, *route), 3), width(name));
        }
        text += &shown.ends(trace, slot);
        put(out, &text);
    }
    let mut text = format!("{:<9}", "Sum");
    for (route, name) in routes.iter().zip(&names) {
        let sum: f64 = slots.iter().map(|&slot| heat(slot, *route)).sum();
        text += &format!("{:>1$}", digits::text(sum, 3), width(name));
    }
    if shown.fuel {
        let sum: f64 = slots.iter().map(|&slot| trace.slots()[slot].fuel_kwh()).sum();
        text += &format!("{sum:>8.3}");
    }
    put(out, &text);
    if routes.iter().any(|route| route.source == Source::Buffer) {
        put(out, "What the buffer gives is what others gave it; its heat is not counted twice.");
    }
}

/// What a row shows beside heat.
struct Shown {
    fuel: bool,
    buffer: bool,
    rooms: bool,
    pool: bool,
}

impl Shown {
    fn ends(&self, trace: &PlantRoomTrace, slot: usize) -> String {
        let mut text = String::new();
        if self.fuel {
            text += &format!("{:>8.3}", trace.slots()[slot].fuel_kwh());
        }
        for (there, celsius) in [
            (self.buffer, trace.buffer(slot + 1)),
            (self.rooms, trace.slots()[slot].air),
            (self.pool, trace.pool(slot + 1)),
        ] {
            if there {
                text += &format!("{celsius:>8.1}");
            }
        }
        text
    }
}

fn name(replayed: &Replayed<'_>, route: Route) -> String {
    let house = replayed.house;
    format!("{}→{}", house.source_name(route.source), house.sink_name(route.sink))
}
