//! Draws, promises, hygiene and the present state.

use chrono::Weekday;
use optimiser::site::{Element, Store};
use optimiser::standards::volume;
use optimiser::units::Temperature;
use optimiser::water;

use super::Page;
use crate::house::{DailyDraw, DrawKind, House};

pub(super) fn describe(page: &mut Page, house: &House) {
    page.heading("Hot water");
    for habit in &house.draws {
        let store = &house.site.stores[habit.store];
        let text = match &habit.kind {
            DrawKind::Daily(draws) => daily(draws, store),
            DrawKind::Series { column, temperature, scale, .. } => {
                format!("the series `{column}` × {scale}, mixed at {temperature}")
            }
        };
        page.line(&format!("draws, `{}`", store.name), &text);
    }
    if house.draws.is_empty() {
        page.line("draws", "none described");
    }
    for promise in &house.ready {
        page.line(
            &format!("ready, `{}`", house.site.stores[promise.store].name),
            &format!(
                "{} at {} by {} {}",
                promise.volume,
                promise.temperature,
                promise.by.format("%H:%M"),
                days(&promise.days)
            ),
        );
    }
    for rule in &house.hygiene {
        let store = &house.site.stores[rule.store];
        page.line(
            &format!("hygiene, `{}`", store.name),
            &format!(
                "the coldest water at {} for {} min every {} days, {}",
                rule.temperature,
                rule.hold_minutes,
                rule.every_days,
                rule.last_proven.map_or_else(
                    || "not proven so far".to_owned(),
                    |at| format!("last proven {at}")
                )
            ),
        );
    }
    for rule in &house.hygiene {
        let store = &house.site.stores[rule.store];
        for element in &store.elements {
            page.line("", &reach(store, element, rule.temperature));
        }
    }
    if house.hygiene.is_empty() {
        page.line("hygiene", "no rule");
    }
    state(page, house);
}

/// Whether an element can bring the coldest water to a temperature.
fn reach(store: &Store, element: &Element, asked: Temperature) -> String {
    let name = &element.name;
    let hottest = store.reach(element);
    if hottest < asked {
        return format!("element `{name}` cannot: it stops at {hottest}");
    }
    let below = element.height.value();
    if below <= 1.0 / store.layers as f64 {
        format!("element `{name}` can, in all of the store")
    } else if store.destratification_pump {
        format!("element `{name}` can, with the pump that mixes the store")
    } else {
        let cold = below * store.volume.litres();
        format!("element `{name}` can, but not in the {cold:.0} L below it")
    }
}

fn state(page: &mut Page, house: &House) {
    page.heading("Present state");
    if house.site.battery.is_some() {
        page.line("battery", &format!("{:.2} kWh", house.state.battery.kwh()));
    }
    for (store, profile) in house.site.stores.iter().zip(&house.state.stores) {
        let mean = volume::mixed_celsius(profile.iter().map(|t| t.celsius()));
        let heat = water::heat_kwh(store.volume.litres(), mean - store.mains.celsius());
        page.line(
            &format!("store `{}`", store.name),
            &format!("{heat:.2} kWh above mains, {mean:.1} °C if it were mixed"),
        );
    }
    plant_room_state(page, house);
}

/// Buffer, rooms and pool, where there are any.
fn plant_room_state(page: &mut Page, house: &House) {
    let state = &house.state.plant_room;
    if let Some(buffer) = state.buffer {
        page.line("buffer", &buffer.to_string());
    }
    if let Some(rooms) = state.rooms {
        page.line("rooms", &format!("air {}, walls and floors {}", rooms.air, rooms.mass));
    }
    if let Some(pool) = state.pool {
        page.line("pool", &pool.to_string());
    }
}

/// Heat and litres of a mean day.
fn daily(draws: &[DailyDraw], store: &Store) -> String {
    let mean = |of: &dyn Fn(&DailyDraw) -> f64| -> f64 {
        draws.iter().map(|draw| of(draw) * draw.days.len() as f64 / 7.0).sum()
    };
    let litres = mean(&|draw| draw.volume.litres());
    let kwh =
        mean(&|draw| water::heat_kwh(draw.volume.litres(), draw.temperature.above(store.mains)));
    format!("{} draws, on average {kwh:.2} kWh and {litres:.0} L at the tap a day", draws.len())
}

fn days(days: &[Weekday]) -> String {
    if days.len() == 7 {
        "every day".to_owned()
    } else {
        format!("on {}", days.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))
    }
}
