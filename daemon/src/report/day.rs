//! One day, slot by slot.

use super::markup::{Figure, Table};
use super::plot::{Plot, WIDTH, area, legend, with_zero};
use crate::present::Currency;
use crate::present::digits::text;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::size::case::{SlotRow, TypicalDay};

/// Ends of the plots [px].
const PLOT: (f64, f64) = (56.0, 650.0);
/// Height of the picture [px]; two of them with their words fit a sheet.
const HEIGHT: f64 = 446.0;
/// Height of a line of text [px].
const LINE: f64 = 14.0;

/// What flows into and out of the house, by hatch and name.
type Flow = (&'static str, &'static str, fn(&SlotRow) -> f64);

const SOURCES: [Flow; 3] = [
    ("pv", "PV", |s| s.pv_kwh),
    ("battery", "battery", |s| s.discharge_kwh),
    ("import", "import", |s| s.import_kwh),
];

const USES: [Flow; 5] = [
    ("house", "rest of the house", |s| s.base_load_kwh),
    ("heat", "elements", |s| s.heaters_kwh),
    ("w3", "heat pumps and pumps", |s| s.sources_kwh),
    ("battery", "battery", |s| s.charge_kwh),
    ("export", "export", |s| s.export_kwh),
];

/// A day of a past.
pub(super) fn figure(id: &str, past: &str, day: &TypicalDay, money: &Currency) -> Figure {
    let title = format!("{}: {}, {past}", capital(&day.kind), day.date);
    let finding = finding(day, money);
    let mut svg = Svg::figure(id, (WIDTH, HEIGHT), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    prices(&mut svg, day, money);
    flows(&mut svg, day);
    temperatures(&mut svg, day);
    svg.close();
    Figure { title, finding, svg: svg.finish(), numbers: table(day, money) }
}

fn finding(day: &TypicalDay, money: &Currency) -> String {
    let sum = |of: fn(&SlotRow) -> f64| day.slots.iter().map(of).sum::<f64>();
    let priced = day.slots.iter().filter_map(|slot| Some((slot.import_price?, slot)));
    let cheapest = priced.clone().min_by(|a, b| a.0.total_cmp(&b.0));
    let dearest = priced.max_by(|a, b| a.0.total_cmp(&b.0));
    let prices = cheapest.zip(dearest).map_or_else(String::new, |(low, high)| {
        format!(
            " Import cost least at {} ({}/kWh) and most at {} ({}/kWh).",
            low.1.start,
            money.small(low.0),
            high.1.start,
            money.small(high.0)
        )
    });
    let coldest = day.slots.iter().map(|slot| slot.top_c).fold(f64::INFINITY, f64::min);
    format!(
        "The elements took {} kWh.{prices} The water at the top was never below {} °C.",
        text(sum(|s| s.heaters_kwh), 1),
        text(coldest, 0)
    )
}

fn prices(svg: &mut Svg, day: &TypicalDay, money: &Currency) {
    let both = day.slots.iter().flat_map(|s| [s.import_price, s.export_price]).flatten();
    let (low, high) = with_zero(both);
    let plot = plot((24.0, 114.0), Scale::around(low, high, 4.0, (0.05, 0.05)));
    svg.text("panel", Anchor::Start, (0.0, 14.0), &format!("Price, {}", money.rate_unit()));
    frame(svg, &plot, day, false);
    let ends = [
        ("buy", "to import", (|s| s.import_price) as fn(&SlotRow) -> Option<f64>),
        ("sell", "for export", |s| s.export_price),
    ]
    .map(|(class, name, of)| {
        steps(svg, &plot, day, class, of);
        (plot.y(day.slots.iter().rev().find_map(of).unwrap_or(0.0)), name)
    });
    names(svg, ends);
}

fn flows(svg: &mut Svg, day: &TypicalDay) {
    let total = |flows: &[Flow], slot: &SlotRow| flows.iter().map(|(.., of)| of(slot)).sum::<f64>();
    let high = day.slots.iter().map(|slot| total(&SOURCES, slot)).fold(0.2, f64::max);
    let low = day.slots.iter().map(|slot| total(&USES, slot)).fold(0.2, f64::max);
    svg.text(
        "panel",
        Anchor::Start,
        (0.0, 138.0),
        "Energy of each half-hour, kWh: where from (up), where to (down)",
    );
    // The battery's hatch stands on both sides and is named once.
    let mut names: Vec<(String, String)> = Vec::new();
    for (hatch, name, of) in SOURCES.iter().chain(&USES) {
        let runs = *hatch != "w3" || day.slots.iter().any(|slot| of(slot) > 0.0);
        if runs && names.iter().all(|(known, _)| known != hatch) {
            names.push(((*hatch).to_owned(), (*name).to_owned()));
        }
    }
    legend(svg, &names, (0.0, 145.0));
    let plot = plot((170.0, 310.0), Scale::around(-low, high, 5.0, (0.02, 0.02)));
    frame(svg, &plot, day, false);
    let step = (plot.right - plot.left) / day.slots.len().max(1) as f64;
    for (index, slot) in day.slots.iter().enumerate() {
        let x = plot.left + step * index as f64;
        let (mut up, mut down) = (0.0, 0.0);
        for (hatch, _, of) in SOURCES {
            let (from, to) = (plot.y(up + of(slot)), plot.y(up));
            if to - from > 0.05 {
                area(svg, hatch, (x, from), step - 0.6, to - from);
            }
            up += of(slot);
        }
        for (hatch, _, of) in USES {
            let (from, to) = (plot.y(-down), plot.y(-down - of(slot)));
            if to - from > 0.05 {
                area(svg, hatch, (x, from), step - 0.6, to - from);
            }
            down += of(slot);
        }
    }
}

fn temperatures(svg: &mut Svg, day: &TypicalDay) {
    svg.text("panel", Anchor::Start, (0.0, 334.0), "Water at the end of each half-hour, °C");
    let hottest = day.slots.iter().map(|slot| slot.top_c).fold(60.0, f64::max);
    let plot = plot((344.0, 424.0), Scale::around(0.0, hottest, 4.0, (0.0, 0.04)));
    frame(svg, &plot, day, true);
    let ends = [
        ("top", "at the top", (|s| s.top_c) as fn(&SlotRow) -> f64),
        ("base", "at the foot", |s| s.bottom_c),
    ]
    .map(|(class, name, of)| {
        let count = day.slots.len().max(1) as f64;
        let points: Vec<(f64, f64)> = day
            .slots
            .iter()
            .enumerate()
            .map(|(index, slot)| (plot.across((index as f64 + 1.0) / count), plot.y(of(slot))))
            .collect();
        svg.path(class, &points, false);
        (points.last().map_or(plot.bottom, |point| point.1), name)
    });
    names(svg, ends);
}

/// Names at the right ends of two lines, apart from each other.
fn names(svg: &mut Svg, mut ends: [(f64, &str); 2]) {
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let apart = (LINE - (ends[1].0 - ends[0].0)).max(0.0) / 2.0;
    for ((y, name), by) in ends.into_iter().zip([-apart, apart]) {
        svg.text("label", Anchor::Start, (PLOT.1 + 8.0, y + by + 4.0), name);
    }
}

fn plot((top, bottom): (f64, f64), scale: Scale) -> Plot {
    Plot { left: PLOT.0, right: PLOT.1, top, bottom, scale }
}

/// Rules across at the scale's marks and down every three hours.
fn frame(svg: &mut Svg, plot: &Plot, day: &TypicalDay, hours: bool) {
    let count = day.slots.len().max(1) as f64;
    for (index, slot) in day.slots.iter().enumerate() {
        if index % 6 == 0 {
            let x = plot.across(index as f64 / count);
            svg.line("rule", (x, plot.top), (x, plot.bottom));
            if hours {
                svg.text("tick", Anchor::Middle, (x, plot.bottom + 16.0), &slot.start);
            }
        }
    }
    plot.rules(svg, |value| text(value, i32::from((value - value.round()).abs() > 1e-6)));
}

fn steps(
    svg: &mut Svg,
    plot: &Plot,
    day: &TypicalDay,
    class: &str,
    of: fn(&SlotRow) -> Option<f64>,
) {
    let count = day.slots.len().max(1) as f64;
    let mut points = Vec::new();
    for (index, slot) in day.slots.iter().enumerate() {
        if let Some(price) = of(slot) {
            let y = plot.y(price);
            points.push((plot.across(index as f64 / count), y));
            points.push((plot.across((index as f64 + 1.0) / count), y));
        }
    }
    svg.path(class, &points, false);
}

/// The day as a table that can be checked by hand.
pub(super) fn table(day: &TypicalDay, money: &Currency) -> Table {
    let unit = money.rate_unit();
    let mut table = Table::new(
        &format!("{}, half-hour by half-hour; prices in {unit}, energy in kWh", day.date),
        &[
            "From",
            "buy",
            "sell",
            "import",
            "export",
            "paid",
            "PV",
            "battery gave",
            "house",
            "elements",
            "battery took",
            "battery holds",
            "top °C",
            "litres",
        ],
    );
    let works = day.slots.iter().any(|slot| slot.sources_kwh > 0.0);
    let ends = plant_room(day);
    if works {
        table.head("heat pumps and pumps");
    }
    for (name, _) in &ends {
        table.head(&format!("{name} °C"));
    }
    let price = |price: Option<f64>| price.map_or_else(|| "unknown".to_owned(), |p| text(p, 3));
    for slot in &day.slots {
        let mut cells = vec![
            slot.start.clone(),
            price(slot.import_price),
            price(slot.export_price),
            text(slot.import_kwh, 3),
            text(slot.export_kwh, 3),
            slot.paid().map_or_else(|| "unknown".to_owned(), |paid| text(paid, 2)),
            text(slot.pv_kwh, 3),
            text(slot.discharge_kwh, 3),
            text(slot.base_load_kwh, 3),
            text(slot.heaters_kwh, 3),
            text(slot.charge_kwh, 3),
            text(slot.battery_kwh, 3),
            text(slot.top_c, 1),
            text(slot.usable_litres, 0),
        ];
        if works {
            cells.push(text(slot.sources_kwh, 3));
        }
        let end =
            |of: &fn(&SlotRow) -> Option<f64>| of(slot).map_or_else(String::new, |c| text(c, 1));
        cells.extend(ends.iter().map(|(_, of)| end(of)));
        table.row(cells);
    }
    let sum = |of: fn(&SlotRow) -> f64| text(day.slots.iter().map(of).sum(), 3);
    let blank = String::new;
    let mut cells = vec![
        "Sum".to_owned(),
        blank(),
        blank(),
        sum(|s| s.import_kwh),
        sum(|s| s.export_kwh),
        text(day.slots.iter().filter_map(SlotRow::paid).sum(), 2),
        sum(|s| s.pv_kwh),
        sum(|s| s.discharge_kwh),
        sum(|s| s.base_load_kwh),
        sum(|s| s.heaters_kwh),
        sum(|s| s.charge_kwh),
        blank(),
        blank(),
        blank(),
    ];
    if works {
        cells.push(sum(|s| s.sources_kwh));
    }
    cells.extend(ends.iter().map(|_| blank()));
    table.row(cells);
    table.mark();
    table
}

/// A temperature at the end of a half-hour, by name.
type End = (&'static str, fn(&SlotRow) -> Option<f64>);

/// Temperatures at the end of half-hours, of what there is.
fn plant_room(day: &TypicalDay) -> Vec<End> {
    let all: [End; 3] =
        [("buffer", |s| s.buffer_c), ("rooms", |s| s.rooms_c), ("pool", |s| s.pool_c)];
    all.into_iter().filter(|(_, of)| day.slots.iter().any(|slot| of(slot).is_some())).collect()
}

/// With a capital letter.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
