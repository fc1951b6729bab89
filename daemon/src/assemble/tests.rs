use std::fmt::Write as _;

use chrono::NaiveTime;
use optimiser::time::Slot;
use optimiser::units::{Irradiance, Temperature};

use super::*;
use crate::house::{BaseLoad, DrawKind, Pv};
use crate::local_time::parse_instant;
use crate::series::{Marks, SeriesFile, read};
use crate::tariff::{Rates, Wholesale};
use crate::weather::{Conditions, Reading, Weather};

fn house(text: &str) -> House {
    crate::site_file::read(text, "house.toml").expect("a fixture").house
}

fn demo() -> House {
    house(include_str!("../../../fixtures/sites/harbour-row.toml"))
}

fn small() -> House {
    house(include_str!("../../../fixtures/sites/mill-cottage.toml"))
}

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

/// A series of equal intervals; a value that is no number is left out.
fn series(header: &str, first: &str, minutes: i64, values: &[f64]) -> SeriesFile {
    let mut text = format!("start_utc,{header}\n");
    for (index, value) in (0..).zip(values) {
        if !value.is_nan() {
            let _ = writeln!(text, "{},{value}", at(first) + index * minutes * 60);
        }
    }
    read("series.csv", text.as_bytes(), Marks::AsNamed).unwrap_or_else(|error| panic!("{error}"))
}

/// The demo house's prices from a series.
fn priced(house: &mut House, prices: &SeriesFile) -> Known {
    for rates in [&mut house.tariff.import, &mut house.tariff.export] {
        if let Rates::Indexed(index) = rates {
            index.column = None;
        }
    }
    Known {
        wholesale: Wholesale::from_file(prices, &house.tariff).expect("prices"),
        price_step_seconds: prices.step_seconds(),
        ..Known::default()
    }
}

/// Seven days of prices that follow the hour.
fn hourly_prices(first: &str, minutes: i64) -> SeriesFile {
    let count = 7 * 24 * 60 / minutes;
    let values: Vec<f64> = (0..count).map(|i| 50.0 + (i * minutes / 60 % 24) as f64).collect();
    series("price_gbp_per_mwh", first, minutes, &values)
}

fn lengths(horizon: &optimiser::time::Horizon) -> Vec<i64> {
    horizon.slots().iter().map(|slot| slot.seconds()).collect()
}

#[test]
fn the_first_slot_is_what_is_left_and_late_ones_are_hours() {
    let from = at("2026-04-17T06:10:00+01:00");
    let spans = slots::spans(&small(), &Known::default(), from).expect("slots");
    assert_eq!(spans.horizon.start(), from);
    let lengths = lengths(&spans.horizon);
    assert_eq!(lengths[0], 20 * 60);
    // Half-hours until the first whole hour after a day and a half.
    let fine = lengths.iter().skip(1).take_while(|seconds| **seconds == 1_800).count();
    assert_eq!(spans.horizon.slots()[fine].end(), at("2026-04-17T18:00:00Z") + 86_400);
    assert!(lengths[fine + 1..].iter().all(|seconds| *seconds == 3_600));
    assert_eq!(spans.horizon.end(), at("2026-04-19T06:00:00Z"));
    // Two days more value what is left.
    assert_eq!(spans.all.end(), at("2026-04-21T06:00:00Z"));
    assert_eq!(spans.all.slots()[..lengths.len()], *spans.horizon.slots());
}

#[test]
fn slots_are_as_long_as_prices_but_half_an_hour_at_most() {
    let from = at("2026-04-17T06:00:00+01:00");
    for (minutes, expected) in [(15, 900), (30, 1_800), (60, 1_800)] {
        let known = Known { price_step_seconds: minutes * 60, ..Known::default() };
        let spans = slots::spans(&demo(), &known, from).expect("slots");
        assert_eq!(
            lengths(&spans.horizon)[..140 / (expected as usize / 900)],
            vec![expected; 140 / (expected as usize / 900)]
        );
    }
    // Where no price series is followed its interval sets nothing.
    let known = Known { price_step_seconds: 900, ..Known::default() };
    let spans = slots::spans(&small(), &known, from).expect("slots");
    assert_eq!(lengths(&spans.horizon)[0], 1_800);
}

