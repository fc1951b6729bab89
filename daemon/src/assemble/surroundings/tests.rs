use super::*;
use crate::local_time::parse_instant;
use crate::weather::Reading;

fn house(change: impl Fn(String) -> String) -> House {
    let text = include_str!("../../../../fixtures/sites/weir-lodge.toml").to_owned();
    crate::site_file::read(&change(text), "house.toml").expect("a fixture").house
}

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

/// A day and a half of half-hours from a local midnight in January.
fn winter() -> Horizon {
    Horizon::regular(at("2026-01-12T00:00:00Z"), 1_800, 72).expect("slots")
}

fn record(rows: impl Fn(i64) -> Conditions) -> Known {
    let start = winter().start();
    let hour = |hour: i64| {
        let begin = start + hour * 3_600;
        (Slot::new(begin, begin + 3_600).expect("an hour"), rows(hour))
    };
    let weather = Weather::new((0..36).map(hour).collect()).expect("in order");
    Known { weather: Some(Reading::Dated(weather)), ..Known::default() }
}

#[test]
fn weather_is_taken_as_it_is_stated() {
    let known = record(|hour| Conditions {
        temp_air: Some(Temperature::clamped(hour as f64 - 10.0)),
        wind: Some(WindSpeed::constant(4.0)),
        humidity: Some(Fraction::constant(0.9)),
        ghi: Some(Irradiance::constant(0.0)),
        ..Conditions::default()
    });
    let mut notes = Vec::new();
    let ambient = ambient(&house(|text| text), &known, &winter(), &mut notes).expect("weather");
    let outdoor = ambient.outdoor.expect("an outdoor temperature");
    let [first, third] = [outdoor[0], outdoor[2]].map(Temperature::celsius);
    assert!((first + 10.0).abs() < 1e-9 && (third + 9.0).abs() < 1e-9);
    assert!((ambient.wind.expect("wind")[5].metres_per_second() - 4.0).abs() < 1e-9);
    assert!((ambient.humidity.expect("humidity")[5].value() - 0.9).abs() < 1e-9);
    // Brine follows the site, by the month.
    assert!((ambient.ground.expect("brine")[0].celsius() - 3.0).abs() < 1e-9);
    assert_eq!(notes, Vec::<String>::new(), "nothing was assumed");
}

#[test]
fn every_estimate_is_a_note() {
    let mut notes = Vec::new();
    let known = Known::default();
    let ambient = ambient(&house(|text| text), &known, &winter(), &mut notes).expect("climate");
    assert!((ambient.outdoor.expect("by the month")[0].celsius() - 5.0).abs() < 1e-9);
    let told = notes.join("\n");
    for what in [
        "outdoor temperature",
        "light on the collectors",
        "light on the pool",
        "the wind",
        "the humidity",
    ] {
        assert!(told.contains(what), "no {what} in\n{told}");
    }
    let noon = winter().index_at(at("2026-01-12T12:00:00Z")).expect("a slot");
    let light = ambient.collector_irradiance.expect("a dull sky");
    assert!((20.0..300.0).contains(&light[noon].watts_per_m2()), "{:?}", light[noon]);
    assert!(light[0].watts_per_m2() < 1e-9, "at midnight");
}

// It is freezing in a January that is 5 °C in the mean: all of it now, 5 - 5/e after
// 12 h, and hardly any of it the evening after.
#[test]
fn what_is_measured_now_counts_for_the_next_hours() {
    let outside = Some(Temperature::constant(0.0));
    let by_month = Known { outside, ..Known::default() };
    let outdoor = |known: &Known| -> Vec<f64> {
        let mut notes = Vec::new();
        let ambient = ambient(&house(|text| text), known, &winter(), &mut notes);
        let outdoor = ambient.expect("a climate").outdoor.expect("an outdoor temperature");
        outdoor.values().iter().map(|air| air.celsius()).collect()
    };
    let air = outdoor(&by_month);
    assert!(air[0].abs() < 1e-9, "{}", air[0]);
    assert!((air[24] - (5.0 - 5.0 * (-1.0_f64).exp())).abs() < 1e-9, "{}", air[24]);
    assert!(air[71] > 4.7, "{}", air[71]);
    // A forecast of the weather is put right once, not twice.
    let mild =
        |_| Conditions { temp_air: Some(Temperature::constant(8.0)), ..Conditions::default() };
    let forecast = Known { outside, ..record(mild) };
    let air = outdoor(&forecast);
    assert!(air[0].abs() < 1e-9, "{}", air[0]);
    assert!((air[24] - (8.0 - 8.0 * (-1.0_f64).exp())).abs() < 1e-9, "{}", air[24]);
}

