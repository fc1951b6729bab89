//! The plant room drawn.

use super::markup::{Figure, Table};
use super::plot::WIDTH;
use crate::house::{House, Pv};
use crate::present::digits::text;
use crate::present::svg::{Anchor, Svg};

/// Height of the picture [px].
const HEIGHT: f64 = 302.0;

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
    let mut svg = Svg::figure("plant", (WIDTH, HEIGHT), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    draw(&mut svg, house);
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

fn draw(svg: &mut Svg, house: &House) {
    let bus = 96.0;
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
        svg.line("wire", (middle, 58.0), (middle, bus));
    }
    svg.line("wire", (step * 0.5, bus), (WIDTH - step * 0.5, bus));
    svg.text("unit", Anchor::Start, (step * 0.5 + 6.0, bus + 16.0), "electricity, one meter");
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
            svg.path("wire", &[(feed, bus), (feed, y), (left, y)], false);
            let zigzag: Vec<(f64, f64)> = (0..=8)
                .map(|i| {
                    let off = if i % 2 == 0 {
                        0.0
                    } else if i % 4 == 1 {
                        -4.0
                    } else {
                        4.0
                    };
                    (left + 5.5 * f64::from(i), y + off)
                })
                .collect();
            svg.path("top", &zigzag, false);
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
