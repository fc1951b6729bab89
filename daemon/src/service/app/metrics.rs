//! Numbers for monitoring.

use super::plant_room;
use super::view::View;
use crate::service::http::Metric;
use crate::service::readings::Freshness;

/// Every number.
pub(super) fn metrics(view: &View<'_>) -> Vec<Metric> {
    let (now, state) = (view.now, view.state);
    let gauge = |name, help, samples| Metric { name, help, counts: false, samples };
    let one = |value: f64| vec![(None, value)];
    let flag = |value: bool| one(f64::from(u8::from(value)));
    let mut metrics = vec![
        gauge(
            "stowheat_broker_connected",
            "Whether the broker is connected.",
            flag(state.is_linked()),
        ),
        gauge(
            "stowheat_clock_right",
            "Whether the time of day can be trusted.",
            flag(state.clock_is_right()),
        ),
        gauge("stowheat_faults", "What is wrong now.", one(state.faults().len() as f64)),
        gauge(
            "stowheat_schedule_rung",
            "Where the schedule comes from; 1 at its name.",
            vec![(Some(("rung", state.rung(now).to_owned())), 1.0)],
        ),
    ];
    if let Some(made) = view.made {
        metrics.push(gauge(
            "stowheat_schedule_age_seconds",
            "Age of the schedule.",
            one((now - made.issued_at) as f64),
        ));
        metrics.push(gauge(
            "stowheat_planning_seconds",
            "How long the schedule took to make.",
            one(made.took.as_secs_f64()),
        ));
        if let Some(slot) = made.schedule.slots.iter().find(|plan| plan.slot.contains(now)) {
            let price = slot.import_price.per_kwh();
            let help = "Import price now, in minor units per kWh.";
            metrics.push(gauge("stowheat_import_price_minor_per_kwh", help, one(price)));
        }
    }
    let stores = view.house.site.stores.iter().zip(view.stores);
    let label = |name: &String| Some(("store", name.clone()));
    metrics.push(gauge(
        "stowheat_store_top_celsius",
        "Temperature at the top of a store.",
        stores
            .clone()
            .map(|(store, seen)| (label(&store.name), seen.profile[seen.profile.len() - 1]))
            .collect(),
    ));
    metrics.push(gauge(
        "stowheat_store_stored_kilowatthours",
        "Heat in a store above mains temperature.",
        stores.map(|(store, seen)| (label(&store.name), seen.stored_kwh(store))).collect(),
    ));
    let sinks = plant_room::sinks(view.house).into_iter().filter_map(|(sink, name)| {
        view.room.of(sink).map(|celsius| (Some(("sink", name)), celsius.celsius()))
    });
    metrics.push(gauge(
        "stowheat_sink_celsius",
        "Temperature of buffer, rooms and pool.",
        sinks.collect(),
    ));
    let inputs = || state.inputs().iter().map(|input| (Some(("input", input.name.clone())), input));
    metrics.push(gauge(
        "stowheat_reading_age_seconds",
        "Age of the last reading believed.",
        inputs()
            .filter_map(|(label, input)| match input.gate.freshness(now) {
                Freshness::Missing => None,
                Freshness::Fresh(reading) => Some((label, (now - reading.at) as f64)),
                Freshness::Stale { age_s, .. } => Some((label, age_s as f64)),
            })
            .collect(),
    ));
    metrics.push(Metric {
        name: "stowheat_readings_refused",
        help: "Readings refused since the start.",
        counts: true,
        samples: inputs()
            .map(|(label, input)| (label, input.gate.refused().values().sum::<u64>() as f64))
            .collect(),
    });
    metrics
}
