//! The plant room drawn.

use super::markup::{Figure, Table};
use super::plant_room;
use super::plot::WIDTH;
use crate::house::{House, Pv};
use crate::present::digits::text;
use crate::present::svg::{Anchor, Svg};
use crate::site_file::{sink_in_words, source_in_words};

/// Height of the picture of stores and elements [px].
const HEIGHT: f64 = 302.0;

/// Where the line of electricity runs [px].
pub(super) const BUS: f64 = 96.0;

/// The plant of a house.
pub(super) fn figure(house: &House) -> Figure {
    let title = format!("The plant of {}", house.name);
    let mut numbers = Table::new("What stands in the house", &["Part", "What it is"]).words(&[1]);
    for (name, what) in parts(house) {
        numbers.row(vec![name, what]);
    }
    let finding = parts(house)
        .into_iter()
        .map(|(name, what)| format!("{name}: {what}"))
        .collect::<Vec<_>>()
        .join("; ")
        + ". Water is drawn at the top of a store and replaced by cold water at its foot.";
    let is_simple = house.site.plant_room.routes().is_empty();
    let height = if is_simple { HEIGHT } else { plant_room::height(house) };
    let mut svg = Svg::figure("plant", (WIDTH, height), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    electricity(&mut svg, house);
    if is_simple {
        stores(&mut svg, house);
    } else {
        plant_room::draw(&mut svg, house);
    }
    svg.text("haloed", Anchor::Start, (12.0, BUS + 16.0), "electricity, one meter");
    svg.close();
    Figure { title, finding, svg: svg.finish(), numbers }
}

/// Every part in words.
fn parts(house: &House) -> Vec<(String, String)> {
    let supply = &house.supply;
    let mut all = vec![(
        "Supply".to_owned(),
        format!(
            "{} A main fuse, {} phase{}, at most {} kW in and {} kW out",
            supply.fuse.amperes(),
            supply.phases,
            if supply.phases == 1 { "" } else { "s" },
            text(house.site.grid.import_limit.kw(), 2),
            text(house.site.grid.export_limit.kw(), 2),
        ),
    )];
    if let Some(pv) = sun(house) {
        all.push(("PV".to_owned(), pv));
    }
    if let Some(battery) = &house.site.battery {
        all.push((
            "Battery".to_owned(),
            format!(
                "{} kWh, {} kW in and {} kW out",
                battery.capacity.kwh(),
                battery.charge_limit.kw(),
                battery.discharge_limit.kw()
            ),
        ));
    }
    for store in &house.site.stores {
        let elements: Vec<String> = store
            .elements
            .iter()
            .map(|e| {
                let height = text(e.height.value() * 100.0, 0);
                format!("element {} of {} kW at {height} % of the height", e.name, e.power.kw())
            })
            .collect();
        all.push((
            format!("Store {}", store.name),
            format!("{} L, {}", store.volume.litres(), elements.join(" and ")),
        ));
    }
    let routes = house.site.plant_room.routes();
    for source in house.site.plant_room.sources() {
        let sinks = routes.iter().filter(|route| route.source == source);
        let sinks: Vec<_> = sinks.map(|route| sink_in_words(house, route.sink, source)).collect();
        let what = format!("{}; serves {}", source_in_words(house, source), sinks.join(", and "))
            .replace('`', "");
        all.push((house.source_name(source), what));
    }
    all
}

fn sun(house: &House) -> Option<String> {
    Some(match house.pv.as_ref()? {
        Pv::Forecast { .. } => "from a series of its energy".to_owned(),
        Pv::Irradiance { peak, .. } => format!("{} kWp", peak.kw()),
        Pv::Arrays(system) => {
            let peak: f64 = system.arrays.iter().map(|a| a.peak.kw()).sum();
            format!("{} kWp on {} roofs", text(peak, 2), system.arrays.len())
        }
    })
}

/// What makes and takes electricity beside the plant.
fn electricity(svg: &mut Svg, house: &House) {
    let mut sources = vec![
        ("Grid".to_owned(), format!("{} A fuse", house.supply.fuse.amperes())),
        ("House".to_owned(), "everything else".to_owned()),
    ];
    if let Some(pv) = sun(house) {
        sources.insert(1, ("PV".to_owned(), pv));
    }
    if let Some(battery) = &house.site.battery {
        sources.insert(1, ("Battery".to_owned(), format!("{} kWh", battery.capacity.kwh())));
    }
    let step = WIDTH / sources.len() as f64;
    for (index, (name, what)) in sources.iter().enumerate() {
        let middle = step * (index as f64 + 0.5);
        svg.rect("box", (middle - 72.0, 10.0), 144.0, 48.0);
        svg.text("panel", Anchor::Middle, (middle, 30.0), name);
        svg.text("unit", Anchor::Middle, (middle, 47.0), what);
        svg.line("wire", (middle, 58.0), (middle, BUS));
    }
    svg.line("wire", (step * 0.5, BUS), (WIDTH - step * 0.5, BUS));
}

fn stores(svg: &mut Svg, house: &House) {
    let stores = &house.site.stores;
    let most = stores.iter().map(|s| s.volume.litres()).fold(1.0, f64::max);
    let step = WIDTH / stores.len() as f64;
    for (index, store) in stores.iter().enumerate() {
        let middle = step * (index as f64 + 0.5);
        let height = 150.0 * (store.volume.litres() / most).cbrt();
        let (left, top, foot) = (middle - 34.0, 280.0 - height, 280.0);
        svg.rect("box", (left, top), 68.0, height);
        for share in 0..store.elements.len() {
            let element = &store.elements[share];
            let y = foot - element.height.value() * height;
            let feed = left - 40.0 - 14.0 * share as f64;
            svg.path("wire", &[(feed, BUS), (feed, y), (left, y)], false);
            plant_room::zigzag(svg, "top", (left, left + 44.0), y);
            let label = format!("{} {} kW", element.name, element.power.kw());
            svg.text("label", Anchor::Start, (middle + 42.0, y + 4.0), &label);
        }
        svg.text(
            "panel",
            Anchor::Middle,
            (middle, foot + 17.0),
            &format!("{}, {} L", store.name, store.volume.litres()),
        );
        svg.text("unit", Anchor::Start, (middle + 42.0, top + 10.0), "hot water out");
        svg.path("top", &[(middle, top), (middle, top - 12.0), (middle + 36.0, top - 12.0)], false);
    }
}
