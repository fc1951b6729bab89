mod battery;
mod plant_room;
mod starts;
mod thermostats;

use optimiser::Schedule;
use optimiser::schedule::{Cost, Evidence, HeaterPlan, Origin, Reason, SlotPlan};
use optimiser::units::{Energy, Power, Price, Volume};

use super::*;
use crate::service::commands::{PlantHeater, PlantStore};
use crate::service::link::{Filter, Topic};
use crate::service::readings::{Gate, Limits, Shape};
use crate::service::setpoints::start_offset_s;
use crate::service::wire::SetPoint;

const HEATER: HeaterId = HeaterId { store: 0, element: 0 };

fn at(seconds: i64) -> Instant {
    Instant::from_unix(1_767_225_600 + seconds)
}

fn plant() -> Plant {
    let heaters = vec![PlantHeater { name: "rod".into(), power_w: 3_000 }];
    let ceiling = Temperature::constant(70.0);
    Plant {
        stores: vec![PlantStore { name: "cylinder".into(), ceiling, heaters, full_s: 14_400 }],
        feeders: vec![],
        rooms: false,
    }
}

fn settings() -> Settings {
    let litres = |litres| Volume::new(litres).expect("a volume");
    let limits = Limits::of_probe(Power::constant(3.0), litres(50.0), litres(200.0));
    Settings {
        site: "Mill House".into(),
        boot_id: "b1".into(),
        plant: plant(),
        inputs: vec![Input {
            name: "cylinder top".into(),
            topic: Topic::new("in/top").expect("a topic"),
            role: Role::Probe { store: 0 },
            height: Some(0.7),
            coils: vec![],
            gate: Gate::new(Shape::Plain, "°C".parse().expect("a unit"), limits),
        }],
        command: Filter::new("p/v1/command").expect("a filter"),
        start_offset: true,
        comfort: vec![],
        plant_room: PlantRoomRules::default(),
        commands_battery: false,
        shadow: false,
    }
}

/// A schedule from 00:00 on, heating in the slots named.
fn schedule(on: &[usize]) -> Current {
    let none = Energy::constant(0.0);
    let price = Price::constant(10.0);
    let plan = |index: usize| SlotPlan {
        slot: Slot::new(at(1_800 * index as i64), at(1_800 * (index as i64 + 1))).expect("a slot"),
        import_price: price,
        export_price: price,
        import: none,
        export: none,
        swing: none,
        pv: none,
        curtailed: none,
        base_load: none,
        charge: none,
        discharge: none,
        battery: none,
        battery_mode: None,
        electricity_value: price,
        heaters: vec![HeaterPlan {
            id: HEATER,
            power: Power::constant(3.0),
            minutes: if on.contains(&index) { 30.0 } else { 0.0 },
            delay_minutes: 0.0,
            energy: none,
            pv: none,
            battery: none,
            grid: none,
            why: Reason::NotNeeded,
        }],
        stores: vec![],
        circulation: none,
        jobs: vec![],
        told: vec![],
        plant_room: optimiser::schedule::PlantRoomPlan::default(),
    };
    Current {
        is_limited: false,
        issued_at: at(0),
        valid_until: at(4 * 1_800),
        reasons: vec![],
        guards: vec![],
        feeds: vec![],
        battery: vec![],
        fell_because: None,
        schedule: Schedule {
            origin: Origin::Optimal,
            evidence: Evidence::Modelled,
            cost: Cost::default(),
            unmet_kwh: 0.0,
            unmet_litres: 0.0,
            short_kwh: 0.0,
            hygiene: vec![],
            slots: (0..4).map(plan).collect(),
        },
    }
}

fn message(topic: &str, payload: &str) -> Event {
    let (topic, payload) = (topic.into(), payload.into());
    Event::Link(LinkEvent::Message { topic, payload, retained: false })
}

fn tick() -> Event {
    Event::Tick { clock_is_right: true, step_s: None }
}

/// A service that is connected, sees its store, and has a schedule.
fn running(on: &[usize]) -> State {
    running_by(settings(), schedule(on))
}

fn running_by(settings: Settings, current: Current) -> State {
    let mut state = State::new(settings, at(0), Overrides::new(plant()));
    state.apply(at(0), tick());
    state.apply(at(0), Event::Link(LinkEvent::Up));
    state.apply(at(0), message("in/top", "45"));
    state.apply(at(0), Event::Prices { known_until: at(200_000) });
    state.apply(at(0), Event::Planned(Ok(current)));
    state
}

/// Lets time pass in ticks of 10 s with a living probe; what was told to the heater.
fn run(
    state: &mut State,
    from: i64,
    until: i64,
    probe: impl Fn(i64) -> Option<f64>,
) -> Vec<SetPoint> {
    let mut told = Vec::new();
    for second in (from..until).step_by(10) {
        let mut effects = Vec::new();
        if let Some(celsius) = probe(second).filter(|_| second % 60 == 0) {
            effects.extend(state.apply(at(second), message("in/top", &celsius.to_string())));
        }
        effects.extend(state.apply(at(second), tick()));
        told.extend(effects.into_iter().filter_map(|effect| match effect {
            Effect::SetPoint(_, set_point) => Some(set_point),
            _ => None,
        }));
    }
    told
}

