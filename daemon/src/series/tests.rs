use optimiser::units::Price;
use proptest::prelude::*;

use super::*;
use crate::local_time::{day, parse_instant};

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

fn good(text: &str) -> SeriesFile {
    read("test.csv", text.as_bytes(), Marks::AsNamed).unwrap_or_else(|error| panic!("{error}"))
}

fn faults(text: &str) -> Vec<String> {
    let error = read("test.csv", text.as_bytes(), Marks::AsNamed).expect_err("faults");
    error.faults.iter().map(ToString::to_string).collect()
}

/// Half-hours of one column from midnight of 2 July 2023, one for each field.
fn half_hours(header: &str, fields: &[&str]) -> String {
    let mut text = format!("start_utc,{header}\n");
    for (index, field) in fields.iter().enumerate() {
        let start = at("2023-07-02T00:00Z") + index as i64 * 1_800;
        text.extend([start.to_string().as_str(), ",", field, "\n"]);
    }
    text
}

fn values(file: &SeriesFile, header: &str) -> Vec<Option<f64>> {
    file.column(header).expect("a column").values().to_vec()
}

#[test]
fn reads_values_in_the_unit_of_their_dimension() {
    let file = good(
        "start_utc,price_eur_per_mwh,load_wh,temp_air_k,wind_speed_km_per_h\n\
         2023-07-02T00:00:00Z,53.5,250,273.15,36\n\
         2023-07-02T00:15:00Z,-999,0,293.15,0\n",
    );
    assert_eq!(file.step_seconds(), 900);
    assert_eq!(values(&file, "price_eur_per_mwh"), [Some(5.35), Some(-99.9)]);
    assert_eq!(values(&file, "load_wh"), [Some(0.25), Some(0.0)]);
    assert_eq!(values(&file, "TEMP_AIR_K"), [Some(0.0), Some(20.0)]);
    assert_eq!(values(&file, "wind_speed_km_per_h"), [Some(10.0), Some(0.0)]);
    assert_eq!(file.quantity("temp_air").map(Column::dimension), Some(Dimension::Temperature));
    assert_eq!(file.only(Dimension::Price).expect("one").currency(), Some("EUR"));
    assert_eq!(file.span().seconds(), 1_800);
    assert!(file.notices().is_empty());
}

#[test]
fn lookups_that_fail_say_what_there_is() {
    let file = good(&half_hours("price_eur_per_mwh,spot_eur_per_mwh", &["1,2", "3,4"]));
    let text = file.column("price_eur_mwh").expect_err("unknown").to_string();
    assert!(text.contains("did you mean \"price_eur_per_mwh\"; its columns are"), "{text}");
    let text = file.only(Dimension::Price).expect_err("two").to_string();
    assert!(
        text.contains("several columns of price; name one of price_eur_per_mwh, spot"),
        "{text}"
    );
    let text = file.only(Dimension::Irradiance).expect_err("none").to_string();
    assert!(text.contains("no column of irradiance"), "{text}");
    assert_eq!(file.quantity("ghi"), None);
}

// The byte-order mark, line ends, separators and decimal comma of spreadsheets.
#[test]
fn spreadsheet_dialects_read_the_same() {
    let plain =
        good("start,load_kwh\n2023-07-02T00:00Z,0.5\n2023-07-02T00:30Z,\n2023-07-02T01:00Z,1.25\n");
    for text in [
        "\u{feff}start,load_kwh\r\n2023-07-02T00:00Z,0.5\r\n2023-07-02T00:30Z,\r\n2023-07-02T01:00Z,1.25\r\n",
        "start;load_kwh\n2023-07-02T00:00Z;0,5\n2023-07-02T00:30Z;\n2023-07-02T01:00Z;1,25",
        "start\tload_kwh\r\n2023-07-02T00:00Z\t0.5\r\n2023-07-02T00:30Z\t\r\n2023-07-02T01:00Z\t1.25\r\n\r\n",
        "\"start\",\"load_kwh\"\r\n\"2023-07-02T00:00Z\",\"0.5\"\r\n\"2023-07-02T00:30Z\",\"\"\r\n\"2023-07-02T01:00Z\",\"1.25\"\r\n",
        "start, load_kwh\n\n2023-07-02T01:00+01:00, 0.5\n2023-07-02T01:30+01:00, \n2023-07-02T02:00+01:00, 1.25\n",
    ] {
        let file = good(text);
        assert_eq!(file.starts(), plain.starts(), "{text}");
        assert_eq!(values(&file, "load_kwh"), values(&plain, "load_kwh"), "{text}");
    }
}

