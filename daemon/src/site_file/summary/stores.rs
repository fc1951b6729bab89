//! Stores: heat, heat-up times, usable litres, losses.

use optimiser::site::{Element, Store};
use optimiser::standards::{losses, vessel, volume};
use optimiser::water;

use super::super::{Checked, LossBasis};
use super::{Page, duration};

pub(super) fn describe(page: &mut Page, checked: &Checked) {
    for (store, basis) in checked.house.site.stores.iter().zip(&checked.losses) {
        describe_store(page, store, basis);
    }
}

fn describe_store(page: &mut Page, store: &Store, basis: &LossBasis) {
    page.heading(&format!("Store `{}`", store.name));
    let (litres, cold, ceiling) =
        (store.volume.litres(), store.mains.celsius(), store.ceiling.celsius());
    page.line(
        "size",
        &format!(
            "{} in a column of {} m, {} layers when simulated",
            store.volume, store.height_m, store.layers
        ),
    );
    page.line(
        "heat when full",
        &format!(
            "{:.2} kWh from {cold} °C to the ceiling of {ceiling} °C ({:.2} kWh counting that hot water is lighter)",
            store.heat_at(store.ceiling),
            volume::heat_of_hot_mass(litres, ceiling, cold)
        ),
    );
    page.line(
        "expansion",
        &format!(
            "{:.1} L on heating from {cold} to {ceiling} °C",
            litres * volume::expansion(cold, ceiling)
        ),
    );
    expansion_vessel(page, litres, cold, ceiling);
    page.line(
        "cut-out",
        &store.cut_out.map_or_else(|| "not stated".to_owned(), |cut_out| cut_out.to_string()),
    );
    page.line(
        "held back",
        &format!(
            "{:.0} L at {} for draws nobody foresaw",
            store.held_back.litres(),
            store.use_temperature
        ),
    );
    for element in &store.elements {
        describe_element(page, store, element);
    }
    usable(page, store);
    loss(page, store, basis);
}

/// The vessel that takes up the expansion, at the usual pressures.
fn expansion_vessel(page: &mut Page, litres: f64, cold: f64, hot: f64) {
    let (filled, relief) = vessel::CYLINDER_BAR;
    if let Some(size) = vessel::vessel_litres(litres, cold, hot, vessel::CYLINDER_BAR) {
        page.line(
            "expansion vessel",
            &format!(
                "{size:.0} L or more if unvented, filled at {filled} bar with an expansion valve of {relief} bar"
            ),
        );
    }
}

/// Hours to heat a part of the store from mains to a temperature, with its share
/// of the loss.
fn heat_up(store: &Store, element: &Element, share: f64, target: f64) -> Option<f64> {
    water::heat_up_hours(
        store.mains.celsius(),
        target,
        store.surroundings.celsius(),
        store.volume.litres() * share,
        store.heat_loss.watts_per_kelvin() * share,
        element.power.kw(),
    )
}

fn describe_element(page: &mut Page, store: &Store, element: &Element) {
    let above = 1.0 - element.height.value();
    let target = store.reach(element).celsius();
    let time = |share| {
        heat_up(store, element, share, target)
            .map_or_else(|| "never, the loss stops it".to_owned(), duration)
    };
    page.line(
        &format!("element `{}`", element.name),
        &format!(
            "{} at {} of the height, to {target} °C: {:.0} L above it in {}; the whole store at this power {}",
            element.power,
            element.height.value(),
            above * store.volume.litres(),
            time(above),
            time(1.0)
        ),
    );
}

fn usable(page: &mut Page, store: &Store) {
    let (hot, cold) = (store.highest_reach().celsius(), store.mains.celsius());
    let share = 1.0 - store.lowest_heated();
    let litres = store.volume.litres();
    page.line(
        "usable litres at 40 °C",
        &format!(
            "{:.0} L if perfectly layered, {:.0} L if fully mixed, when heated to {hot} °C",
            volume::v40_layered(litres, share, hot, cold),
            volume::v40_mixed(litres * share, hot, cold)
        ),
    );
    if share < 1.0 {
        page.line(
            "",
            &format!(
                "{:.0} L under the lowest element stay cold and are not counted",
                (1.0 - share) * litres
            ),
        );
    }
}

fn loss(page: &mut Page, store: &Store, basis: &LossBasis) {
    let litres = store.volume.litres();
    let installed = store.heat_loss.watts_per_kelvin();
    let area = losses::cylinder_area_m2(litres, store.height_m);
    page.line(
        "standing loss",
        &format!(
            "{:.2} kWh a day at {} °C in {}; {installed:.2} W/K, {:.2} W/(m²·K) of its {area:.1} m²",
            losses::daily_kwh(installed, store.highest_reach().above(store.surroundings)),
            store.highest_reach().celsius(),
            store.surroundings,
            installed / area
        ),
    );
    let label = basis.label.unwrap_or(store.heat_loss).watts_per_kelvin();
    let watts = losses::label_watts(label);
    let origin = match (basis.label, basis.site_factor) {
        (None, _) => "as installed".to_owned(),
        (Some(_), Some(factor)) => format!("by its label, × {factor} as installed"),
        (Some(_), None) => "by its label, taken as installed".to_owned(),
    };
    page.line(
        "",
        &format!(
            "{:.2} kWh per 24 h at 45 K ({watts:.0} W) {origin}: EU class {}",
            losses::daily_kwh(label, losses::TEST_DIFFERENCE_K),
            losses::class(litres, watts)
        ),
    );
    let ceiling = losses::compliance_ceiling_kwh(litres);
    page.line(
        "",
        &format!("a new cylinder of this size may lose {ceiling:.2} kWh per 24 h in England"),
    );
    if let Some(insulation) = basis.insulation {
        let sap = losses::sap_daily_kwh(litres, insulation.millimetres, insulation.jacket);
        page.line(
            "",
            &format!(
                "SAP 10.2 takes {sap:.2} kWh a day for {} mm of {}, {:.2} with its temperature factor",
                insulation.millimetres,
                if insulation.jacket { "loose jacket" } else { "factory insulation" },
                sap * losses::SAP_TEMPERATURE_FACTOR
            ),
        );
    }
}
