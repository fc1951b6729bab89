use chrono::NaiveDate;

use super::*;
use crate::local_time::{day_slots, parse_instant};

const LONDON: Tz = Tz::Europe__London;

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

fn time(text: &str) -> NaiveTime {
    NaiveTime::parse_from_str(text, "%H:%M").expect("a time")
}

fn band(from: &str, until: &str, rate: f64) -> Band {
    Band { from: time(from), until: time(until), rate: Price::constant(rate) }
}

fn plain_index() -> Index {
    Index { column: None, factor: 1.0, adders: vec![], vat: 0.0, cap: None, floor: None }
}

fn tariff(import: Rates) -> Tariff {
    Tariff {
        currency: "GBP".into(),
        import,
        export: Rates::Bands(vec![band("00:00", "00:00", 15.0)]),
        standing_charge_per_day: 60.0,
        published_at: NaiveTime::MIN,
    }
}

fn prices(start: &str, step: i64, values: &[Option<f64>]) -> Prices {
    let point = |(index, value): (usize, &Option<f64>)| {
        let from = at(start) + index as i64 * step;
        (Slot::new(from, from + step).expect("a slot"), value.map(Price::constant))
    };
    Prices::new(values.iter().enumerate().map(point).collect()).expect("in order")
}

fn horizon(start: &str, step: i64, count: usize) -> Horizon {
    Horizon::regular(at(start), step, count).expect("a horizon")
}

#[track_caller]
fn check(found: &[Option<Price>], expected: &[Option<f64>]) {
    assert_eq!(found.len(), expected.len());
    for (index, (found, expected)) in found.iter().zip(expected).enumerate() {
        match (found.map(Price::per_kwh), expected) {
            (Some(found), Some(expected)) => {
                assert!((found - expected).abs() < 1e-9, "slot {index}: {found} is not {expected}");
            }
            (found, expected) => assert_eq!(found, *expected, "slot {index}"),
        }
    }
}

fn import(
    rates: Rates,
    series: Prices,
    horizon: &Horizon,
    period: Option<i64>,
) -> Vec<Option<Price>> {
    let wholesale = Wholesale { import: series, export: Prices::default() };
    unit_rates(&tariff(rates), &wholesale, horizon, LONDON, period).import
}

// TT-12, recomputed: value-added tax multiplies negative prices as well.
#[test]
fn vat_on_positive_and_negative_prices() {
    let index = Index { vat: 0.05, ..plain_index() };
    for (net, gross) in [(24.5, 25.725), (-5.0, -5.25)] {
        check(&[Some(index.unit_rate(Price::constant(net), time("12:00")))], &[Some(gross)]);
    }
}

// TT-14: cap and floor hold after adders and tax.
#[test]
fn cap_and_floor_come_last() {
    let index = Index {
        factor: 2.0,
        adders: vec![band("16:00", "19:00", 12.0)],
        vat: 0.05,
        cap: Some(Price::constant(100.0)),
        floor: Some(Price::constant(-2.0)),
        ..plain_index()
    };
    for (price, clock, rate) in [
        (10.0, "15:59", 21.0),
        (10.0, "16:00", 33.6),
        (10.0, "19:00", 21.0),
        (41.0, "17:00", 98.7),
        (42.0, "17:00", 100.0),
        (-40.0, "17:00", -2.0),
    ] {
        let found = index.unit_rate(Price::constant(price), time(clock));
        check(&[Some(found)], &[Some(rate)]);
    }
}

#[test]
fn bands_by_local_time() {
    let night = Rates::Bands(vec![band("23:30", "05:30", 7.0), band("05:30", "23:30", 28.0)]);
    // 05:00 to 06:30 on a summer day is 04:00 to 05:30 in universal time.
    let found = import(night, Prices::default(), &horizon("2025-07-01T04:00Z", 1_800, 3), None);
    check(&found, &[Some(7.0), Some(28.0), Some(28.0)]);
}

#[test]
fn a_slot_over_a_band_edge_has_the_mean_over_time() {
    let bands = Rates::Bands(vec![band("00:00", "16:10", 10.0), band("16:10", "00:00", 40.0)]);
    let found = import(bands, Prices::default(), &horizon("2025-01-07T16:00Z", 1_800, 2), None);
    check(&found, &[Some(30.0), Some(40.0)]);
}

#[test]
fn a_whole_day_in_one_slot() {
    let bands = Rates::Bands(vec![band("23:00", "05:00", 8.0), band("05:00", "23:00", 16.0)]);
    let found = import(bands, Prices::default(), &horizon("2025-01-07T00:00Z", 86_400, 1), None);
    check(&found, &[Some(14.0)]);
}

#[test]
fn a_hole_in_the_bands_is_missing_not_free() {
    let bands = Rates::Bands(vec![band("00:00", "12:00", 10.0)]);
    let found = import(bands, Prices::default(), &horizon("2025-01-07T11:30Z", 1_800, 2), None);
    check(&found, &[Some(10.0), None]);
}

// On the day the clock goes back the band from 01:30 holds twice, also inside
// one long slot.
#[test]
fn bands_in_the_repeated_hour() {
    let bands = || Rates::Bands(vec![band("01:30", "02:00", 5.0), band("02:00", "01:30", 25.0)]);
    let fold = horizon("2025-10-26T00:00Z", 1_800, 5);
    let found = import(bands(), Prices::default(), &fold, None);
    check(&found, &[Some(25.0), Some(5.0), Some(25.0), Some(5.0), Some(25.0)]);
    let long = horizon("2025-10-26T00:00Z", 7_200, 1);
    check(&import(bands(), Prices::default(), &long, None), &[Some(15.0)]);
}

