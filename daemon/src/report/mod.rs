//! The page that a customer keeps: one HTML file that needs nothing else.
//!
//! A page is a pure function of a study or of a replay, so the same figures
//! give the same bytes. Pictures are SVG within the page; each carries its
//! title, a sentence on what is to be seen, and a table of its numbers, and
//! tells nothing by colour alone.

mod currents;
mod day;
mod margins;
mod markup;
mod measured;
mod months;
mod of_replay;
mod of_study;
mod options;
mod plant;
mod plant_room;
mod plot;
mod savings;
mod sources;
mod words;

pub use of_replay::of_replay;
pub use of_study::of_study;

use crate::replay::document::Coverage;
use crate::size::case::TypicalDay;
use markup::Table;

/// A day and the past that it is of.
type Dated<'a> = (&'a str, &'a TypicalDay);

/// Of each kind of day the first; of plunges the one with the cheapest price. A
/// day that stands for two kinds is shown once.
fn chosen<'a>(days: impl Iterator<Item = Dated<'a>>) -> Vec<Dated<'a>> {
    let cheapest = |day: &TypicalDay| {
        let prices = day.slots.iter().filter_map(|slot| slot.import_price);
        prices.fold(f64::INFINITY, f64::min)
    };
    let mut chosen: Vec<Dated<'a>> = Vec::new();
    for (past, day) in days {
        match chosen.iter_mut().find(|(_, known)| known.kind == day.kind) {
            Some(known) if day.is_plunge() && cheapest(day) < cheapest(known.1) => {
                *known = (past, day);
            }
            Some(_) => {}
            None => chosen.push((past, day)),
        }
    }
    if chosen.iter().any(|(_, day)| day.is_of_a_season()) {
        chosen.retain(|(_, day)| day.is_of_a_season() || day.is_plunge());
    }
    let twice = |a: &Dated<'_>, b: &Dated<'_>| a.0 == b.0 && a.1.date == b.1.date;
    let all = chosen.clone();
    let mut index = 0;
    chosen.retain(|day| {
        index += 1;
        !all[index..].iter().any(|later| twice(day, later))
    });
    chosen
}

/// What part of some pasts the data cover.
fn coverage<'a>(pasts: impl Iterator<Item = (&'a str, String, &'a Coverage)>) -> Table {
    let mut table = Table::new(
        "What the data cover, in half-hours",
        &["Period", "days", "half-hours", "with prices", "with PV", "with load"],
    )
    .words(&[1]);
    for (name, days, coverage) in pasts {
        table.row(vec![
            name.to_owned(),
            days,
            coverage.half_hours.to_string(),
            coverage.prices.to_string(),
            coverage.pv.to_string(),
            coverage.load.to_string(),
        ]);
    }
    table
}