// C37, common practice, no published source: quarters of 4, 8, −2 and 6 are
// planned one by one, and an hour of them costs their mean over time, 4.
#[test]
fn quarter_hour_prices_are_kept_and_averaged_over_late_hours() {
    let mut house = demo();
    let Rates::Indexed(index) = &mut house.tariff.import else { panic!("an index") };
    (index.factor, index.vat, index.adders) = (1.0, 0.0, Vec::new());
    let quarters: Vec<f64> = [4.0, 8.0, -2.0, 6.0].repeat(24 * 5);
    let prices = series("price_p_per_kwh", "2026-04-17T00:00:00Z", 15, &quarters);
    let known = priced(&mut house, &prices);
    let made = assemble(&house, &known, at("2026-04-17T00:00:00Z")).expect("a problem");
    let price: Vec<f64> =
        made.problem.import_price.values().iter().map(|price| price.per_kwh()).collect();
    for (own, expected) in price.iter().zip([4.0, 8.0, -2.0, 6.0].repeat(36)) {
        assert!((own - expected).abs() < 1e-9, "{own} is not {expected}");
    }
    let late =
        made.problem.horizon.slots().iter().zip(&price).filter(|(s, _)| s.seconds() == 3_600);
    assert!(late.clone().count() >= 12);
    assert!(late.into_iter().all(|(_, price)| (price - 4.0).abs() < 1e-9));
}

// C35, common practice, no published source: on the day of 23 hours the price
// of 17:00 local is the element 16 of the list that begins at local midnight.
#[test]
fn a_list_of_23_prices_is_no_clock() {
    let mut house = demo();
    let values: Vec<f64> = (0..96).map(|hour| 50.0 + f64::from(hour)).collect();
    let prices = series("price_gbp_per_mwh", "2025-03-30T00:00:00Z", 60, &values);
    let known = priced(&mut house, &prices);
    let Rates::Indexed(index) = &mut house.tariff.import else { panic!("an index") };
    (index.factor, index.vat, index.adders) = (1.0, 0.0, Vec::new());
    let made = assemble(&house, &known, at("2025-03-30T00:00:00Z")).expect("a problem");
    let slot = made.problem.horizon.index_at(at("2025-03-30T17:00:00+01:00")).expect("a slot");
    assert!((made.problem.import_price[slot].per_kwh() - 6.6).abs() < 1e-9);
}

// C34, common practice, no published source.
#[test]
fn promises_keep_to_the_clock_when_it_changes() {
    let mut house = demo();
    house.ready.truncate(1);
    for (from, time, expected) in [
        // The short day: an hour less sleep, and 01:30 does not exist.
        ("2025-03-30T00:00:00Z", (6, 30), "2025-03-30T05:30:00Z"),
        ("2025-03-30T00:00:00Z", (1, 30), "2025-03-30T01:00:00Z"),
        // The long day: 01:30 comes twice, the first is the one to keep.
        ("2025-10-25T23:00:00Z", (6, 30), "2025-10-26T06:30:00Z"),
        ("2025-10-25T23:00:00Z", (1, 30), "2025-10-26T00:30:00Z"),
    ] {
        house.ready[0].by = NaiveTime::from_hms_opt(time.0, time.1, 0).expect("a time");
        let known = priced(&mut house, &hourly_prices(&from.replace("T23", "T00"), 30));
        let made = assemble(&house, &known, at(from)).expect("a problem");
        assert_eq!(made.problem.ready[0].by, at(expected), "{from} {time:?}");
        let local_day = crate::local_time::local_date(at(from), house.time_zone);
        let on_day = made.problem.horizon.slots().iter().filter(|slot| {
            crate::local_time::local_date(slot.start(), house.time_zone) == local_day
        });
        assert_eq!(on_day.count(), if from.contains("-03-") { 46 } else { 50 });
    }
}

