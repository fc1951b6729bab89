//! The values of the Homie tree, from what is known now.

use std::collections::BTreeMap;

use chrono::Days;
use optimiser::schedule::{BatteryMode, SlotPlan};
use optimiser::site::Sink;
use optimiser::time::{Instant, Slot};
use optimiser::units::Temperature;

use super::documents::mode;
use super::plant_room;
use super::view::View;
use crate::local_time;
use crate::series::minor_units;
use crate::service::commands::WishKind;
use crate::service::homie::{Alert, Device, Tree, Value};
use crate::service::link::Message;
use crate::service::state::{Role, State};
use crate::service::wire::{Fault, Mode};

/// Values under construction. A value that does not fit its description is left
/// out: it would be refused by every controller.
struct Values<'a> {
    tree: &'a Tree,
    messages: Vec<Message>,
}

impl Values<'_> {
    fn set(&mut self, device: Device, node: &'static str, property: &'static str, v: Value<'_>) {
        match self.tree.value(device, node, property, v) {
            Ok(message) => self.messages.push(message),
            Err(error) => tracing::debug!(%error, "a value is not shown"),
        }
    }

    /// A value that can be set: where it is, and where it is on its way to.
    fn settable(&mut self, device: Device, node: &'static str, name: &'static str, v: Value<'_>) {
        self.set(device, node, name, v);
        self.messages.extend(self.tree.target(device, node, name, v));
    }
}

/// Every value of the tree.
pub(super) fn values(tree: &Tree, view: &View<'_>, schedule_json: &str) -> Vec<Message> {
    let mut values = Values { tree, messages: Vec::new() };
    let slot = view.made.and_then(|m| m.schedule.slots.iter().find(|s| s.slot.contains(view.now)));
    root(&mut values, view, slot, schedule_json);
    for index in 0..view.house.site.stores.len() {
        store(&mut values, view, index);
    }
    heaters(&mut values, view, slot);
    sources(&mut values, view);
    sinks(&mut values, view);
    if let Some(battery) = &view.house.site.battery {
        let share = 100.0 * view.battery_kwh / battery.capacity.kwh().max(1e-9);
        values.set(Device::Battery, "battery", "state-of-charge", Value::Float(share));
        let plan =
            slot.map_or(0.0, |slot| (slot.charge.kwh() - slot.discharge.kwh()) / slot.slot.hours());
        values.set(Device::Battery, "battery", "charge-plan", Value::Float(plan));
        battery_order(&mut values, view, slot);
    }
    values.messages
}

/// What the battery was told, or by the plan does by itself.
fn battery_order(values: &mut Values<'_>, view: &View<'_>, slot: Option<&SlotPlan>) {
    let planned = slot.and_then(|slot| {
        let (_, power) = slot.battery_command();
        Some((slot.battery_mode?, power.kw()))
    });
    let told = view.state.battery_told();
    let told = told.map(|order| (order.mode, f64::from(order.power_w) / 1_000.0));
    let Some((mode, kw)) = told.or(planned) else { return };
    let charge = if mode == BatteryMode::Discharge { -kw } else { kw };
    values.set(Device::Battery, "battery", "mode", Value::Text(mode.name()));
    values.set(Device::Battery, "battery", "charge-now", Value::Float(charge));
}

fn root(values: &mut Values<'_>, view: &View<'_>, slot: Option<&SlotPlan>, schedule_json: &str) {
    let now = view.now;
    let status = match (view.state.rung(now), view.made) {
        ("optimal" | "limit-reached", Some(made)) if made.fell_because.is_none() => "ok",
        ("previous", _) => "stale",
        (_, None) => "starting",
        _ => "fallback",
    };
    let root = Device::Root;
    values.set(root, "plan", "status", Value::Text(status));
    let mode = match mode(view, None) {
        Mode::Plan => "auto",
        Mode::Boost => "boost",
        Mode::Off => "off",
        Mode::Away => "away",
    };
    values.settable(root, "control", "mode", Value::Text(mode));
    let Some(made) = view.made else { return };
    values.set(root, "plan", "computed-at", Value::At(made.issued_at));
    values.set(root, "plan", "valid-until", Value::At(made.valid_until));
    let seconds = made.problem.horizon.end() - made.issued_at;
    values.set(root, "plan", "horizon", Value::Seconds(seconds));
    let major = minor_units(&view.house.tariff.currency);
    values.set(root, "plan", "cost-today", Value::Float(cost_today(view) / major));
    values.set(root, "plan", "schedule", Value::Text(schedule_json));
    if let Some(slot) = slot {
        let (import, export) = (slot.import_price.per_kwh(), slot.export_price.per_kwh());
        values.set(root, "prices", "import-now", Value::Float(import / major));
        values.set(root, "prices", "export-now", Value::Float(export / major));
    }
    let day = now + 86_400;
    let cheapest = made.schedule.slots.iter().filter(|s| s.slot.end() > now && s.slot.end() <= day);
    if let Some(slot) =
        cheapest.min_by(|a, b| a.import_price.per_kwh().total_cmp(&b.import_price.per_kwh()))
    {
        values.set(root, "prices", "import-next-cheapest", Value::At(slot.slot.start().max(now)));
    }
}