#[test]
fn rows_are_counted_as_an_editor_counts_them() {
    for text in [
        "start,load_kwh\n2023-07-02T00:00Z,1\n\n2023-07-02T00:30Z,x\n2023-07-02T01:00Z,y\n",
        "start,load_kwh\r\n2023-07-02T00:00Z,1\r\n\r\n2023-07-02T00:30Z,x\r\n2023-07-02T01:00Z,y\r\n",
    ] {
        let found = faults(text);
        assert!(found[0].starts_with("row 4, column load_kwh: \"x\" is not a number"), "{found:?}");
        assert!(found[1].starts_with("row 5, column load_kwh: \"y\" is not a number"), "{found:?}");
    }
}

#[test]
fn both_decimal_signs_in_one_file_are_refused() {
    let found = faults("start;a_kwh;b_kwh\n2023-07-02T00:00Z;1,5;2\n2023-07-02T00:30Z;1;2.5\n");
    assert_eq!(found.len(), 1);
    assert!(
        found[0].starts_with("row 3: has a decimal point where row 2 has a decimal comma"),
        "{found:?}"
    );
}

#[test]
fn words_for_missing_are_refused_by_name() {
    for word in ["NaN", "inf", "1e999", "unavailable"] {
        let found = faults(&half_hours("load_kwh", &["1", word, "2"]));
        let start = format!("row 3, column load_kwh: {word:?} ");
        assert!(found.len() == 1 && found[0].starts_with(&start), "{found:?}");
        assert!(found[0].contains("leave the field empty"), "{found:?}");
    }
}

#[test]
fn every_fault_is_told_at_once_up_to_a_number() {
    let found = faults(
        "start,load_kwh,speed_furlongs\n\
         2023-07-02 00:00,1,2\n\
         2023-07-02T00:00Z,nan,2\n\
         2023-07-02T00:30Z,1\n\
         2023-07-02T01:00Z,1,2\n",
    );
    assert_eq!(found.len(), 4, "{found:?}");
    assert!(found[0].starts_with("row 1: \"speed_furlongs\" does not end with a known unit"));
    assert!(found[1].starts_with("row 2, column start: \"2023-07-02 00:00\" has no offset"));
    assert!(found[1].contains("2023-07-02 00:00Z"), "{found:?}");
    assert!(found[2].starts_with("row 3, column load_kwh: \"nan\""));
    assert!(found[3].starts_with("row 4: has 2 fields where the header has 3"));

    let text = half_hours("load_kwh", &["x"; 50]);
    let error = read("test.csv", text.as_bytes(), Marks::AsNamed).expect_err("faults");
    assert_eq!((error.faults.len(), error.total), (ReadError::MOST, 50));
    assert!(error.to_string().starts_with("test.csv: row 2, column load_kwh: \"x\""));
    assert!(error.to_string().ends_with("test.csv: and 30 more faults"));
}

#[test]
fn values_beyond_their_range_are_refused() {
    let found = faults(&half_hours("temp_air_c", &["20", "-999", "85"]));
    assert_eq!(found.len(), 1);
    assert!(found[0].contains("\"-999\" is outside -60 to 150 °C"), "{found:?}");
    assert!(
        faults(&half_hours("price_eur_per_kwh", &["0.2", "1001"]))[0].contains("check the unit")
    );
}

#[test]
fn gaps_stay_gaps() {
    let file = good(
        "start,load_kwh\n2023-07-02T00:00Z,1\n2023-07-02T00:30Z,2\n2023-07-02T02:00Z,5\n2023-07-02T02:30Z,6\n",
    );
    assert_eq!((file.step_seconds(), file.missing_rows()), (1_800, 2));
    let horizon = Horizon::regular(at("2023-07-02T00:00Z"), 1_800, 6).expect("a horizon");
    let load = file.onto(file.column("load_kwh").expect("a column"), &horizon);
    assert_eq!(load, [Some(1.0), Some(2.0), None, None, Some(5.0), Some(6.0)]);
}

