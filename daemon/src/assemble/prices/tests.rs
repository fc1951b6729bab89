use chrono::{Days, NaiveDate};
use optimiser::time::Horizon;

use super::*;
use crate::assemble::slots;
use crate::local_time::{day_slots, parse_instant};
use crate::tariff::{Index, Tariff};

const SITE: &str = include_str!("../../../../fixtures/sites/mill-cottage.toml");

/// The small house on a tariff that passes a series on as it is.
fn house() -> House {
    let mut house = crate::site_file::read(SITE, "site").expect("a good site").house;
    let index =
        Index { column: None, factor: 1.0, adders: Vec::new(), vat: 0.0, cap: None, floor: None };
    house.tariff = Tariff { import: Rates::Indexed(index), ..house.tariff };
    house
}

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

/// Hours of local days with a price that tells day and hour.
fn days(first: &str, count: u64, price: impl Fn(u64, usize) -> Option<f64>) -> Prices {
    let first: NaiveDate = first.parse().expect("a date");
    let points = (0..count)
        .flat_map(|day| {
            let slots = day_slots(first + Days::new(day), house().time_zone, 3_600);
            slots.into_iter().enumerate().map(move |(hour, slot)| (day, hour, slot))
        })
        .map(|(day, hour, slot)| (slot, price(day, hour).map(Price::constant)))
        .collect();
    Prices::new(points).expect("in order")
}

/// What a plan made then takes each half-hour to cost, from its start on.
fn planned(history: Prices, from: &str) -> (Horizon, Priced, Vec<String>) {
    let (house, from) = (house(), at(from));
    let wholesale = Wholesale { import: history, export: Prices::default() };
    let known = Known { wholesale, price_step_seconds: 3_600, ..Known::default() };
    let spans = slots::spans(&house, &known, from).expect("slots");
    let mut notes = Vec::new();
    let priced = prices(&house, &known, from, &spans, &mut notes).expect("prices");
    (spans.all, priced, notes)
}

fn rate(planned: &(Horizon, Priced, Vec<String>), when: &str) -> (f64, Origin) {
    let index = planned.0.index_at(at(when)).expect("a slot of the plan");
    (planned.1.import[index].per_kwh(), planned.1.origins[index])
}

fn expect(found: (f64, Origin), price: f64, origin: Origin) {
    assert!((found.0 - price).abs() < 1e-9, "{} is not {price}", found.0);
    assert_eq!(found.1, origin);
}

// The means of `optimiser::forecast::prices`, by hand.
#[test]
fn a_blend_of_the_last_day_week_weeks_and_days_of_a_kind() {
    // Day d is worth d, from Monday 6 to Sunday 12 January 2025.
    let history = days("2025-01-06", 7, |day, hour| Some(day as f64 + hour as f64 * 100.0));
    let found = planned(history, "2025-01-12T22:00Z");
    expect(rate(&found, "2025-01-12T23:00Z"), 2_306.0, Origin::Published);
    // Last day 6, the week and the four weeks (0 + … + 6)/7 = 3, working days
    // (4 + 3 + 2 + 1)/4 = 2.5.
    let monday = (6.0 + 3.0 + 3.0 + 2.5) / 4.0;
    expect(rate(&found, "2025-01-13T05:00Z"), 500.0 + monday, Origin::Forecast);
    expect(rate(&found, "2025-01-13T05:30Z"), 500.0 + monday, Origin::Forecast);
    let note =
        "prices from Mon 13 Jan 00:00 are expected from earlier days (7 known), not published";
    assert_eq!(found.2, [note]);
}

// A file may hold the whole year; what was not published must not leak.
#[test]
fn nothing_after_the_plan_is_looked_at() {
    let with = |later: f64| {
        let history = days("2025-01-06", 30, |day, _| Some(if day > 5 { later } else { 10.0 }));
        planned(history, "2025-01-09T00:00Z").1.import
    };
    // The plan ends at one, two days on.
    let (low, high) = (with(-500.0), with(500.0));
    assert_eq!(low, high);
    assert!(high.iter().all(|price| *price == Price::constant(10.0)));
}

// C36: prices end at midnight and nothing is published for the next day.
#[test]
fn the_plan_is_never_without_prices() {
    let found = planned(days("2025-01-06", 1, |_, hour| Some(hour as f64)), "2025-01-06T23:00Z");
    expect(rate(&found, "2025-01-06T23:00Z"), 23.0, Origin::Published);
    expect(rate(&found, "2025-01-07T00:00Z"), 0.0, Origin::Forecast);
    expect(rate(&found, "2025-01-07T05:30Z"), 5.0, Origin::Forecast);
}

#[test]
fn an_hour_that_no_day_has_costs_the_mean_of_all() {
    let history = days("2025-01-06", 1, |_, hour| (hour > 21).then_some(hour as f64 * 10.0));
    let found = planned(history, "2025-01-06T23:00Z");
    expect(rate(&found, "2025-01-07T12:00Z"), 225.0, Origin::Forecast);
}

// The clock goes back on 26 October 2025: 18:00 is another hour in UTC.
#[test]
fn the_same_time_of_day_across_a_change_of_the_clock() {
    let history = days("2025-10-25", 1, |_, hour| Some(hour as f64));
    let found = planned(history, "2025-10-25T22:00Z");
    expect(rate(&found, "2025-10-26T18:00Z"), 18.0, Origin::Forecast);
    expect(rate(&found, "2025-10-26T00:30Z"), 1.0, Origin::Forecast);
    expect(rate(&found, "2025-10-26T01:30Z"), 1.0, Origin::Forecast);
}

#[test]
fn a_price_that_is_known_stays_where_the_other_direction_is_not() {
    let mut house = house();
    house.tariff.export = house.tariff.import.clone();
    let import = days("2025-01-06", 2, |day, _| Some(if day == 0 { 10.0 } else { 40.0 }));
    let export = days("2025-01-06", 1, |_, _| Some(5.0));
    let known = Known {
        wholesale: Wholesale { import, export },
        price_step_seconds: 3_600,
        ..Known::default()
    };
    let from = at("2025-01-06T12:00Z");
    let spans = slots::spans(&house, &known, from).expect("slots");
    let priced = prices(&house, &known, from, &spans, &mut Vec::new()).expect("prices");
    let tomorrow = spans.all.index_at(at("2025-01-07T06:00Z")).expect("a slot");
    expect((priced.import[tomorrow].per_kwh(), priced.origins[tomorrow]), 40.0, Origin::Forecast);
    assert!((priced.export[tomorrow].per_kwh() - 5.0).abs() < 1e-9);
}