/// What is still to be paid until midnight on the local clock [minor].
fn cost_today(view: &View<'_>) -> f64 {
    let zone = view.house.time_zone;
    let tomorrow = local_time::local_date(view.now, zone).checked_add_days(Days::new(1));
    let midnight = tomorrow.and_then(|date| local_time::day(date, zone)).map(Slot::start);
    let slots = view.made.map_or(&[][..], |made| &made.schedule.slots);
    let today = slots.iter().filter(|slot| midnight.is_some_and(|m| slot.slot.start() < m));
    today
        .map(|slot| slot.import.cost_at(slot.import_price) - slot.export.cost_at(slot.export_price))
        .sum()
}

fn store(values: &mut Values<'_>, view: &View<'_>, index: usize) {
    let (store, estimate) = (&view.house.site.stores[index], &view.stores[index]);
    let device = Device::Store(index);
    let top = estimate.profile[estimate.profile.len() - 1];
    let stored = estimate.stored_kwh(store);
    let full = store.heat_at(store.ceiling).max(1e-9);
    values.set(device, "store", "temperature", Value::Float(top));
    values.set(device, "store", "stored-energy", Value::Float(stored));
    let level = (100.0 * stored / full).clamp(0.0, 100.0);
    values.set(device, "store", "fill-level", Value::Float(level));
    let target = target(view.state, index, view.now).unwrap_or(store.use_temperature);
    values.settable(device, "store", "target", Value::Float(target.celsius()));
    let ready = view.made.map_or(&[][..], |made| &made.problem.ready);
    let next = ready.iter().filter(|ready| ready.store == index && ready.by > view.now);
    if let Some(by) = next.map(|ready| ready.by).min() {
        values.settable(device, "store", "ready-by", Value::At(by));
    }
}

fn target(state: &State, index: usize, now: Instant) -> Option<Temperature> {
    state.overrides().wishes().iter().rev().find_map(|wish| match wish.kind {
        WishKind::Target { store, temperature } if store == index && now < wish.until => {
            Some(temperature)
        }
        _ => None,
    })
}

fn heaters(values: &mut Values<'_>, view: &View<'_>, slot: Option<&SlotPlan>) {
    for (id, power_w) in view.state.told() {
        let device = Device::Heater(id.store, id.element);
        let now_kw = f64::from(*power_w) / 1_000.0;
        values.set(device, "heater", "power-now", Value::Float(now_kw));
        values.set(device, "heater", "on", Value::Bool(*power_w > 0));
        if let Some(slot) = slot {
            let run = slot.heaters.iter().find(|run| run.id == *id && run.minutes > 0.0);
            let plan_kw = run.map_or(0.0, |run| run.power.kw());
            values.set(device, "heater", "power-plan", Value::Float(plan_kw));
            values.set(device, "heater", "slot-end", Value::At(slot.slot.end()));
        }
    }
}

fn sources(values: &mut Values<'_>, view: &View<'_>) {
    let feeders = view.state.plant().feeders.iter().enumerate();
    for (index, own) in feeders {
        let Some((_, order)) = view.state.told_sources().find(|(f, _)| *f == own.feeder) else {
            continue;
        };
        let device = Device::Source(index);
        let serves = order.sink.map_or_else(|| "none".to_owned(), |s| view.house.sink_name(s));
        values.set(device, "source", "on", Value::Bool(order.sink.is_some()));
        values.set(device, "source", "serves", Value::Text(&serves));
        let heat = f64::from(order.heat_w) / 1_000.0;
        values.set(device, "source", "heat-now", Value::Float(heat));
        if let Some(flow) = order.flow {
            values.set(device, "source", "flow-temperature", Value::Float(flow.celsius()));
        }
        if let Some(request) = order.request {
            values.set(device, "source", "request", Value::Text(request.name()));
        }
    }
}

fn sinks(values: &mut Values<'_>, view: &View<'_>) {
    for (index, (sink, _)) in plant_room::sinks(view.house).into_iter().enumerate() {
        let device = Device::Sink(index);
        if let Some(celsius) = view.room.of(sink) {
            values.set(device, "sink", "temperature", Value::Float(celsius.celsius()));
        }
        let Some(band) = plant_room::comfort(view, sink) else { continue };
        let low = Value::Float(band.low.celsius());
        if sink == Sink::Rooms {
            values.settable(device, "sink", "low", low);
        } else {
            values.set(device, "sink", "low", low);
        }
        values.set(device, "sink", "high", Value::Float(band.high.celsius()));
    }
}

/// The alerts that faults raise, each with its text.
pub(super) fn alerts(state: &State, faults: &[Fault]) -> BTreeMap<Alert, String> {
    let mut alerts = BTreeMap::new();
    for fault in faults {
        let store_of = |name: &str| {
            state.inputs().iter().find(|input| input.name == name).and_then(|input| {
                match input.role {
                    Role::Probe { store } => Some(store),
                    _ => None,
                }
            })
        };
        let alert = match (fault.what.as_str(), fault.kind.as_str()) {
            ("prices", "missing") => Some(Alert::PricesMissing),
            ("clock", _) => Some(Alert::ClockUnsynced),
            ("planner", _) => Some(Alert::PlanInfeasible),
            (name, "stale" | "missing") => store_of(name).map(Alert::ReadingStale),
            (name, "cold") => state.store_index(name).map(Alert::StoreBelowMinimum),
            _ => None,
        };
        if let Some(alert) = alert {
            alerts.insert(alert, fault.text.clone());
        }
    }
    alerts
}