#[test]
fn both_change_days_are_rated_in_full() {
    let bands = Rates::Bands(vec![band("00:00", "07:00", 8.0), band("07:00", "00:00", 30.0)]);
    for (day, slots, cheap) in [("2025-03-30", 46, 12), ("2025-10-26", 50, 16)] {
        let date: NaiveDate = day.parse().expect("a date");
        let day = Horizon::new(day_slots(date, LONDON, 1_800)).expect("a day");
        let found = import(bands.clone(), Prices::default(), &day, None);
        let low = found.iter().filter(|rate| **rate == Some(Price::constant(8.0))).count();
        assert_eq!((found.len(), low), (slots, cheap));
    }
}

#[test]
fn a_missing_price_stays_missing() {
    let series = prices("2025-07-01T00:00Z", 900, &[Some(4.0), Some(8.0), None, Some(6.0)]);
    let found = import(
        Rates::Indexed(plain_index()),
        series,
        &horizon("2025-07-01T00:00Z", 1_800, 3),
        None,
    );
    check(&found, &[Some(6.0), None, None]);
}

// C37: quarters 4, 8, −2, 6 are half-hours of 6 and 2, and a meter that settles
// by the half-hour pays these in each quarter.
#[test]
fn billing_at_the_period_of_the_meter() {
    let series =
        || prices("2025-10-01T00:00Z", 900, &[Some(4.0), Some(8.0), Some(-2.0), Some(6.0)]);
    let rates = || Rates::Indexed(plain_index());
    let quarters = horizon("2025-10-01T00:00Z", 900, 4);
    let by_quarter = import(rates(), series(), &quarters, None);
    check(&by_quarter, &[Some(4.0), Some(8.0), Some(-2.0), Some(6.0)]);
    let by_half_hour = import(rates(), series(), &quarters, Some(1_800));
    check(&by_half_hour, &[Some(6.0), Some(6.0), Some(2.0), Some(2.0)]);
    // A slot in progress has the price of its whole period.
    let late = horizon("2025-10-01T00:20Z", 600, 1);
    check(&import(rates(), series(), &late, Some(1_800)), &[Some(6.0)]);
    check(&import(rates(), series(), &late, None), &[Some(8.0)]);
}

// The floor holds in each period that is billed, so it does not commute with
// the mean: (4 + 8)/2 = 6, but (max(−2, 0) + 6)/2 = 3.
#[test]
fn the_floor_holds_in_each_billed_period() {
    let series =
        || prices("2025-10-01T00:00Z", 900, &[Some(4.0), Some(8.0), Some(-2.0), Some(6.0)]);
    let rates = || Rates::Indexed(Index { floor: Some(Price::constant(0.0)), ..plain_index() });
    let halves = horizon("2025-10-01T00:00Z", 1_800, 2);
    check(&import(rates(), series(), &halves, None), &[Some(6.0), Some(3.0)]);
    check(&import(rates(), series(), &halves, Some(1_800)), &[Some(6.0), Some(2.0)]);
}

// Hours on a clock 5:45 ahead begin at a quarter past in universal time.
#[test]
fn periods_begin_on_the_local_clock() {
    let series = prices("2025-07-01T00:15Z", 900, &[Some(1.0), Some(2.0), Some(3.0), Some(6.0)]);
    let wholesale = Wholesale { import: series, export: Prices::default() };
    let slots = horizon("2025-07-01T00:15Z", 1_800, 2);
    let rates = tariff(Rates::Indexed(plain_index()));
    let found = unit_rates(&rates, &wholesale, &slots, Tz::Asia__Kathmandu, Some(3_600));
    check(&found.import, &[Some(3.0), Some(3.0)]);
}

#[test]
fn export_and_import_are_rated_apart_and_without_standing_charge() {
    let file = crate::series::read(
        "test.csv",
        b"start,a_gbp_per_mwh,b_gbp_per_mwh\n2025-07-01T00:00Z,100,50\n2025-07-01T00:30Z,80,-40\n",
        crate::series::Marks::AsNamed,
    )
    .expect("a file");
    let indexed = |column: &str, vat| {
        Rates::Indexed(Index { column: Some(column.into()), vat, ..plain_index() })
    };
    let mut tariff = tariff(indexed("a_gbp_per_mwh", 0.05));
    tariff.export = indexed("b_gbp_per_mwh", 0.0);
    let wholesale = Wholesale::from_file(&file, &tariff).expect("prices");
    let slots = horizon("2025-07-01T00:00Z", 1_800, 2);
    let dear = Tariff { standing_charge_per_day: 500.0, ..tariff.clone() };
    let found = unit_rates(&tariff, &wholesale, &slots, LONDON, None);
    check(&found.import, &[Some(10.5), Some(8.4)]);
    check(&found.export, &[Some(5.0), Some(-4.0)]);
    assert_eq!(found, unit_rates(&dear, &wholesale, &slots, LONDON, None));
    tariff.currency = "EUR".into();
    assert!(matches!(Wholesale::from_file(&file, &tariff), Err(PriceError::Currency { .. })));
}