// C38: three readings of a day are missing; nothing takes their place.
#[test]
fn coverage_of_a_day_with_missing_readings() {
    let mut fields = vec!["0.5"; 48];
    fields[10] = "";
    fields[11] = "";
    fields[40] = "";
    let file = good(&half_hours("load_kwh", &fields));
    let column = file.column("load_kwh").expect("a column");
    let coverage = file.coverage(column, file.span());
    assert_eq!(coverage.to_string(), "45/48");
    assert!(!coverage.is_complete());
    let day = Horizon::new(vec![file.span()]).expect("a day");
    assert_eq!(file.onto(column, &day), [None]);
    let beyond = day_before(file.span());
    assert_eq!(file.coverage(column, beyond).to_string(), "0/48");
}

fn day_before(span: Slot) -> Slot {
    Slot::new(span.start() + -86_400, span.start()).expect("a day")
}

// C37: the half-hour price is the mean over time of its quarters.
#[test]
fn quarter_hour_prices_on_half_hours() {
    let file = good(
        "start,price_p_per_kwh\n2025-10-01T00:00Z,4\n2025-10-01T00:15Z,8\n\
         2025-10-01T00:30Z,-2\n2025-10-01T00:45Z,6\n",
    );
    let column = file.column("price_p_per_kwh").expect("a column");
    let halves = Horizon::regular(at("2025-10-01T00:00Z"), 1_800, 2).expect("a horizon");
    assert_eq!(file.onto(column, &halves), [Some(6.0), Some(2.0)]);
    // TT-07: the hourly index is the arithmetic mean of four quarters.
    let hour = Horizon::regular(at("2025-10-01T00:00Z"), 3_600, 2).expect("a horizon");
    assert_eq!(file.onto(column, &hour), [Some(4.0), None]);
    let finer = Horizon::regular(at("2025-10-01T00:05Z"), 900, 1).expect("a horizon");
    assert_eq!(file.onto(column, &finer), [Some(16.0 / 3.0)]);
}

#[test]
fn amounts_are_shared_by_time() {
    let file = good(&half_hours("load_kwh", &["1", "3"]));
    let column = file.column("load_kwh").expect("a column");
    let quarters = Horizon::regular(at("2023-07-02T00:15Z"), 900, 3).expect("a horizon");
    assert_eq!(file.onto(column, &quarters), [Some(0.5), Some(1.5), Some(1.5)]);
    let hour = Horizon::regular(at("2023-07-02T00:00Z"), 3_600, 1).expect("a horizon");
    assert_eq!(file.onto(column, &hour), [Some(4.0)]);
}

#[test]
fn end_stamps_are_moved_to_the_start() {
    let text = half_hours("load_kwh", &["1", "2"]);
    let declared = read("test.csv", text.as_bytes(), Marks::End).expect("a file");
    let named = good(&text.replace("start_utc", "end_utc"));
    for file in [&declared, &named] {
        assert_eq!(file.starts()[0], at("2023-07-01T23:30Z"));
        assert_eq!(values(file, "load_kwh"), [Some(1.0), Some(2.0)]);
    }
    let both = read("test.csv", text.replace("start_utc", "end").as_bytes(), Marks::End);
    assert_eq!(both.expect("a file").starts()[0], at("2023-07-01T23:30Z"));
}

#[test]
fn exact_repeats_are_dropped_with_a_notice() {
    let file = good(
        "start,load_kwh\n2023-07-02T00:00Z,1\n2023-07-02T00:30Z,2\n2023-07-02T00:30Z,2\n2023-07-02T01:00Z,3\n",
    );
    assert_eq!(values(&file, "load_kwh"), [Some(1.0), Some(2.0), Some(3.0)]);
    assert_eq!(
        file.notices(),
        ["rows that repeat an earlier row exactly were dropped: 1, the first is row 4"]
    );
}

