//! Real series: every file reads as it stands, and prices are accepted in their
//! own unit and in no other.
//!
//! Expected figures are those in the README of the data, which its authors
//! counted with another program.

use std::fs;
use std::path::PathBuf;

use chrono_tz::Tz;
use optimiser::time::{Horizon, Slot};
use optimiser::units::Price;
use stowheat::assemble::{Known, Origin, assemble};
use stowheat::local_time::{day, day_slots, local_date, parse_instant};
use stowheat::series::{
    Dimension, Marks, PriceUnit, Prices, SeriesFile, read, repeated_days, unit_slip,
};
use stowheat::site_file;
use stowheat::tariff::{Index, Rates, Wholesale};

const SITE: &str = include_str!("../../fixtures/sites/mill-cottage.toml");

/// The text of a file of the shared data; `None` where the data are absent.
#[expect(clippy::print_stderr, reason = "a check that is left out says so")]
fn data(name: &str) -> Option<Vec<u8>> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/data").join(name);
    let bytes = fs::read(&path).ok();
    if bytes.is_none() {
        eprintln!("left out: {} is not there", path.display());
    }
    bytes
}

fn parse(name: &str, bytes: &[u8]) -> SeriesFile {
    read(name, bytes, Marks::AsNamed).unwrap_or_else(|error| panic!("{error}"))
}

struct Expected {
    file: &'static str,
    minutes: i64,
    rows: usize,
    missing_rows: usize,
    first: &'static str,
    last: &'static str,
    /// Header, kind, values that are there, least and largest as stored.
    columns: &'static [(&'static str, Dimension, usize, f64, f64)],
}

const FILES: [Expected; 10] = [
    Expected {
        file: "price_30min_AU-VIC1_2024.csv",
        minutes: 30,
        rows: 17_568,
        missing_rows: 0,
        first: "2023-12-31T14:00Z",
        last: "2024-12-31T13:30Z",
        columns: &[("price_aud_per_mwh", Dimension::Price, 17_568, -46.345, 1_660.0)],
    },
    Expected {
        file: "price_30min_GB_2023.csv",
        minutes: 30,
        rows: 17_518,
        missing_rows: 2,
        first: "2023-01-01T00:00Z",
        last: "2023-12-31T23:30Z",
        columns: &[
            ("system_price_gbp_per_mwh", Dimension::Price, 17_518, -18.533, 195.0),
            ("market_index_price_gbp_per_mwh", Dimension::Price, 17_278, -7.729, 58.038),
        ],
    },
    Expected {
        file: "price_60min_DK1_2023.csv",
        minutes: 60,
        rows: 8_760,
        missing_rows: 0,
        first: "2022-12-31T23:00Z",
        last: "2023-12-31T22:00Z",
        columns: &[("price_eur_per_mwh", Dimension::Price, 8_760, -44.01, 52.427)],
    },
    Expected {
        file: "price_60min_DK1_2024.csv",
        minutes: 60,
        rows: 8_784,
        missing_rows: 0,
        first: "2023-12-31T23:00Z",
        last: "2024-12-31T22:00Z",
        columns: &[("price_eur_per_mwh", Dimension::Price, 8_784, -6.005, 93.628)],
    },
    // The seven values of −999 are prices.
    Expected {
        file: "price_15min_BE-imbalance_2024-10_2025-09.csv",
        minutes: 15,
        rows: 35_040,
        missing_rows: 0,
        first: "2024-09-30T22:00Z",
        last: "2025-09-30T21:45Z",
        columns: &[("imbalance_price_eur_per_mwh", Dimension::Price, 35_040, -99.9, 254.785)],
    },
    Expected {
        file: "weather_60min_DE-Bremerhaven_TRY2010.csv",
        minutes: 60,
        rows: 8_760,
        missing_rows: 0,
        first: "2022-12-31T23:00Z",
        last: "2023-12-31T22:00Z",
        columns: &[
            ("ghi_w_per_m2", Dimension::Irradiance, 8_760, 0.0, 809.0),
            ("temp_air_c", Dimension::Temperature, 8_760, -7.8, 31.5),
        ],
    },
    Expected {
        file: "weather_60min_BE_reanalysis_2024-10_2025-09.csv",
        minutes: 60,
        rows: 8_760,
        missing_rows: 0,
        first: "2024-09-30T22:00Z",
        last: "2025-09-30T21:00Z",
        columns: &[
            ("ghi_w_per_m2", Dimension::Irradiance, 8_760, 0.0, 888.0),
            ("temp_air_c", Dimension::Temperature, 8_760, -5.34, 36.36),
        ],
    },
    Expected {
        file: "load_30min_AU-NSW_SGSC10017936_2013.csv",
        minutes: 30,
        rows: 17_520,
        missing_rows: 0,
        first: "2012-12-31T14:00Z",
        last: "2013-12-31T13:30Z",
        columns: &[("load_kwh", Dimension::Energy, 17_520, 0.007, 3.353)],
    },
    Expected {
        file: "pv_30min_US-CO_PVDAQ50_2013.csv",
        minutes: 30,
        rows: 17_186,
        missing_rows: 334,
        first: "2013-01-01T07:00Z",
        last: "2014-01-01T06:30Z",
        columns: &[
            ("pv_kwh", Dimension::Energy, 17_186, 0.0, 1.641),
            ("ghi_w_per_m2", Dimension::Irradiance, 17_186, 0.0, 1_064.0),
        ],
    },
    Expected {
        file: "dhw_30min_IEA-Annex42_100-200-300Lpd.csv",
        minutes: 30,
        rows: 17_520,
        missing_rows: 0,
        first: "2023-01-01T00:00Z",
        last: "2023-12-31T23:30Z",
        columns: &[],
    },
];

