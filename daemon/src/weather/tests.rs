use std::path::PathBuf;

use optimiser::time::Instant;
use proptest::prelude::*;

use super::*;

fn fixture(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/weather").join(name);
    std::fs::read_to_string(path).expect("a fixture of the repository")
}

fn reading(name: &str) -> Reading {
    read(&fixture(name), name).expect("a good file").expect("a known format")
}

fn hour(unix: i64) -> Slot {
    Slot::new(Instant::from_unix(unix), Instant::from_unix(unix + 3_600)).expect("an hour")
}

fn span(from: i64, hours: i64) -> Slot {
    Slot::new(Instant::from_unix(from), Instant::from_unix(from + hours * 3_600)).expect("a span")
}

fn watts(irradiance: Option<Irradiance>) -> Option<f64> {
    irradiance.map(Irradiance::watts_per_m2)
}

#[track_caller]
fn close(actual: Option<f64>, expected: f64) {
    let actual = actual.expect("a value");
    assert!((actual - expected).abs() < 1e-6, "{actual} is not {expected}");
}

// EPW stamps the end of the hour in standard time: hour 12 of 28 February at
// UTC+1 is 10:00 to 11:00 UTC.
#[test]
fn epw_rows_become_hours_in_utc() {
    let noon = 1_677_578_400; // 2023-02-28T10:00Z.
    let weather = reading("quillhaven.epw").over(hour(noon));
    let [(slot, conditions)] = weather.rows() else { panic!("{weather:?}") };
    assert_eq!(*slot, hour(noon));
    close(watts(conditions.ghi), 409.0);
    close(watts(conditions.dhi), 107.0);
    assert_eq!(conditions.dni, None, "9999 stands for a missing value");
    close(conditions.wind.map(WindSpeed::metres_per_second), 3.2);
    close(conditions.humidity.map(Fraction::value), 0.82);
}

#[test]
fn epw_codes_for_missing_values_are_none() {
    let weather = reading("quillhaven.epw").over(hour(1_677_549_600)); // 2023-02-28T02:00Z.
    let (_, conditions) = weather.rows()[0];
    assert_eq!(conditions.temp_air, None);
    assert_eq!(conditions.wind, None);
    assert_eq!(conditions.humidity, None);
    close(watts(conditions.ghi), 0.0);
}

// The record has 28 February and six hours of 1 March.
#[test]
fn a_typical_year_is_laid_onto_the_years_asked_for() {
    let record = reading("quillhaven.epw");
    let Reading::Typical(year) = &record else { panic!("{record:?}") };
    assert_eq!((year.utc_offset(), year.stated_hours()), (3_600, 30));
    // From 2023-02-27T00:00Z and 2024-02-27T00:00Z, five days each.
    let common = record.over(span(1_677_456_000, 120));
    let leap = record.over(span(1_708_992_000, 120));
    assert_eq!(common.rows().len(), 30);
    assert_eq!(leap.rows().len(), 54);
    // The leap day repeats the day before it.
    let (first, second) = (&leap.rows()[..24], &leap.rows()[24..48]);
    for ((slot, conditions), (next_slot, next)) in first.iter().zip(second) {
        assert_eq!(next_slot.start() - slot.start(), 86_400);
        assert_eq!(next, conditions);
    }
    assert!(common.rows().windows(2).all(|pair| pair[0].0.end() == pair[1].0.start()));
}

#[test]
fn a_stated_leap_day_is_used_on_leap_days() {
    let text = fixture("quillhaven.epw").replace("2004,3,1,1,", "2004,2,29,1,");
    let record = read(&text, "leap.epw").expect("a good file").expect("known");
    // 2024-02-28T23:00Z is the first hour of 29 February at UTC+1.
    let leap = record.over(hour(1_709_161_200));
    close(leap.rows()[0].1.temp_air.map(Temperature::celsius), 5.0);
}

#[test]
fn pvgis_minutes_snap_to_the_hour_and_the_footer_goes() {
    let record = reading("pvgis_flat.csv");
    let Reading::Dated(weather) = &record else { panic!("{record:?}") };
    assert_eq!(weather.rows().len(), 14);
    let (slot, conditions) = weather.rows()[8];
    assert_eq!(slot, hour(1_678_867_200)); // 2023-03-15T08:00Z, stamped 08:10.
    close(watts(conditions.ghi), 3.0 * (30.5 + 14.25));
    close(watts(conditions.dhi), 3.0 * 14.25);
    assert_eq!(conditions.in_plane, None);
    close(conditions.temp_air.map(Temperature::celsius), 7.0);
    close(conditions.wind.map(WindSpeed::metres_per_second), 2.41);
    assert_eq!(record.over(span(1_678_867_200 + 1_800, 2)).rows().len(), 3);
}

