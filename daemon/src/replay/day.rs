//! One local day, slot by slot, so that a customer can check the sums by hand.

mod plant_room;

use std::fmt::Write as _;

use chrono::NaiveDate;
use optimiser::replay::Ledger;

use super::{Entry, Replayed};
use crate::local_time::local_date;
use crate::present::Currency;
use crate::present::local;

/// A day of stowheat's run as text; `None` if the day is not in the period.
pub fn render(replayed: &Replayed<'_>, date: NaiveDate) -> Option<String> {
    let zone = replayed.house.time_zone;
    let slots = replayed.stage.horizon().slots();
    let first = slots.iter().position(|slot| local_date(slot.start(), zone) == date)?;
    let last = slots.iter().rposition(|slot| local_date(slot.start(), zone) == date)?;
    let entry = replayed.stowheat();
    let ledger = Ledger::of(&replayed.stage, &entry.run, first..last + 1);
    let works = entry.run.outcome.plant_room.is_some();
    let mut out = String::new();
    let title = format!("{}, {date}: stowheat, half-hour by half-hour", replayed.house.name);
    put(&mut out, &title);
    put(
        &mut out,
        &format!(
            "{:<9}{:>9}{:>9}{:>8}{:>8}{:>9}{:>8}{:>8}{:>8}{}{:>8}{:>8}{:>9}{:>7}{:>8}",
            "Start",
            "buy",
            "sell",
            "import",
            "export",
            "paid",
            "PV",
            "house",
            "heaters",
            if works { format!("{:>8}", "sources") } else { String::new() },
            "charge",
            "disch.",
            "battery",
            "top",
            "litres"
        ),
    );
    for slot in first..=last {
        put(&mut out, &row(replayed, entry, slot));
    }
    let house = &ledger.house;
    put(
        &mut out,
        &format!(
            "{:<27}{:>8.3}{:>8.3}{:>9.2}{:>8.3}{:>8.3}{:>8.3}{}{:>8.3}{:>8.3}",
            "Sum",
            house.import_kwh,
            house.export_kwh,
            ledger.bill(),
            house.pv_kwh,
            house.base_kwh,
            house.heaters_kwh,
            if works { format!("{:>8.3}", house.sources_kwh) } else { String::new() },
            house.charge_kwh,
            house.discharge_kwh
        ),
    );
    let money = Currency::new(&replayed.house.tariff.currency);
    plant_room::table(&mut out, replayed, entry, &(first..=last).collect::<Vec<_>>());
    put(&mut out, "");
    put(
        &mut out,
        &format!(
            "Bill of the day {}{}, over {}/{} half-hours with a price; wear {}; unmet {:.2} %.",
            money.amount(ledger.bill()),
            if replayed.house.site.plant_room.boiler.is_some() {
                format!(", fuel {}", money.amount(ledger.fuel_cost()))
            } else {
                String::new()
            },
            ledger.slots - ledger.unpriced_slots,
            ledger.slots,
            money.amount(ledger.wear),
            ledger.taps.unmet_percent()
        ),
    );
    put(
        &mut out,
        "Prices in the minor unit for each kWh, energy in kWh. Paid = import × buy − export × sell.",
    );
    put(
        &mut out,
        &format!(
            "Each row: import + PV + disch. = house + heaters{} + charge + export. Battery, top [°C] \
             and litres at the tap are those at the end of the half-hour.",
            if works { " + sources" } else { "" }
        ),
    );
    Some(out)
}

fn row(replayed: &Replayed<'_>, entry: &Entry, slot: usize) -> String {
    let span = replayed.stage.horizon().slots()[slot];
    let (import, export) = replayed.stage.prices(slot);
    let rate = |price: Option<optimiser::units::Price>| {
        price.map_or_else(|| "unknown".to_owned(), |p| format!("{:.3}", p.per_kwh()))
    };
    let house = &entry.run.outcome.house[slot];
    let works = entry.run.outcome.plant_room.is_some();
    let paid = import.zip(export).map_or_else(
        || "unknown".to_owned(),
        |(buy, sell)| {
            let paid = house.import_kwh * buy.per_kwh() - house.export_kwh * sell.per_kwh();
            format!("{paid:.2}")
        },
    );
    let traces = &entry.run.outcome.stores;
    let top = traces.iter().map(|trace| trace.layers(slot + 1));
    let top = top.filter_map(|layers| layers.last().copied()).fold(f64::NEG_INFINITY, f64::max);
    let litres: f64 = traces.iter().map(|trace| trace.slots()[slot].usable_litres).sum();
    format!(
        "{:<9}{:>9}{:>9}{:>8.3}{:>8.3}{:>9}{:>8.3}{:>8.3}{:>8.3}{}{:>8.3}{:>8.3}{:>9.3}{:>7.1}{:>8.0}",
        local::clear_clock(replayed.house.time_zone, span.start()),
        rate(import),
        rate(export),
        house.import_kwh,
        house.export_kwh,
        paid,
        house.pv_kwh,
        house.base_kwh,
        house.heaters_kwh,
        if works { format!("{:>8.3}", house.sources_kwh) } else { String::new() },
        house.charge_kwh,
        house.discharge_kwh,
        house.battery_kwh,
        top,
        litres
    )
}

fn put(out: &mut String, text: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{}", text.trim_end());
}