#[expect(clippy::unnecessary_wraps, reason = "other probes fall silent")]
fn warming(second: i64) -> Option<f64> {
    Some(45.0 + second as f64 / 600.0)
}

fn starts(told: &[SetPoint]) -> Vec<(i64, u32)> {
    let mut changes: Vec<(i64, u32)> = Vec::new();
    for set_point in told {
        if changes.last().is_none_or(|(_, power_w)| *power_w != set_point.power_w) {
            changes.push((set_point.issued_at.0 - at(0), set_point.power_w));
        }
    }
    changes
}

#[test]
fn the_schedule_is_followed_with_the_start_offset_of_the_site() {
    let mut state = running(&[1, 2]);
    let told = run(&mut state, 10, 7_200, warming);
    let offset = (start_offset_s("Mill House") + 9) / 10 * 10;
    assert_eq!(starts(&told)[1..], [(1_800 + offset, 3_000), (5_400, 0)], "one start, no gap");
    assert!(told.iter().all(|s| s.valid_until.0 - s.issued_at.0 <= 600));
}

// C42 and failure case 3: the probe falls silent in the middle of heating.
#[test]
fn a_silent_probe_stops_the_heat_after_its_age() {
    let mut state = running(&[0, 1, 2, 3]);
    let told = run(&mut state, 10, 7_200, |second| warming(second).filter(|_| second < 1_200));
    let changes = starts(&told);
    let off = changes.last().expect("a change");
    assert_eq!(off.1, 0);
    assert!((1_140 + 900..=1_140 + 920).contains(&off.0), "{changes:?}");
    assert!(state.faults().iter().any(|f| f.what == "cylinder top" && f.kind == "stale"));
}

// Failure case 4: frozen while heating. 200 L warm by 10 K with 2.326 kWh, which
// 3 kW give in 47 min.
#[test]
fn a_frozen_probe_stops_the_heat_by_its_budget() {
    let mut state = running(&[0, 1, 2, 3]);
    let told = run(&mut state, 10, 7_200, |_| Some(45.0));
    let changes = starts(&told);
    let (on, off) = (changes[changes.len() - 2], changes[changes.len() - 1]);
    assert_eq!((on.1, off.1), (3_000, 0));
    let heated = off.0 - on.0;
    assert!((2_790..=2_810).contains(&heated), "{heated} s");
    assert!(state.faults().iter().any(|f| f.kind == "heat-spent"));
}

// Failure case 5: no price-driven heat before the time is trusted; a boost is no
// matter of price.
#[test]
fn an_untrusted_clock_allows_boosts_only() {
    let mut state = running(&[0, 1, 2, 3]);
    let wrong = || Event::Tick { clock_is_right: false, step_s: None };
    let effects = state.apply(at(700), wrong());
    assert!(effects.iter().any(|e| matches!(e, Effect::SetPoint(_, s) if s.power_w == 0)));
    assert!(effects.iter().any(|e| matches!(e, Effect::Faults(f) if f[0].what == "clock")));
    let boost = r#"{"schema":"stowheat/command/1","id":"b","action":{"kind":"boost","store":"cylinder","minutes":30}}"#;
    let effects = state.apply(at(710), message("p/v1/command", boost));
    assert!(effects.iter().any(|e| matches!(e, Effect::SetPoint(_, s) if s.power_w == 3_000)));
}

#[test]
fn a_clock_step_asks_for_a_new_plan() {
    let mut state = running(&[]);
    let step = Event::Tick { clock_is_right: true, step_s: Some(3_600) };
    assert!(state.apply(at(3_700), step).contains(&Effect::Plan(Why::Clock)));
}

// C43: a restart in an on-slot goes on; with a manual off it does not.
#[test]
fn a_restart_resumes_the_slot_unless_it_was_switched_off() {
    let mut state = running(&[0]);
    let told = run(&mut state, 600, 610, warming);
    assert_eq!(told.last().map(|s| s.power_w), Some(3_000), "600 s exceed any offset");
    let mut before = Overrides::new(plant());
    let off = format!(
        r#"{{"schema":"stowheat/command/1","id":"o","action":{{"kind":"off","until":"{}"}}}}"#,
        at(3_600)
    );
    before.apply(at(0), &commands::read(off.as_bytes(), false, at(0)).expect("a command"));
    let kept = Overrides::new(plant()).with_wishes(at(600), before.wishes().to_vec());
    let mut state = State::new(settings(), at(600), kept);
    state.apply(at(600), Event::Link(LinkEvent::Up));
    state.apply(at(600), message("in/top", "45"));
    state.apply(at(600), Event::Planned(Ok(schedule(&[0]))));
    let told = run(&mut state, 610, 1_800, warming);
    assert!(told.iter().all(|s| s.power_w == 0));
}