#[test]
fn pvgis_json_of_a_tilted_plane_is_not_horizontal() {
    let record = reading("pvgis_tilted.json");
    let Reading::Dated(weather) = &record else { panic!("{record:?}") };
    assert_eq!(weather.rows().len(), 12);
    let (_, conditions) = weather.rows()[7];
    assert_eq!(conditions.ghi, None);
    close(watts(conditions.in_plane), 125.0);
    assert_eq!(weather.rows()[3].1.temp_air, None);
}

#[test]
fn pvgis_json_of_a_flat_plane_is_global() {
    let text = fixture("pvgis_tilted.json").replace("\"value\": 35", "\"value\": 0");
    let record = read(&text, "flat.json").expect("a good file").expect("known");
    let weather = record.over(hour(1_678_863_600)); // 2023-03-15T07:00Z.
    close(watts(weather.rows()[0].1.ghi), 125.0);
}

#[test]
fn other_text_is_none_of_the_formats() {
    for text in ["", "start_utc,ghi_w_per_m2\n2023-01-01T00:00Z,0\n", "ünïcødé, text"] {
        assert_eq!(read(text, "x.csv").expect("no refusal"), None);
    }
}

#[test]
fn all_faults_are_named_with_their_place() {
    let text = fixture("quillhaven.epw")
        .replace("1998,2,28,2,", "1998,2,30,2,")
        .replace("1998,2,28,3,", "1998,2,28,1,")
        .replace("9999,9999,280,409,", "9999,9999,280,a lot,")
        .replace(",4.0,2.0,82,101000,", ",-400,2.0,82,101000,");
    let error = read(&text, "bad.epw").expect_err("faults");
    let message = error.to_string();
    assert!(message.starts_with("bad.epw: the weather file can not be used\n  row 9, column"));
    for part in [
        "column `month/day`, value `2/30`: not a date",
        "value `2/28 hour 1`: stated before",
        "column `global horizontal radiation`, value `a lot`: not a number",
        "column `dry bulb temperature`, value `-400`: temperature -400 °C is outside",
    ] {
        assert!(message.contains(part), "{part} in {message}");
    }
}

#[test]
fn faults_are_bounded() {
    let text = fixture("quillhaven.epw").replace(",82,101000", ",wet,101000");
    let error = read(&text, "wet.epw").expect_err("faults");
    assert_eq!((error.faults.len(), error.more), (20, 9));
    assert!(error.to_string().ends_with("and 9 more"));
}

#[test]
fn broken_files_are_refused_not_guessed() {
    let epw = fixture("quillhaven.epw");
    let csv = fixture("pvgis_flat.csv");
    let json = fixture("pvgis_tilted.json");
    let broken = [
        (epw.replace("-1.00,1.0,", "-1.00,east,"), "time zone"),
        (epw.replace("PERIODS,1,1,", "PERIODS,1,4,"), "DATA PERIODS"),
        (epw[..epw.find("1998").expect("a row")].to_owned(), "no row of weather"),
        (epw.replace(",9999,9999,280,0,0,0,", ","), "fields"),
        (csv.replace("time,Gb", "hour,Gb"), "no line of headers"),
        (csv.replace("Gb(i),Gd(i)", "Xb(i),Xd(i)"), "no irradiance"),
        (csv.replace("20230315:0310", "20230315:0210"), "after that of the row above"),
        (csv.replace("20230315:0310", "15 March"), "not a stamp"),
        (json.replace("\"hourly\"", "\"monthly\""), "no such list"),
        (json.replace("62.5,", "1e9,"), "is outside"),
        (json[..300].to_owned(), "EOF"),
        ("1,\"A, B\",XX,-9.0,1,2,3\nDate (MM/DD/YYYY),Time (HH:MM)\n".to_owned(), "GHI (W/m^2)"),
    ];
    for (text, part) in broken {
        let Err(error) = read(&text, "broken") else { panic!("accepted without {part}") };
        let message = error.to_string();
        assert!(message.contains(part), "{part} in {message}");
    }
}