#[test]
fn without_any_outdoor_temperature_nothing_is_guessed() {
    let unsaid = house(|text| {
        let climate = text.find("outdoor_celsius = [5").expect("a climate");
        let end = climate + text[climate..].find('\n').expect("a line");
        format!("{}{}", &text[..climate], &text[end..])
    });
    let error = ambient(&unsaid, &Known::default(), &winter(), &mut Vec::new());
    let text = error.expect_err("nothing is known").to_string();
    assert!(text.contains("--weather") && text.contains("`outdoor_celsius` in `[climate]`"));
}

#[test]
fn comfort_and_cover_follow_the_local_clock() {
    let house = house(|text| text);
    let ambient = ambient(&house, &Known::default(), &winter(), &mut Vec::new()).expect("climate");
    let comfort = comfort(&house, &ambient, &winter()).expect("bands");
    let rooms = comfort.rooms.expect("rooms");
    // 17.5 °C by night, 20 °C from 06:00.
    assert!((rooms[11].low.celsius() - 17.5).abs() < 1e-9);
    assert!((rooms[12].low.celsius() - 20.0).abs() < 1e-9);
    let cover = ambient.pool_cover.expect("a cover");
    // From 19:00 to 10:00, past midnight.
    let covered: Vec<f64> = [0, 19, 20, 37, 38, 47].map(|slot| cover[slot].value()).to_vec();
    assert_eq!(covered, [1.0, 1.0, 0.0, 0.0, 1.0, 1.0]);
    let summer = Horizon::regular(at("2026-07-01T00:00:00+01:00"), 3_600, 24).expect("slots");
    let open: Vec<f64> = summer.slots().iter().map(|slot| super::covered(&house, *slot)).collect();
    assert!((open.iter().sum::<f64>() - 15.0).abs() < 1e-9, "fifteen hours under it");
}

// "A set number of degrees above air": by the mean of each local day.
#[test]
fn a_pool_may_follow_the_air() {
    let house = house(|text| {
        text.replace(
            "comfort = [{ from = \"00:00\", low_celsius = 23, high_celsius = 27 }]",
            "above_air_kelvin = 8",
        )
    });
    let known = record(|hour| Conditions {
        temp_air: Some(Temperature::clamped(if hour < 24 { 12.0 } else { 25.0 })),
        ..Conditions::default()
    });
    let ambient = ambient(&house, &known, &winter(), &mut Vec::new()).expect("weather");
    let pool = comfort(&house, &ambient, &winter()).expect("bands").pool.expect("a pool");
    assert!((pool[10].low.celsius() - 20.0).abs() < 1e-9);
    // Never above what it may be heated to.
    assert!((pool[60].low.celsius() - 30.0).abs() < 1e-9 && pool[60].low <= pool[60].high);
}

#[test]
fn loops_run_on_time() {
    let house = house(|text| text);
    let ambient = ambient(&house, &Known::default(), &winter(), &mut Vec::new()).expect("climate");
    // Five runs on the whole day, two until noon of the next.
    assert_eq!(ambient.loop_runs.len(), 7);
    assert_eq!(ambient.loop_runs[0].start, at("2026-01-12T06:20:00Z"));
    assert_eq!(ambient.loop_runs[0].seconds, 600);
}