#[test]
fn every_file_reads_as_it_stands() {
    for expected in FILES {
        let Some(bytes) = data(expected.file) else { return };
        let file = parse(expected.file, &bytes);
        let name = expected.file;
        assert_eq!(file.step_seconds(), expected.minutes * 60, "{name}");
        assert_eq!(file.starts().len(), expected.rows, "{name}");
        assert_eq!(file.missing_rows(), expected.missing_rows, "{name}");
        assert_eq!(Ok(file.starts()[0]), parse_instant(expected.first), "{name}");
        assert_eq!(Ok(file.starts()[expected.rows - 1]), parse_instant(expected.last), "{name}");
        assert!(file.notices().is_empty(), "{name}: {:?}", file.notices());
        for (header, dimension, present, least, most) in expected.columns {
            let column = file.column(header).expect("a column");
            assert_eq!(column.dimension(), *dimension, "{name} {header}");
            let known: Vec<f64> = column.values().iter().flatten().copied().collect();
            assert_eq!(known.len(), *present, "{name} {header}");
            let found_least = known.iter().copied().fold(f64::INFINITY, f64::min);
            let found_most = known.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            assert!((found_least - least).abs() < 6e-4, "{name} {header}: least {found_least}");
            assert!((found_most - most).abs() < 6e-4, "{name} {header}: most {found_most}");
        }
    }
}

#[test]
fn litres_and_energies_add_up() {
    let Some(bytes) = data("dhw_30min_IEA-Annex42_100-200-300Lpd.csv") else { return };
    let draws = parse("draws", &bytes);
    for (header, litres) in
        [("draw_l_100lpd", 36_500.0), ("draw_l_200lpd", 73_000.0), ("draw_l_300lpd", 109_500.0)]
    {
        let sum: f64 = draws.column(header).expect("a column").values().iter().flatten().sum();
        assert!((sum - litres).abs() < 1.0, "{header}: {sum}");
    }
    let Some(bytes) = data("load_30min_AU-NSW_SGSC10017936_2013.csv") else { return };
    let load = parse("load", &bytes);
    let hourly = Horizon::regular(load.starts()[0], 3_600, 8_760).expect("a year");
    let on_hours = load.onto(load.column("load_kwh").expect("a column"), &hourly);
    let sum: f64 = on_hours.iter().map(|value| value.expect("covered")).sum();
    assert!((sum - 6_170.0).abs() < 0.5, "{sum}");
}