#[test]
fn pasteurisation_is_due_when_the_last_proof_is_old() {
    let from = at("2026-04-17T06:00:00Z");
    let mut house = small();
    let spans = slots::spans(&house, &Known::default(), from).expect("slots");
    let mut due = |last| {
        house.hygiene[0].last_proven = last;
        habits::hygiene(&house, &spans.horizon).first().map(|hygiene| hygiene.due)
    };
    assert_eq!(due(None), Some(from), "never proven");
    assert_eq!(due(Some(from + -6 * 86_400)), Some(from + 86_400));
    // Overdue: the problem keeps the date, so that the plan can say so.
    assert_eq!(due(Some(from + -9 * 86_400)), Some(from + -2 * 86_400));
    assert_eq!(due(Some(from + -4 * 86_400)), None, "due after the plan");
}

// C38, common practice, no published source: what is missing is not zero.
#[test]
fn a_gap_in_the_load_is_its_mean_and_a_note() {
    let mut house = small();
    house.base_load = BaseLoad::Series { scale: 2.0 };
    let from = "2026-04-17T06:00:00Z";
    let mut values: Vec<f64> = (0..192).map(|i| if i % 2 == 0 { 0.1 } else { 0.3 }).collect();
    let whole = Known { load: Some(series("load_kwh", from, 30, &values)), ..Known::default() };
    let made = assemble(&house, &whole, at(from)).expect("a problem");
    assert!((made.problem.base_load[0].kwh() - 0.2).abs() < 1e-9);
    for value in &mut values[10..14] {
        *value = f64::NAN;
    }
    let gap = Known { load: Some(series("load_kwh", from, 30, &values)), ..Known::default() };
    let made = assemble(&house, &gap, at(from)).expect("a problem");
    assert!(
        made.notes.iter().any(|note| note.contains("load series has a gap")),
        "{:?}",
        made.notes
    );
    for slot in 10..14 {
        assert!((made.problem.base_load[slot].kwh() - 0.4).abs() < 0.02);
    }
    assert!((made.problem.base_load[9].kwh() - 0.6).abs() < 1e-9);
    let error = assemble(&house, &Known::default(), at(from)).expect_err("no load at all");
    assert!(error.to_string().contains("--load"), "{error}");
}

#[test]
fn without_weather_the_day_is_dull_and_the_plan_says_so() {
    let mut house = demo();
    let from = "2026-04-17T05:00:00Z";
    let mut known = priced(&mut house, &hourly_prices("2026-04-17T00:00:00Z", 30));
    let dull = assemble(&house, &known, at(from)).expect("a problem");
    assert!(dull.notes.iter().any(|note| note.contains("dull day: 30 %")), "{:?}", dull.notes);
    let energy = |made: &Assembled| made.problem.pv.values().iter().map(|e| e.kwh()).sum::<f64>();
    assert!(energy(&dull) > 1.0, "{}", energy(&dull));
    // A record that reaches all the way is taken, and no note made.
    known.weather = Some(Reading::Dated(even_light(at(from), 4 * 24, 600.0)));
    let lit = assemble(&house, &known, at(from)).expect("a problem");
    assert!(!lit.notes.iter().any(|note| note.contains("dull")), "{:?}", lit.notes);
    assert!(energy(&lit) > energy(&dull));
    // Neither place nor forecast: nothing is counted on.
    house.pv = Some(Pv::Forecast { scale: 1.0 });
    let blind = assemble(&house, &known, at(from)).expect("a problem");
    assert!(energy(&blind) < 1e-12);
    assert!(blind.notes.iter().any(|note| note.contains("counted as nothing")));
}

/// Hours of the same irradiance.
fn even_light(from: Instant, hours: i64, watts: f64) -> Weather {
    let row = |hour: i64| {
        let start = from + hour * 3_600;
        let conditions = Conditions {
            ghi: Some(Irradiance::clamped(watts + hour as f64)),
            temp_air: Some(Temperature::constant(15.0)),
            ..Conditions::default()
        };
        (Slot::new(start, start + 3_600).expect("an hour"), conditions)
    };
    Weather::new((0..hours).map(row).collect()).expect("rows in order")
}