// C44.
#[test]
fn a_boost_is_answered_kept_obeyed_and_ended() {
    let mut state = running(&[]);
    let boost = r#"{"schema":"stowheat/command/1","id":"b","action":{"kind":"boost","store":"cylinder","minutes":20}}"#;
    let effects = state.apply(at(60), message("p/v1/command", boost));
    assert!(effects.iter().any(|e| matches!(e, Effect::Answer(a) if a.outcome == Outcome::Done)));
    assert!(effects.iter().any(|e| matches!(e, Effect::Keep(Record::Command { .. }))));
    assert!(effects.iter().any(|e| matches!(e, Effect::SetPoint(_, s) if s.power_w == 3_000)));
    let told = run(&mut state, 70, 1_800, warming);
    assert_eq!(starts(&told), [(150, 3_000), (1_260, 0)], "refreshed, and off by itself");
    assert!(state.overrides().wishes().is_empty());
}

#[test]
fn the_planner_is_asked_once_for_many_changes_and_again_when_silent() {
    let mut state = State::new(settings(), at(0), Overrides::new(plant()));
    let plans =
        |effects: Vec<Effect>| effects.into_iter().filter(|e| matches!(e, Effect::Plan(_))).count();
    assert_eq!(plans(state.apply(at(0), tick())), 1);
    for i in 1..30 {
        assert_eq!(plans(state.apply(at(i), Event::Prices { known_until: at(i) })), 0);
    }
    assert_eq!(
        plans(state.apply(at(30), Event::Planned(Ok(schedule(&[]))))),
        1,
        "for the changes since"
    );
    assert_eq!(plans(state.apply(at(89), tick())), 0);
    assert_eq!(plans(state.apply(at(90), tick())), 1, "no answer for a minute");
    assert!(state.faults().iter().any(|f| f.what == "planner"));
}

#[test]
fn an_expired_schedule_is_not_acted_on() {
    let mut state = running(&[0, 1, 2, 3]);
    let told = run(&mut state, 10, 7_400, warming);
    assert_eq!(starts(&told).last(), Some(&(7_200, 0)));
    assert!(!state.not_ready(at(7_300)).is_empty());
}

// Failure cases 13 to 15: each is named until the next connection.
#[test]
fn faults_of_the_link_are_told_once_and_cleared() {
    let mut state = running(&[]);
    let echo = LinkEvent::EchoMissing { topic: Topic::new("p/v1/health").expect("a topic") };
    let effects = state.apply(at(10), Event::Link(echo.clone()));
    assert!(effects.iter().any(|e| matches!(e, Effect::Faults(f) if f.len() == 1)));
    let again = state.apply(at(11), Event::Link(echo));
    assert!(!again.iter().any(|e| matches!(e, Effect::Faults(_))));
    let since = state.faults()[0].since;
    assert_eq!(since, Stamp(at(10)));
    let down = LinkEvent::Down { cause: "refused".into() };
    let effects = state.apply(at(20), Event::Link(down));
    assert!(!effects.iter().any(|e| matches!(e, Effect::SetPoint(..))), "nothing into the void");
    let effects = state.apply(at(30), Event::Link(LinkEvent::Up));
    assert!(effects.contains(&Effect::Faults(vec![])));
    assert!(effects.iter().any(|e| matches!(e, Effect::SetPoint(..))), "said again");
}

// Failure case 28.
#[test]
fn stopping_switches_off_and_leaves() {
    let mut state = running(&[0]);
    run(&mut state, 600, 700, warming);
    let effects = state.apply(at(700), Event::Stop);
    assert!(matches!(&effects[..], [Effect::SetPoint(_, s), Effect::Leave] if s.power_w == 0));
}

#[test]
fn what_is_for_others_is_passed_on() {
    let mut state = running(&[]);
    let effects = state.apply(at(10), message("homie/5/mill/plan/replan/set", "true"));
    assert!(effects.iter().any(|e| matches!(e, Effect::Pass { .. })));
}

#[test]
fn a_set_point_that_did_not_leave_is_sent_at_the_next_tick() {
    let mut state = running(&[]);
    let sends = |effects: &[Effect]| effects.iter().any(|e| matches!(e, Effect::SetPoint(..)));
    assert!(!sends(&state.apply(at(10), tick())), "nothing is due");
    assert!(!sends(&state.apply(at(11), Event::Unsent(HEATER))), "not in the same breath");
    assert!(sends(&state.apply(at(12), tick())));
}

// Failure case 36, the welded relay.
#[test]
fn a_heater_that_uses_more_than_it_was_told_is_named() {
    let mut state = running(&[]);
    let said = |state: &State| {
        state.faults().iter().any(|f| f.what == "cylinder/rod" && f.kind == "mismatch")
    };
    state.apply(at(1_800), Event::Excess { heater: HEATER, kwh: Some(1.5) });
    assert!(said(&state), "{:?}", state.faults());
    state.apply(at(3_600), Event::Excess { heater: HEATER, kwh: None });
    assert!(!said(&state));
}