#[test]
fn the_table_of_draw_off_patterns_is_refused_for_what_it_is() {
    let Some(bytes) = data("dhw_tapping_EU812-2013_table3.csv") else { return };
    let error = read("patterns.csv", &bytes, Marks::AsNamed).expect_err("no series");
    assert!(error.to_string().contains("draw-off patterns by local time of day"), "{error}");
}

// Rows for each local day as the README of the data counts them.
#[test]
fn change_days_of_real_files_are_covered() {
    for (name, zone, expected) in [
        (
            "price_15min_BE-imbalance_2024-10_2025-09.csv",
            Tz::Europe__Brussels,
            [("2024-10-27", "100/100"), ("2025-03-30", "92/92"), ("2025-07-01", "96/96")],
        ),
        (
            "price_30min_GB_2023.csv",
            Tz::Europe__London,
            [("2023-03-26", "46/46"), ("2023-10-29", "48/50"), ("2023-07-01", "48/48")],
        ),
        (
            "price_60min_DK1_2024.csv",
            Tz::Europe__Copenhagen,
            [("2024-03-31", "23/23"), ("2024-10-27", "25/25"), ("2024-07-01", "24/24")],
        ),
        (
            "price_30min_AU-VIC1_2024.csv",
            Tz::Australia__Melbourne,
            [("2024-04-07", "50/50"), ("2024-10-06", "46/46"), ("2024-07-01", "48/48")],
        ),
    ] {
        let Some(bytes) = data(name) else { return };
        let file = parse(name, &bytes);
        for (date, coverage) in expected {
            let span = day(date.parse().expect("a date"), zone).expect("a day");
            let found = file.coverage(&file.columns()[0], span);
            assert_eq!(found.to_string(), coverage, "{name} {date}");
        }
    }
}

/// Files of prices with currency, unit in the header and header of the column.
const PRICES: [(&str, &str, &str); 6] = [
    ("price_30min_AU-VIC1_2024.csv", "AUD", "price_aud_per_mwh"),
    ("price_30min_GB_2023.csv", "GBP", "system_price_gbp_per_mwh"),
    ("price_30min_GB_2023.csv", "GBP", "market_index_price_gbp_per_mwh"),
    ("price_60min_DK1_2023.csv", "EUR", "price_eur_per_mwh"),
    ("price_60min_DK1_2024.csv", "EUR", "price_eur_per_mwh"),
    ("price_15min_BE-imbalance_2024-10_2025-09.csv", "EUR", "imbalance_price_eur_per_mwh"),
];

#[test]
fn real_prices_pass_in_their_own_unit_and_in_no_other() {
    for (name, currency, header) in PRICES {
        let Some(bytes) = data(name) else { return };
        let true_file = parse(name, &bytes);
        assert!(true_file.prices(Some(header), currency).is_ok(), "{name} {header}");

        let text = String::from_utf8(bytes).expect("text");
        let stated = format!("_{}_per_mwh", currency.to_lowercase());
        let major_kwh = format!("_{}_per_kwh", currency.to_lowercase());
        for (slip, unit) in [
            (major_kwh.as_str(), PriceUnit::MajorPerKwh),
            ("_c_per_kwh", PriceUnit::MinorPerKwh),
            ("_c_per_mwh", PriceUnit::MinorPerMwh),
        ] {
            let wrong = text.replacen(&stated, slip, 2);
            let column = header.replace(&stated, slip);
            let file = match read(name, wrong.as_bytes(), Marks::AsNamed) {
                Ok(file) => file,
                // Spikes times 1,000 are beyond any price, before the whole
                // series is judged.
                Err(error) => {
                    assert_eq!(unit, PriceUnit::MajorPerKwh, "{error}");
                    assert!(error.to_string().contains("wholesale prices are usually per MWh"));
                    continue;
                }
            };
            let error = file.prices(Some(&column), currency).err().map(|error| error.to_string());
            let error = error.unwrap_or_else(|| panic!("{name} passes as {slip}"));
            let question = format!("are they {currency} per MWh? then say so");
            assert!(error.contains(&unit.words(currency)), "{name}: {error}");
            assert!(error.ends_with(&question), "{name}: {error}");
            assert!(file.prices_as_stated(Some(&column), currency).is_ok());
        }
    }
}