// A local clock written with one offset all day gives the repeated hour twice.
#[test]
fn a_contradicting_repeat_names_both_rows() {
    let found = faults(
        "start,load_kwh\n2025-10-26T01:00+01:00,1\n2025-10-26T01:30+01:00,2\n2025-10-26T01:00+01:00,3\n2025-10-26T01:30+01:00,4\n",
    );
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].starts_with(
        "row 4, column load_kwh: \"2025-10-26T00:00:00Z\" comes a second time with another value \
         (first in row 2)"
    ), "{found:?}");
    let missing =
        faults("start,load_kwh\n2025-10-26T01:00Z,1\n2025-10-26T01:30Z,2\n2025-10-26T01:30Z,\n");
    assert!(missing[0].contains("row 4") && missing[0].contains("row 3"), "{missing:?}");
}

#[test]
fn both_repeated_half_hours_are_kept_with_their_offsets() {
    let file = good(
        "start,load_kwh\n2025-10-26T01:00+01:00,1\n2025-10-26T01:30+01:00,2\n2025-10-26T01:00+00:00,3\n2025-10-26T01:30+00:00,4\n",
    );
    assert_eq!(values(&file, "load_kwh"), [Some(1.0), Some(2.0), Some(3.0), Some(4.0)]);
    assert_eq!((file.missing_rows(), file.notices().len()), (0, 0));
}

#[test]
fn shuffled_rows_are_sorted_with_a_notice() {
    let file =
        good("start,load_kwh\n2023-07-02T01:00Z,3\n2023-07-02T00:00Z,1\n2023-07-02T00:30Z,2\n");
    assert_eq!(values(&file, "load_kwh"), [Some(1.0), Some(2.0), Some(3.0)]);
    assert_eq!(file.starts()[0], at("2023-07-02T00:00Z"));
    assert_eq!(file.notices(), ["rows out of order of time were sorted: 1, the first is row 3"]);
}

#[test]
fn another_interval_length_inside_a_file_is_refused() {
    let hours = |count| (0..count).map(|i| at("2025-09-30T00:00Z") + i * 3_600);
    let quarters = |count| (0..count).map(|i| at("2025-10-01T00:00Z") + i * 900);
    let text = |stamps: Vec<Instant>| {
        stamps
            .iter()
            .fold("start,price_eur_per_mwh\n".to_owned(), |text, at| text + &format!("{at},50\n"))
    };
    let mostly_quarters = faults(&text(hours(24).chain(quarters(96)).collect()));
    assert_eq!(mostly_quarters.len(), 1, "{mostly_quarters:?}");
    assert!(mostly_quarters[0].contains("is 60 min after the row before, in a file of 15 min"));
    let mostly_hours = faults(&text(hours(24).chain(quarters(8)).collect()));
    assert_eq!(mostly_hours.len(), 1, "{mostly_hours:?}");
    assert!(mostly_hours[0].starts_with("row 27"), "{mostly_hours:?}");
    let stray = faults(
        "start,load_kwh\n2023-07-02T00:00Z,1\n2023-07-02T00:30Z,1\n2023-07-02T01:00Z,1\n2023-07-02T01:07Z,1\n",
    );
    assert!(stray[0].starts_with("row 5: \"2023-07-02T01:07:00Z\" is 7 min after"), "{stray:?}");
}

#[test]
fn lengths_that_no_market_or_meter_has_are_refused() {
    let daily = faults("start,load_kwh\n2023-07-02T00:00Z,1\n2023-07-03T00:00Z,1\n");
    assert!(daily[0].contains("has intervals of 1440 min; give intervals of 5, 10"), "{daily:?}");
    let single = faults("start,load_kwh\n2023-07-02T00:00Z,1\n");
    assert!(single[0].contains("fewer than two intervals"), "{single:?}");
}

#[test]
fn files_that_are_no_series_say_what_they_lack() {
    for (text, expected) in [
        ("", "is empty"),
        ("start_utc\n2023-07-02T00:00Z\n", "has no column but the time stamp"),
        ("start,load_kwh\n", "fewer than two intervals"),
        (
            "time,load_kwh\n",
            "row 1: \"time\" is not the header of the time stamp; put the time stamp first",
        ),
        ("start,load_kwh,LOAD_kwh\n", "names two columns"),
        (
            "profile,time_local,q_tap_kwh\nM,07:00,0.105\n",
            "table of draw-off patterns by local time",
        ),
        ("<html>", "is not the header of the time stamp"),
    ] {
        let found = faults(text);
        assert!(found[0].contains(expected), "{text}: {found:?}");
    }
    let error =
        read("test.csv", b"start,load_kwh\n\xff\xfe,1\n", Marks::AsNamed).expect_err("bytes");
    assert!(error.to_string().starts_with("test.csv: row 2: is not UTF-8 text"), "{error}");
    let missing = read_file(std::path::Path::new("no/such/file.csv"), Marks::AsNamed);
    let text = missing.expect_err("no file").to_string();
    assert!(text.starts_with("no/such/file.csv: cannot be read: "), "{text}");
}

