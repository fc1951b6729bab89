//! Heat by source and sink, and comfort of rooms and pool, on the page of a replay.

use super::markup::{Table, paragraph};
use crate::present::Currency;
use crate::present::digits::text;
use crate::replay::NO_BOUND;
use crate::replay::document::{Controller, Document, Kept, PlantRoom};

/// The section; `None` for a house of stores and elements.
pub(super) fn section(replay: &Document, money: &Currency) -> Option<String> {
    let runs: Vec<(&Controller, &PlantRoom)> = replay
        .controllers
        .iter()
        .filter_map(|own| Some((own, own.whole.plant_room.as_ref()?)))
        .collect();
    let (_, first) = runs.first()?;
    let mut heads = vec!["From and to"];
    heads.extend(runs.iter().map(|(own, _)| own.name.as_str()));
    let mut heat = Table::new("Heat from each source to each sink, kWh", &heads);
    let mut row = |name: String, of: &dyn Fn(&Controller, &PlantRoom) -> f64| {
        let cells = runs.iter().map(|(own, room)| text(of(own, room), 1));
        heat.row(std::iter::once(name).chain(cells).collect());
    };
    for (index, route) in first.routes.iter().enumerate() {
        row(format!("{} to {}", route.source, route.sink), &|_, room| room.routes[index].heat_kwh);
    }
    row("elements to stores".to_owned(), &|own, _| own.whole.heaters_kwh.iter().sum());
    row("lost by buffer and pipes".to_owned(), &|_, room| {
        room.buffer_lost_kwh + room.pipes_lost_kwh
    });
    row("lost by rooms, less their gains".to_owned(), &|_, room| {
        room.rooms_lost_kwh - room.rooms_gain_kwh
    });
    row("lost by pool, less its sun".to_owned(), &|_, room| room.pool_lost_kwh);
    let mut machines = Table::new(
        "Machines",
        &["Control", "electricity of sources", "fuel", "paid for fuel", "starts"],
    );
    for (own, room) in &runs {
        machines.row(vec![
            own.name.clone(),
            format!("{} kWh", text(room.electricity_kwh, 1)),
            format!("{} kWh", text(room.fuel_kwh, 1)),
            money.amount(room.fuel_cost),
            room.starts.to_string(),
        ]);
    }
    let mut html = heat.html() + &machines.html();
    for (name, of) in [
        ("rooms", (|room| room.rooms) as fn(&PlantRoom) -> Option<Kept>),
        ("pool", |room| room.pool),
    ] {
        if runs.iter().any(|(_, room)| of(room).is_some()) {
            html += &kept(name, &runs, of).html();
        }
    }
    html += &paragraph(
        "What the buffer gives is what others gave it, and is counted once. Defrosting is a mean share of the heat, and the buffer one mixed vessel.",
    );
    let bound = if replay.bound.is_some() {
        "What knowing everything would have cost is a measure for such a house and no bound"
    } else {
        "There is no bound for such a house"
    };
    Some(html + &paragraph(&format!("{bound}: {NO_BOUND}.")))
}

fn kept(
    name: &str,
    runs: &[(&Controller, &PlantRoom)],
    of: fn(&PlantRoom) -> Option<Kept>,
) -> Table {
    let mut table = Table::new(
        &format!("Comfort of the {name} against what was asked"),
        &["Control", "too cold, K·h", "hours too cold", "too warm, K·h", "lowest", "highest"],
    );
    for (own, room) in runs {
        let Some(kept) = of(room) else { continue };
        table.row(vec![
            own.name.clone(),
            text(kept.kelvin_hours_below, 1),
            text(kept.hours_below, 1),
            text(kept.kelvin_hours_above, 1),
            format!("{} °C", text(kept.lowest_c, 1)),
            format!("{} °C", text(kept.highest_c, 1)),
        ]);
    }
    table
}
