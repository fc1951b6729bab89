//! Heaters that go by a probe: without a schedule, and standing guard within one.

use optimiser::problem::{Guard, Watch};
use optimiser::time::{Horizon, Series};

use super::*;

// Failure case 5 and the last rung: without the time of day water is kept just
// useful, by its probe alone.
#[test]
fn without_the_time_of_day_comfort_is_kept_by_the_probe() {
    let celsius = Temperature::constant;
    let comfort = Comfort { element: 0, height: 0.6, below: celsius(40.0), above: celsius(45.0) };
    let settings = Settings { comfort: vec![Some(comfort)], ..settings() };
    let mut state = State::new(settings, at(0), Overrides::new(plant()));
    let told = |effects: Vec<Effect>| {
        effects.into_iter().find_map(|effect| match effect {
            Effect::SetPoint(_, set_point) => Some((set_point.power_w, set_point.reason)),
            _ => None,
        })
    };
    state.apply(at(0), Event::Tick { clock_is_right: false, step_s: None });
    state.apply(at(0), Event::Link(LinkEvent::Up));
    let (power_w, reason) = told(state.apply(at(1), message("in/top", "38"))).expect("heat");
    assert_eq!(power_w, 3_000);
    assert!(reason.contains("comfort minimum"), "{reason}");
    assert_eq!(state.rung(at(1)), "comfort");
    assert!(state.faults().iter().any(|fault| fault.kind == "cold"));
    let between = told(state.apply(at(600), message("in/top", "42"))).expect("a new reason");
    assert_eq!(between.0, 3_000, "it goes on until well above");
    let above = told(state.apply(at(1_200), message("in/top", "45.5"))).expect("off");
    assert_eq!(above.0, 0);
    let between = told(state.apply(at(1_300), message("in/top", "42"))).map(|told| told.0);
    assert!(between.is_none_or(|power_w| power_w == 0), "and stays off until cold again");
    // In the wrong year nothing is sent that would expire there.
    let early = Instant::from_unix(86_400);
    let mut state = State::new(
        Settings { comfort: vec![Some(comfort)], ..super::settings() },
        early,
        Overrides::new(plant()),
    );
    state.apply(early, Event::Link(LinkEvent::Up));
    let (power_w, _) = told(state.apply(early, message("in/top", "38"))).unwrap_or_default();
    assert_eq!(power_w, 0);
}

// The only element of a store watches what is ready in it, and what a schedule wanted
// there at first holds for the half-hour, since the one that follows a draw sees less.
#[test]
fn a_heater_that_watches_litres_heats_while_they_are_missing() {
    let mut plan = schedule(&[]);
    let slots = plan.schedule.slots.iter().map(|plan| plan.slot).collect();
    let horizon = Horizon::new(slots).expect("slots that touch");
    let wants = |litres: f64| {
        let litres = Some(Watch::Litres(Volume::constant(litres)));
        vec![Guard { heater: HEATER, watches: Series::constant(&horizon, litres) }]
    };
    plan.guards = wants(140.0);
    let after_the_draw = Current { guards: wants(60.0), ..plan.clone() };
    let mut state = running_by(settings(), plan);
    let mut told = |seconds: i64, event: Event| {
        let mut effects = state.apply(at(seconds), message("in/top", "50"));
        effects.extend(state.apply(at(seconds), event));
        effects.extend(state.apply(at(seconds + 1), tick()));
        let mut told = effects.into_iter().filter_map(|effect| match effect {
            Effect::SetPoint(_, set_point) => Some(set_point.power_w),
            _ => None,
        });
        told.next_back()
    };
    assert_eq!(told(100, Event::Usable(vec![Some(150.0)])).unwrap_or(0), 0, "enough");
    assert_eq!(told(400, Event::Usable(vec![None])).unwrap_or(0), 0, "no probe speaks");
    assert_eq!(told(500, Event::Usable(vec![Some(100.0)])), Some(3_000));
    let still = told(900, Event::Planned(Ok(after_the_draw)));
    assert_eq!(still.unwrap_or(3_000), 3_000, "the schedule sees what is left");
    assert_eq!(told(1_500, Event::Usable(vec![Some(141.0)])), Some(0));
    assert_eq!(told(2_300, Event::Usable(vec![Some(100.0)])).unwrap_or(0), 0, "a new half-hour");
}

// Within a schedule a heater on guard goes by the probe above it, and only in the slots
// in which it stands.
#[test]
fn a_heater_on_guard_goes_by_its_probe() {
    let celsius = Temperature::constant;
    let comfort = Comfort { element: 0, height: 0.6, below: celsius(40.0), above: celsius(45.0) };
    let settings = Settings { comfort: vec![Some(comfort)], ..settings() };
    let mut plan = schedule(&[]);
    let slots = plan.schedule.slots.iter().map(|plan| plan.slot).collect();
    let horizon = Horizon::new(slots).expect("slots that touch");
    let dial = Some(Watch::Dial(celsius(45.0)));
    let watches = Series::new("the dial", &horizon, vec![dial, dial, None, None]);
    plan.guards = vec![Guard { heater: HEATER, watches: watches.expect("one for each slot") }];
    // What the plan expects of the guard is no run.
    let expected = &mut plan.schedule.slots[0].heaters[0];
    (expected.minutes, expected.why) = (30.0, Reason::Guard);
    let mut state = running_by(settings, plan);
    let mut reads = |seconds: i64, celsius: &str| {
        let mut effects = state.apply(at(seconds), message("in/top", celsius));
        effects.extend(state.apply(at(seconds + 1), tick()));
        let mut told = effects.into_iter().filter_map(|effect| match effect {
            Effect::SetPoint(_, set_point) => Some(set_point.power_w),
            _ => None,
        });
        told.next_back()
    };
    assert_eq!(reads(100, "50").unwrap_or(0), 0, "warm enough");
    assert_eq!(reads(400, "43").unwrap_or(0), 0, "within the differential");
    assert_eq!(reads(700, "40.5"), Some(3_000));
    assert_eq!(reads(1_000, "43").unwrap_or(3_000), 3_000, "up to its dial");
    assert_eq!(reads(1_400, "45"), Some(0));
    assert_eq!(reads(1_700, "40"), Some(3_000));
    assert_eq!(reads(3_700, "38"), Some(0), "nothing is drawn at that time of day");
}