#[test]
fn prices_in_another_currency_are_refused() {
    let file = good(&half_hours("price_eur_per_mwh,load_kwh", &["100,1", "90,1"]));
    let text = file.prices(None, "GBP").expect_err("euros").to_string();
    assert!(text.contains("is in EUR, but the tariff is in GBP"), "{text}");
    let text = file.prices(Some("load_kwh"), "EUR").expect_err("energy").to_string();
    assert!(text.contains("holds energy, not prices"), "{text}");
    let prices = file.prices(None, "EUR").expect("prices");
    assert_eq!(prices.points()[1].1, Some(Price::constant(9.0)));
    let cents = good(&half_hours("price_c_per_kwh", &["10", "9"]));
    assert!(cents.prices(None, "EUR").is_ok() && cents.prices(None, "AUD").is_ok());
}

#[test]
fn prices_must_be_in_order() {
    let slot = |from: i64, until: i64| {
        Slot::new(Instant::from_unix(from), Instant::from_unix(until)).expect("a slot")
    };
    assert!(Prices::new(vec![(slot(0, 900), None), (slot(600, 1_800), None)]).is_none());
    let prices = Prices::new(vec![
        (slot(0, 900), Some(Price::constant(4.0))),
        (slot(900, 1_800), None),
        (slot(3_600, 7_200), Some(Price::constant(8.0))),
        (slot(7_200, 9_000), None),
    ])
    .expect("in order");
    assert_eq!(prices.known_until(), Some(Instant::from_unix(7_200)));
    assert_eq!(prices.until(Instant::from_unix(900)).points().len(), 1);
    assert_eq!(prices.mean_over(slot(0, 900)), Some(Price::constant(4.0)));
    assert_eq!(prices.mean_over(slot(0, 901)), None);
    assert_eq!(prices.mean_over(slot(2_000, 3_700)), None);
}

proptest! {
    // Amounts are neither made nor lost between slots of any length.
    #[test]
    fn resampling_keeps_the_sum(
        amounts in prop::collection::vec(0.0..10.0_f64, 48),
        mut cuts in prop::collection::vec(1_i64..86_400, 0..40),
    ) {
        let fields: Vec<String> = amounts.iter().map(ToString::to_string).collect();
        let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
        let file = good(&half_hours("load_kwh", &fields));
        cuts.extend([0, 86_400]);
        cuts.sort_unstable();
        cuts.dedup();
        let start = file.span().start();
        let slots = cuts.windows(2).filter_map(|pair| Slot::new(start + pair[0], start + pair[1]));
        let horizon = Horizon::new(slots.collect()).expect("touching");
        let shared = file.onto(file.column("load_kwh").expect("a column"), &horizon);
        let sum: f64 = shared.iter().map(|value| value.expect("covered")).sum();
        prop_assert!((sum - amounts.iter().sum::<f64>()).abs() < 1e-9);
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "[-0-9a-z,;.:TZ+\n\r \"_é]{0,200}") {
        let _ = read("test.csv", text.as_bytes(), Marks::AsNamed);
        let _ = read("test.csv", format!("start,load_kwh\n{text}").as_bytes(), Marks::End);
    }
}

#[test]
fn a_local_day_is_found_in_a_file() {
    let file = good(&half_hours("load_kwh", &["1"; 96]));
    let date = "2023-07-02".parse().expect("a date");
    let span = day(date, chrono_tz::Tz::Europe__London).expect("a day");
    let column = file.column("load_kwh").expect("a column");
    // The local day begins an hour before the file.
    assert_eq!(file.coverage(column, span).to_string(), "46/48");
}