#[test]
fn columns_make_the_same_table_as_rows() {
    let slots = [hour(0), hour(3_600), hour(10_800)];
    let light = Irradiance::constant(100.0);
    let columns = Columns { ghi: vec![Some(light), None, Some(light)], ..Columns::default() };
    let weather = Weather::from_columns(&slots, &columns).expect("a table");
    let lit = Conditions { ghi: Some(light), ..Conditions::default() };
    let rows = vec![(slots[0], lit), (slots[1], Conditions::default()), (slots[2], lit)];
    assert_eq!(weather.rows(), rows);
    assert_eq!(
        Weather::from_columns(&slots[..2], &columns),
        Err(TableError::Length { column: "ghi", values: 3, slots: 2 })
    );
    assert_eq!(Weather::new(vec![rows[1], rows[0]]), Err(TableError::NotAscending { index: 1 }));
}

/// A file that ships in the pvlib wheel, where that is installed in `.venv`.
#[expect(clippy::print_stderr, reason = "a test that is skipped says so")]
pub(super) fn from_pvlib(name: &str) -> Option<String> {
    let libraries = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../.venv/lib");
    let found = std::fs::read_dir(libraries).ok().and_then(|pythons| {
        pythons.flatten().find_map(|python| {
            let path = python.path().join("site-packages/pvlib/data").join(name);
            std::fs::read_to_string(path).ok()
        })
    });
    if found.is_none() {
        eprintln!(
            "skipped: {name} of pvlib 0.16 is not in .venv; python -m venv .venv && .venv/bin/pip install pvlib"
        );
    }
    found
}

// Sums and a row by pvlib 0.16.1, `iotools.read_tmy3` of the same files; it keeps
// the hour-ending stamp 12:00, which is the hour from 11:00 local standard time.
#[test]
fn tmy3_as_published() {
    struct Published {
        file: &'static str,
        utc_offset: i64,
        /// GHI, DNI, DHI, air temperature, wind, humidity.
        sums: [f64; 6],
        noon: [f64; 6],
    }
    let published = [
        Published {
            file: "703165TY.csv",
            utc_offset: -9,
            sums: [829_243.0, 819_209.0, 460_947.0, 38_724.9, 44_430.7, 643_743.0],
            noon: [146.0, 0.0, 146.0, 7.7, 4.6, 93.0],
        },
        Published {
            file: "723170TYA.CSV",
            utc_offset: -5,
            sums: [1_566_203.0, 1_476_549.0, 682_223.0, 126_335.4, 26_756.9, 608_961.0],
            noon: [702.0, 395.0, 324.0, 25.0, 2.6, 79.0],
        },
    ];
    for Published { file, utc_offset, sums, noon } in published {
        let Some(text) = from_pvlib(file) else { return };
        let record = read(&text, file).expect("a good file").expect("known");
        // 2023 and 21 June 2023, 11:00, in local standard time.
        let year = record.over(span(1_672_531_200 - utc_offset * 3_600, 8_760));
        let june = record.over(hour(1_687_345_200 - utc_offset * 3_600));
        assert_eq!((year.rows().len(), june.rows().len()), (8_760, 1));
        let figures = |row: &Conditions| {
            [
                watts(row.ghi),
                watts(row.dni),
                watts(row.dhi),
                row.temp_air.map(Temperature::celsius),
                row.wind.map(WindSpeed::metres_per_second),
                row.humidity.map(|share| share.value() * 100.0),
            ]
        };
        for column in 0..6 {
            let sum: Option<f64> = year.rows().iter().map(|(_, row)| figures(row)[column]).sum();
            close(sum, sums[column]);
            close(figures(&june.rows()[0].1)[column], noon[column]);
        }
    }
}

proptest! {
    /// Damage never brings the reader down: it reads or refuses.
    #[test]
    fn damaged_files_are_read_or_refused(
        file in 0_usize..3, damage in prop::collection::vec((0.0..1.0, any::<char>()), 1..8),
    ) {
        let names = ["quillhaven.epw", "pvgis_flat.csv", "pvgis_tilted.json"];
        let mut text: Vec<char> = fixture(names[file]).chars().collect();
        for (place, replacement) in damage {
            let index = (place * text.len() as f64) as usize;
            text[index] = replacement;
        }
        let text: String = text.into_iter().collect();
        match read(&text, "damaged") {
            Ok(Some(reading)) => {
                let year = reading.over(span(1_672_531_200, 8_760));
                prop_assert!(year.rows().windows(2).all(|pair| pair[0].0.end() <= pair[1].0.start()));
            }
            Ok(None) => {}
            Err(error) => prop_assert!(!error.faults.is_empty()),
        }
    }
}