/// Prices times a factor.
fn scaled(points: &[(Slot, Option<Price>)], factor: f64) -> Prices {
    let scale = |price: Price| Price::clamped(price.per_kwh() * factor);
    let points = points.iter().map(|(slot, price)| (*slot, price.map(scale)));
    Prices::new(points.collect()).expect("in order")
}

// The shares are our own floors: of 2,190 days 2,164 show a factor of 100 and
// 1,508 one of ten.
#[test]
fn no_real_day_or_month_is_refused_and_most_days_show_a_slip() {
    let (mut days, mut hundredfold, mut tenfold) = (0, 0, 0);
    for (name, currency, header) in PRICES {
        let Some(bytes) = data(name) else { return };
        let file = parse(name, &bytes);
        let prices = file.prices(Some(header), currency).expect("prices");
        let rows = (86_400 / file.step_seconds()) as usize;
        let slips = |points: &[_], factor| {
            unit_slip(&scaled(points, factor), currency, PriceUnit::MajorPerMwh).is_some()
        };
        for length in [1, 2, 7, 27, 30] {
            for window in prices.points().chunks_exact(length * rows) {
                assert!(!slips(window, 1.0), "{name}: {length} days from {}", window[0].0.start());
            }
        }
        for day in prices.points().chunks_exact(rows) {
            days += 1;
            hundredfold += i32::from(slips(day, 100.0));
            tenfold += i32::from(slips(day, 10.0));
        }
    }
    assert!(days > 2_000);
    assert!(f64::from(hundredfold) > 0.95 * f64::from(days), "{hundredfold} of {days}");
    assert!(f64::from(tenfold) > 0.5 * f64::from(days), "{tenfold} of {days}");
}

#[test]
fn no_real_day_repeats_the_day_before() {
    for (name, currency, header) in PRICES {
        let Some(bytes) = data(name) else { return };
        let prices = parse(name, &bytes).prices(Some(header), currency).expect("prices");
        assert_eq!(repeated_days(&prices, Tz::Europe__London), [], "{name}");
    }
}

// Day by day over two real years: the prices that a plan expects for the next day
// are nearer to the truth than today's prices repeated.
#[test]
fn expected_prices_beat_repeating_the_latest_day() {
    let mut house = site_file::read(SITE, "the site").expect("a site").house;
    let index =
        Index { column: None, factor: 1.0, adders: Vec::new(), vat: 0.0, cap: None, floor: None };
    house.tariff.import = Rates::Indexed(index);
    house.time_zone = Tz::Europe__Copenhagen;
    for name in ["price_60min_DK1_2023.csv", "price_60min_DK1_2024.csv"] {
        let Some(bytes) = data(name) else { return };
        let file = parse(name, &bytes);
        let prices = file.prices(None, "EUR").expect("prices");
        let (mut ours, mut repeated, mut slots) = (0.0, 0.0, 0);
        let first = local_date(file.starts()[0], house.time_zone);
        for offset in 40..360 {
            let today = day_slots(first + chrono::Days::new(offset), house.time_zone, 3_600);
            let known_until = today[0].start();
            let wholesale =
                Wholesale { import: prices.until(known_until), export: Prices::default() };
            let known = Known { wholesale, price_step_seconds: 3_600, ..Known::default() };
            let made = assemble(&house, &known, known_until + -3_600).expect("a problem");
            for slot in today {
                let index = made.problem.horizon.index_at(slot.start()).expect("a slot");
                assert_eq!(made.price_origins[index], Origin::Forecast);
                let before = Slot::new(slot.start() + -86_400, slot.end() + -86_400);
                let (Some(truth), Some(latest)) =
                    (prices.mean_over(slot), prices.mean_over(before.expect("a slot")))
                else {
                    continue;
                };
                let price = made.problem.import_price[index];
                slots += 1;
                ours += (price.per_kwh() - truth.per_kwh()).abs();
                repeated += (latest.per_kwh() - truth.per_kwh()).abs();
            }
        }
        assert!(slots > 7_000);
        assert!(
            ours < repeated,
            "{name}: {} against {}",
            ours / f64::from(slots),
            repeated / f64::from(slots)
        );
    }
}
