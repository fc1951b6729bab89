use optimiser::time::Instant;
use optimiser::units::Temperature;
use proptest::prelude::*;

use super::*;
use crate::service::wire::{Answer, Outcome};

const FULL_S: i64 = 5_400;

fn at(seconds: i64) -> Instant {
    Instant::from_unix(1_750_000_000 + seconds)
}

fn plant() -> Plant {
    let heater = |name: &str| PlantHeater { name: name.into(), power_w: 3_000 };
    let store = |name: &str, heaters| PlantStore {
        name: name.into(),
        ceiling: Temperature::constant(70.0),
        heaters,
        full_s: FULL_S,
    };
    Plant {
        stores: vec![
            store("cylinder", vec![heater("lower"), heater("upper")]),
            store("buffer", vec![heater("rod")]),
        ],
        feeders: vec![PlantFeeder {
            name: "boiler".into(),
            feeder: Feeder::Source(optimiser::site::Source::Boiler),
        }],
        rooms: true,
    }
}

fn send(overrides: &mut Overrides, now: Instant, id: &str, action: &str) -> Answer {
    let text = format!(r#"{{"schema":"stowheat/command/1","id":"{id}","action":{action}}}"#);
    overrides.apply(now, &read(text.as_bytes(), false, now).expect("a command"))
}

fn seen(celsius: f64) -> StoreReading {
    StoreReading {
        hottest: Some(Temperature::constant(celsius)),
        heat_spent: false,
        has_probe: true,
    }
}

fn off_until(until: Instant) -> String {
    format!(r#"{{"kind":"off","store":"cylinder","until":"{until}"}}"#)
}

// C44: boost 13:00-15:00 at peak price is obeyed and ends by itself.
#[test]
fn a_boost_is_obeyed_and_ends_by_itself() {
    let mut overrides = Overrides::new(plant());
    let boost = r#"{"kind":"boost","store":"cylinder","minutes":120}"#;
    let answer = send(&mut overrides, at(0), "b1", boost);
    assert_eq!(answer.outcome, Outcome::Done);
    assert_eq!(answer.ends.map(|ends| ends.0), Some(at(7_200)));
    let verdict = |o: &Overrides, s| o.verdict(at(s), 0, 1, seen(45.0));
    assert_eq!(verdict(&overrides, 0), Verdict::On(at(7_200)));
    assert_eq!(overrides.verdict(at(0), 1, 0, seen(45.0)), Verdict::Plan, "another store");
    assert_eq!(overrides.tick(at(7_199), &[None, None]), []);
    assert_eq!(verdict(&overrides, 7_199), Verdict::On(at(7_200)));
    assert_eq!(verdict(&overrides, 7_200), Verdict::Plan, "even without a tick");
    let ended = overrides.tick(at(7_200), &[None, None]);
    assert_eq!((ended[0].id.as_str(), ended[0].outcome), ("b1", Outcome::Ended));
    assert!(overrides.wishes().is_empty());
}

// C44: the ceilings still win.
#[test]
fn the_ceiling_beats_the_hand() {
    let mut overrides = Overrides::new(plant());
    send(&mut overrides, at(0), "b1", r#"{"kind":"boost","store":"cylinder","minutes":120}"#);
    assert_eq!(overrides.verdict(at(60), 0, 0, seen(70.0)), Verdict::Ceiling);
    let hotter = r#"{"kind":"boost","store":"cylinder","until_c":75}"#;
    let answer = send(&mut overrides, at(0), "b2", hotter);
    assert_eq!(answer.outcome, Outcome::Refused);
    assert!(answer.text.contains("70"), "{}", answer.text);
}

#[test]
fn a_boost_needs_eyes() {
    let mut overrides = Overrides::new(plant());
    send(&mut overrides, at(0), "b1", r#"{"kind":"boost","store":"cylinder","minutes":120}"#);
    let unknown = StoreReading { hottest: None, ..seen(50.0) };
    assert_eq!(overrides.verdict(at(60), 0, 0, unknown), Verdict::Blind);
    let stuck = StoreReading { heat_spent: true, ..seen(50.0) };
    assert_eq!(overrides.verdict(at(60), 0, 0, stuck), Verdict::Blind);
    assert_eq!(Overrides::new(plant()).verdict(at(60), 0, 0, unknown), Verdict::Blind);
    // A store that never had a probe is heated by the model, for so long and no longer.
    let model = StoreReading { has_probe: false, ..unknown };
    assert_eq!(Overrides::new(plant()).verdict(at(60), 0, 0, model), Verdict::Plan);
    assert_eq!(overrides.verdict(at(60), 0, 0, model), Verdict::On(at(FULL_S)));
    assert_eq!(overrides.verdict(at(FULL_S), 0, 0, model), Verdict::Spent);
}

#[test]
fn a_boost_until_a_temperature_ends_there() {
    let mut overrides = Overrides::new(plant());
    send(&mut overrides, at(0), "b1", r#"{"kind":"boost","store":"cylinder","until_c":55}"#);
    let hot = |celsius| [Some(Temperature::constant(celsius)), None];
    assert_eq!(overrides.tick(at(600), &hot(54.9)), []);
    assert_eq!(overrides.tick(at(660), &hot(55.0)).len(), 1);
    assert_eq!(overrides.verdict(at(661), 0, 0, seen(55.0)), Verdict::Plan);
}

// C43: with a manual off active, a restart inside an on-slot stays off.
#[test]
fn an_off_survives_a_restart_and_an_old_one_does_not() {
    let mut before = Overrides::new(plant());
    send(&mut before, at(0), "o1", &off_until(at(3_600)));
    let kept = before.wishes().to_vec();
    let after = Overrides::new(plant()).with_wishes(at(600), kept.clone());
    assert_eq!(after.verdict(at(600), 0, 0, seen(40.0)), Verdict::Off(at(3_600)));
    let late = Overrides::new(plant()).with_wishes(at(3_600), kept);
    assert_eq!(late.verdict(at(3_600), 0, 0, seen(40.0)), Verdict::Plan);
}

#[test]
fn the_later_word_counts() {
    let mut overrides = Overrides::new(plant());
    send(&mut overrides, at(0), "o1", &off_until(at(3_600)));
    send(
        &mut overrides,
        at(1),
        "b1",
        r#"{"kind":"boost","store":"cylinder","heater":"upper","minutes":10}"#,
    );
    let verdict = |o: &Overrides, s, heater| o.verdict(at(s), 0, heater, seen(40.0));
    assert_eq!(verdict(&overrides, 2, 1), Verdict::On(at(601)));
    assert_eq!(verdict(&overrides, 2, 0), Verdict::Off(at(3_600)), "the other is still off");
    overrides.tick(at(601), &[None, None]);
    assert_eq!(verdict(&overrides, 601, 1), Verdict::Off(at(3_600)));
    let answer = send(&mut overrides, at(602), "r1", r#"{"kind":"resume"}"#);
    assert_eq!(answer.outcome, Outcome::Done);
    assert_eq!(verdict(&overrides, 602, 0), Verdict::Plan);
}

#[test]
fn a_repeated_command_is_obeyed_once() {
    let mut overrides = Overrides::new(plant());
    let boost = r#"{"kind":"boost","store":"cylinder","minutes":10}"#;
    send(&mut overrides, at(0), "b1", boost);
    assert_eq!(send(&mut overrides, at(300), "b1", boost).outcome, Outcome::Repeated);
    assert_eq!(overrides.wishes()[0].until, at(600));
}

// C40, failure case 2.
#[test]
fn a_kept_or_late_command_is_refused() {
    let text = br#"{"schema":"stowheat/command/1","id":"1","action":{"kind":"replan"}}"#;
    assert!(read(text, false, at(0)).is_ok());
    assert!(read(text, true, at(0)).expect_err("kept").text.contains("retain"));
    let late = format!(
        r#"{{"schema":"stowheat/command/1","id":"1","valid_until":"{}","action":{{"kind":"replan"}}}}"#,
        at(0)
    );
    assert!(read(late.as_bytes(), false, at(-1)).is_ok());
    assert_eq!(read(late.as_bytes(), false, at(0)).expect_err("late").id, "1");
}

#[test]
fn every_refusal_says_what_would_help() {
    let mut overrides = Overrides::new(plant());
    let (past, far) = (at(-60), at(400 * 86_400));
    for (action, hint) in [
        (r#"{"kind":"boost","store":"pool","minutes":5}"#.to_owned(), "cylinder, buffer"),
        (r#"{"kind":"boost","store":"buffer","heater":"x","minutes":5}"#.into(), "rod"),
        (r#"{"kind":"boost","store":"buffer"}"#.into(), "minutes"),
        (r#"{"kind":"boost","store":"buffer","minutes":721}"#.into(), "720"),
        (off_until(past), "14 days"),
        (off_until(far), "14 days"),
        (format!(r#"{{"kind":"away","from":"{far}","to":"{past}"}}"#), "before"),
        (format!(r#"{{"kind":"away","from":"{past}","to":"{far}"}}"#), "year"),
        (format!(r#"{{"kind":"guests","from":"{past}","to":"{past}","people":2}}"#), "before"),
        (
            format!(
                r#"{{"kind":"target","store":"buffer","temperature_c":69,"until":"{}"}}"#,
                at(60)
            ),
            "65",
        ),
        (
            format!(
                r#"{{"kind":"ready-by","store":"buffer","by":"{}","litres":1e9,"temperature_c":40}}"#,
                at(900)
            ),
            "litres",
        ),
    ] {
        let answer = send(&mut overrides, at(0), "x", &action);
        assert_eq!(answer.outcome, Outcome::Refused, "{action}");
        assert!(answer.text.contains(hint), "{action}: {}", answer.text);
    }
    assert!(overrides.wishes().is_empty());
}

proptest! {
    #[test]
    fn every_wish_ends(
        actions in prop::collection::vec(
            prop_oneof![
                (1..800_u32).prop_map(|m| format!(r#"{{"kind":"boost","store":"cylinder","minutes":{m}}}"#)),
                (-99..1_500_000_i64).prop_map(|s| off_until(at(s))),
                (0..9_000_i64, 0..90_000_i64).prop_map(|(f, t)| format!(
                    r#"{{"kind":"away","from":"{}","to":"{}"}}"#, at(f), at(t))),
                Just(r#"{"kind":"resume"}"#.to_owned()),
            ],
            0..40,
        ),
    ) {
        let mut overrides = Overrides::new(plant());
        for (i, action) in (0..).zip(&actions) {
            send(&mut overrides, at(i), &format!("{i}"), action);
        }
        let latest = overrides.wishes().iter().map(|w| w.until).max().unwrap_or(at(0));
        prop_assert!(latest <= at(365 * 86_400));
        overrides.tick(latest, &[None, None]);
        prop_assert!(overrides.wishes().is_empty());
    }

    #[test]
    fn no_payload_panics(bytes in prop::collection::vec(any::<u8>(), 0..256), retained: bool) {
        let _ = read(&bytes, retained, at(0));
    }
}

#[test]
fn a_source_is_off_until_its_time_and_rooms_may_be_colder() {
    let mut overrides = Overrides::new(plant());
    let boiler = Feeder::Source(optimiser::site::Source::Boiler);
    let until = at(3_600);
    let off = format!(r#"{{"kind":"off","source":"boiler","until":"{until}"}}"#);
    assert_eq!(send(&mut overrides, at(0), "1", &off).outcome, Outcome::Done);
    assert_eq!(overrides.feeder_off(at(10), boiler), Some(until));
    assert_eq!(overrides.verdict(at(10), 0, 0, seen(40.0)), Verdict::Plan);
    overrides.tick(until, &[]);
    assert_eq!(overrides.feeder_off(until, boiler), None);

    // Everything off is every source off; a store that is off, whatever heats it.
    let all = format!(r#"{{"kind":"off","until":"{}"}}"#, at(7_200));
    send(&mut overrides, at(3_700), "2", &all);
    assert_eq!(overrides.feeder_off(at(3_800), boiler), Some(at(7_200)));
    assert_eq!(overrides.store_off(at(3_800), 0), None);
    send(&mut overrides, at(3_700), "3", &off_until(at(7_200)));
    assert_eq!(overrides.store_off(at(3_800), 0), Some(at(7_200)));

    let rooms = |low: f64| format!(r#"{{"kind":"rooms","low_c":{low},"until":"{}"}}"#, at(9_000));
    assert_eq!(send(&mut overrides, at(3_900), "4", &rooms(16.0)).outcome, Outcome::Done);
    for (id, bad, words) in [
        ("5", rooms(2.0), "must be 7 to 25"),
        ("6", off.replace("boiler", "stove"), "only boiler"),
        ("7", off.replace("\"source\"", "\"store\":\"cylinder\",\"source\""), "not both"),
    ] {
        let answer = send(&mut overrides, at(10), id, &bad);
        assert_eq!(answer.outcome, Outcome::Refused, "{}", answer.text);
        assert!(answer.text.contains(words), "{}", answer.text);
    }
}