// After the plan slots are hours, within its first day and a half they are not.
#[test]
fn sun_after_the_plan_is_that_of_the_day_before() {
    let mut house = demo();
    let from = at("2026-04-17T05:00:00Z");
    let mut known = priced(&mut house, &hourly_prices("2026-04-17T00:00:00Z", 30));
    known.weather = Some(Reading::Dated(even_light(from, 49, 100.0)));
    let spans = slots::spans(&house, &known, from).expect("slots");
    let mut notes = Vec::new();
    let pv = supply::pv(&house, &known, &spans, &mut notes).expect("PV");
    assert!(notes.is_empty(), "{notes:?}");
    let within = |start: Instant| {
        let hour = Slot::new(start, start + 3_600).expect("an hour");
        let slots = spans.all.slots().iter().zip(&pv);
        slots.filter(|(slot, _)| slot.overlap_seconds(hour) > 0).map(|(_, e)| e.kwh()).sum::<f64>()
    };
    for hour in 49..97 {
        let (own, before) = (within(from + hour * 3_600), within(from + (hour - 24) * 3_600));
        assert!(own > 0.3 && (own - before).abs() < 1e-6, "hour {hour}: {own}, before {before}");
    }
}

#[test]
fn prices_that_are_expected_are_marked_and_noted() {
    let mut house = demo();
    // A week until midnight; the plan reaches two days beyond.
    let known = priced(&mut house, &hourly_prices("2026-04-10T00:00:00Z", 30));
    let from = at("2026-04-16T18:00:00Z");
    let made = assemble(&house, &known, from).expect("a problem");
    let published =
        made.price_origins.iter().filter(|origin| **origin == Origin::Published).count();
    assert_eq!(published, 12);
    assert!(made.price_origins[..12].iter().all(|origin| *origin == Origin::Published));
    let note =
        "prices from Fri 17 Apr 01:00 are expected from earlier days (7 known), not published";
    assert!(made.notes.iter().any(|own| own == note), "{:?}", made.notes);
    let late = assemble(&house, &known, at("2026-04-17T00:00:00Z")).expect_err("no price is known");
    assert!(matches!(late, AssembleError::NoPrices { .. }), "{late}");
    assert_eq!(
        assemble(&house, &Known::default(), from).expect_err("no prices at all"),
        AssembleError::PricesNeeded
    );
}

#[test]
fn draws_of_a_series_come_from_its_column() {
    let mut house = small();
    house.draws[0].kind = DrawKind::Series {
        column: "draw_l_200lpd".to_owned(),
        temperature: Temperature::constant(40.0),
        flow: optimiser::units::Flow::constant(7.0),
        scale: 0.5,
    };
    let from = "2026-04-17T06:00:00Z";
    let unknown = assemble(&house, &Known::default(), at(from)).expect("a problem");
    assert!(unknown.problem.draws.is_empty());
    assert!(unknown.notes.iter().any(|note| note.contains("--draws")), "{:?}", unknown.notes);
    let draws = series("draw_l_200lpd", from, 30, &[0.0, 30.0, 0.0, 8.0]);
    let known = Known { draws: Some(draws), ..Known::default() };
    let made = assemble(&house, &known, at(from)).expect("a problem");
    let found: Vec<(i64, f64)> =
        made.problem.draws.iter().map(|d| (d.start - at(from), d.volume.litres())).collect();
    assert_eq!(found, [(1_800, 15.0), (5_400, 4.0)]);
    let other =
        Known { draws: Some(series("draw_l_100lpd", from, 30, &[1.0, 2.0])), ..Known::default() };
    let error = assemble(&house, &other, at(from)).expect_err("another column");
    assert!(error.to_string().contains("draw_l_200lpd"), "{error}");
}
