//! A planning problem as plain JSON, for programs that plan the same with
//! other means. Units stand in the names.

use optimiser::problem::{Problem, ValueStep};
use optimiser::site::{Battery, Control, Element, Store};
use optimiser::units::Energy;
use serde_json::{Value, json};

/// Every number of a problem; instants in seconds from the start.
pub fn record(problem: &Problem) -> Value {
    let start = problem.horizon.start();
    let since = |instant: optimiser::time::Instant| instant - start;
    let kwh = |series: &[Energy]| series.iter().map(|e| e.kwh()).collect::<Vec<_>>();
    json!({
        "slot_seconds": problem.horizon.slots().iter().map(|s| s.seconds()).collect::<Vec<_>>(),
        "import_price": problem.import_price.values().iter().map(|p| p.per_kwh()).collect::<Vec<_>>(),
        "export_price": problem.export_price.values().iter().map(|p| p.per_kwh()).collect::<Vec<_>>(),
        "pv_kwh": kwh(problem.pv.values()),
        "load_kwh": kwh(problem.base_load.values()),
        "import_kw": problem.site.grid.import_limit.kw(),
        "export_kw": problem.site.grid.export_limit.kw(),
        "battery": problem.site.battery.as_ref().map(battery),
        "battery_start_kwh": problem.state.battery.kwh(),
        "stores": problem.site.stores.iter().zip(&problem.state.stores).map(|(s, layers)| {
            let mut store = store(s);
            store["layers_c"] = layers.iter().map(|t| t.celsius()).collect();
            store
        }).collect::<Vec<_>>(),
        "draws": problem.draws.iter().map(|d| json!({
            "store": d.store, "start_s": since(d.start), "end_s": since(d.end()),
            "litres": d.volume.litres(), "celsius": d.temperature.celsius(),
        })).collect::<Vec<_>>(),
        "ready": problem.ready.iter().map(|r| json!({
            "store": r.store, "by_s": since(r.by),
            "litres": r.volume.litres(), "celsius": r.temperature.celsius(),
        })).collect::<Vec<_>>(),
        "hygiene": problem.hygiene.iter().map(|h| json!({
            "store": h.store, "due_s": since(h.due),
            "celsius": h.temperature.celsius(), "hold_s": h.hold_seconds,
        })).collect::<Vec<_>>(),
        "store_end_value": problem.end_value.stores.iter().map(|s| steps(s)).collect::<Vec<_>>(),
        "battery_end_value": steps(&problem.end_value.battery),
        "unmet_per_kwh": problem.weights.unmet_per_kwh,
        "short_per_kwh": problem.weights.short_per_kwh,
        "change_per_kwh": problem.weights.change_per_kwh,
        "published_kwh": problem.published.as_ref()
            .map(|plan| plan.heaters.iter().map(|row| kwh(row)).collect::<Vec<_>>()),
    })
}

fn steps(steps: &[ValueStep]) -> Value {
    steps.iter().map(|s| json!({"kwh": s.width.kwh(), "per_kwh": s.value.per_kwh()})).collect()
}

fn battery(battery: &Battery) -> Value {
    json!({
        "capacity_kwh": battery.capacity.kwh(),
        "reserve_kwh": battery.reserve.kwh(),
        "charge_kw": battery.charge_limit.kw(),
        "discharge_kw": battery.discharge_limit.kw(),
        "charge_efficiency": battery.charge_efficiency.value(),
        "discharge_efficiency": battery.discharge_efficiency.value(),
        "wear_per_kwh": battery.wear.per_kwh(),
        "charges_from_grid": battery.charges_from_grid,
        "exports": battery.exports,
        "feeds_heaters": battery.feeds_heaters,
    })
}

fn store(store: &Store) -> Value {
    json!({
        "litres": store.volume.litres(),
        "height_m": store.height_m,
        "loss_w_per_k": store.heat_loss.watts_per_kelvin(),
        "surroundings_c": store.surroundings.celsius(),
        "mains_c": store.mains.celsius(),
        "use_c": store.use_temperature.celsius(),
        "ceiling_c": store.ceiling.celsius(),
        "held_back_litres": store.held_back.litres(),
        "pump": store.destratification_pump,
        "simulated_layers": store.layers,
        "elements": store.elements.iter().map(element).collect::<Vec<_>>(),
    })
}

fn element(element: &Element) -> Value {
    let control = match element.control {
        Control::OnOff => "on_off",
        Control::Staged(_) => "staged",
        Control::Modulating => "modulating",
    };
    json!({
        "kw": element.power.kw(),
        "height": element.height.value(),
        "thermostat_c": element.thermostat.celsius(),
        "control": control,
        "stages_kw": element.steps().iter().map(|p| p.kw()).collect::<Vec<_>>(),
    })
}
