use optimiser::schedule::Job;
use optimiser::site::{Route, Sink, Source};

use super::super::fuses::Fuses;
use super::*;
use crate::present::four_state::FourState;
use crate::service::commands::{Feeder, PlantFeeder};

const GROUND: Feeder = Feeder::Source(Source::HeatPump(0));
const BOILER: Feeder = Feeder::Source(Source::Boiler);
const SUN: Feeder = Feeder::Source(Source::Collectors);
const CIRCUIT: Feeder = Feeder::Circuit(Sink::Rooms);
const COIL: Sink = Sink::Coil { store: 0, coil: 0 };

fn celsius(celsius: f64) -> Temperature {
    Temperature::clamped(celsius)
}

fn input(name: &str, role: Role, limits: Limits) -> Input {
    let gate = Gate::new(Shape::Plain, "°C".parse().expect("a unit"), limits);
    let topic = Topic::new(format!("in/{name}")).expect("a topic");
    Input { name: name.into(), topic, role, height: None, coils: vec![], gate }
}

/// A cylinder with a coil and no element, a heat pump and a boiler for it and the
/// buffer of the rooms, and the sun on the coil.
fn room_settings() -> Settings {
    let plain = settings();
    let buffer = Limits::of_buffer(Power::constant(18.0), Volume::constant(100.0));
    let feeders =
        [("ground", GROUND), ("boiler", BOILER), ("collectors", SUN), ("rooms circuit", CIRCUIT)];
    let order = |sink, heat_w| SourceOrder { sink: Some(sink), heat_w, ..SourceOrder::default() };
    let rescue = |need, feeder, order| Rescue { need, feeder, order };
    Settings {
        start_offset: false,
        plant: Plant {
            stores: vec![PlantStore { heaters: vec![], ..plain.plant.stores[0].clone() }],
            feeders: feeders
                .into_iter()
                .map(|(name, feeder)| PlantFeeder { name: name.into(), feeder })
                .collect(),
            rooms: true,
        },
        inputs: plain
            .inputs
            .into_iter()
            .chain([
                input("buffer", Role::Sink(Sink::Buffer), buffer),
                input("rooms", Role::Sink(Sink::Rooms), Limits::of_rooms()),
                input("collectors", Role::Collectors, Limits::of_collectors()),
            ])
            .collect(),
        comfort: vec![None],
        plant_room: PlantRoomRules {
            limits: vec![(Sink::Buffer, celsius(42.0)), (Sink::Rooms, celsius(25.0))],
            solar_serves: vec![COIL],
            spells: [(GROUND, Shortest { on_s: 900, off_s: 600 })].into(),
            stop_difference_k: 4.0,
            useful: vec![celsius(40.0)],
            rooms_low: Some(celsius(18.0)),
            fuses: None,
            rescues: vec![
                rescue(Need::Store(0), GROUND, order(COIL, 8_000)),
                rescue(Need::Rooms, GROUND, order(Sink::Buffer, 8_000)),
                rescue(Need::Rooms, BOILER, order(Sink::Buffer, 18_000)),
                rescue(Need::Rooms, CIRCUIT, order(Sink::Rooms, 0)),
            ],
        },
        ..settings()
    }
}

/// A schedule in which the heat pump serves a sink in the first slot.
fn serving(sink: Sink) -> Current {
    let mut current = schedule(&[]);
    for plan in &mut current.schedule.slots {
        plan.heaters.clear();
    }
    let (route, none) = (Route { source: Source::HeatPump(0), sink }, Energy::constant(0.0));
    current.schedule.slots[0].jobs.push(Job {
        route,
        delay_minutes: 0.0,
        minutes: 30.0,
        heat: Energy::constant(3.0),
        electricity: none,
        pv: none,
        battery: none,
        grid: none,
        fuel: none,
        why: Reason::Comfort,
    });
    let order =
        SourceOrder { sink: Some(sink), heat_w: 6_000, flow: Some(celsius(35.0)), request: None };
    let reason = "as planned".to_owned();
    current.feeds = vec![vec![]; current.schedule.slots.len()];
    current.feeds[0].push(Feed { feeder: GROUND, delay_s: 0, run_s: 1_800, order, reason });
    current
}

struct House {
    state: State,
    told: BTreeMap<Feeder, (SourceOrder, String)>,
}

impl House {
    fn new(now: Instant, clock_is_right: bool) -> Self {
        let settings = room_settings();
        let overrides = Overrides::new(settings.plant.clone());
        let mut house = Self { state: State::new(settings, now, overrides), told: BTreeMap::new() };
        house.apply(now, Event::Tick { clock_is_right, step_s: None });
        house.apply(now, Event::Link(LinkEvent::Up));
        house
    }

    fn apply(&mut self, now: Instant, event: Event) {
        for effect in self.state.apply(now, event) {
            if let Effect::SourceSetPoint(feeder, due) = effect {
                assert!(due.valid_until - due.issued_at <= 600);
                self.told.insert(feeder, (due.order, due.reason));
            }
        }
    }

    fn hear(&mut self, seconds: i64, what: &str, celsius: f64) {
        self.apply(at(seconds), message(&format!("in/{what}"), &celsius.to_string()));
    }

    fn sink(&self, feeder: Feeder) -> Option<Sink> {
        self.told[&feeder].0.sink
    }

    fn why(&self, feeder: Feeder) -> &str {
        &self.told[&feeder].1
    }
}

/// A house with a schedule and everything measured.
fn planned(sink: Sink) -> House {
    planned_in(House::new(at(0), true), sink)
}

fn planned_in(mut house: House, sink: Sink) -> House {
    for (what, celsius) in [("top", 45.0), ("buffer", 34.0), ("rooms", 20.0), ("collectors", 60.0)]
    {
        house.hear(0, what, celsius);
    }
    house.apply(at(0), Event::Planned(Ok(serving(sink))));
    house
}

#[test]
fn the_schedule_is_followed_with_flow_and_contacts() {
    let mut house = planned(Sink::Buffer);
    let (order, reason) = house.told[&GROUND].clone();
    assert_eq!(
        (order.sink, order.heat_w, reason.as_str()),
        (Some(Sink::Buffer), 6_000, "as planned")
    );
    assert_eq!(order.flow, Some(celsius(35.0)));
    assert_eq!(order.request, Some(FourState::Encouraged));
    assert_eq!(house.sink(BOILER), None);
    assert_eq!(house.sink(SUN), Some(COIL), "whatever sun there is, where nothing is planned");
    // What it does is known to the next plan.
    let state = house.state.run_state(at(600), Source::HeatPump(0));
    assert_eq!(state.serves, Some(Sink::Buffer));
    assert!((state.seconds - 600.0).abs() < 1e-9);
    house.apply(at(1_810), tick());
    assert_eq!(house.sink(GROUND), None, "its half-hour is over");
}

// 8 kW of the house and 3 kW of the heat pump on one phase; the boiler's is another.
#[test]
fn what_does_not_fit_on_its_phase_stays_off() {
    for (fuse, fits) in [(9.2, false), (11.5, true)] {
        let mut house = House::new(at(0), true);
        house.state.settings.plant_room.fuses = Some(Fuses {
            fuse,
            house: [8.0, 0.0, 0.0],
            sources: [(GROUND, [3.0, 0.0, 0.0])].into(),
            ..Fuses::default()
        });
        let mut house = planned_in(house, Sink::Buffer);
        assert_eq!(house.sink(GROUND), fits.then_some(Sink::Buffer));
        if !fits {
            assert_eq!(house.why(GROUND), "phase 1 carries no more beside what is on");
        }
        // What runs is not stopped for what it takes itself.
        house.apply(at(60), tick());
        assert_eq!(house.sink(GROUND), fits.then_some(Sink::Buffer));
    }
}

#[test]
fn limits_and_lost_readings_go_before_the_schedule() {
    let mut house = planned(Sink::Buffer);
    house.hear(300, "buffer", 34.4);
    house.hear(900, "buffer", 42.5);
    assert_eq!(house.sink(GROUND), None, "the ceiling of the buffer");
    assert!(house.why(GROUND).contains("may not be warmer"), "{}", house.why(GROUND));
    let mut house = planned(COIL);
    assert_eq!(house.sink(GROUND), Some(COIL));
    house.apply(at(950), tick());
    assert_eq!(house.sink(GROUND), None, "the probe of the store fell silent");
    assert!(house.why(GROUND).contains("no trustworthy reading"), "{}", house.why(GROUND));
}

// SO-18, C29: a pump that runs with colder collectors cools the store.
#[test]
fn the_sun_that_is_colder_than_the_store_does_not_run() {
    let mut house = planned(Sink::Buffer);
    house.hear(60, "collectors", 50.0);
    assert_eq!(house.sink(SUN), Some(COIL));
    house.hear(300, "collectors", 48.0);
    assert_eq!(house.sink(SUN), None, "45 °C and 4 K");
    assert!(house.why(SUN).contains("too cold for the store"), "{}", house.why(SUN));
    house.apply(at(1_000), tick());
    assert!(house.why(SUN).contains("no trustworthy reading"), "{}", house.why(SUN));
}

#[test]
fn a_source_off_by_hand_is_blocked() {
    let mut house = planned(Sink::Buffer);
    let text = format!(
        r#"{{"schema":"stowheat/command/1","id":"1","action":{{"kind":"off","source":"ground","until":"{}"}}}}"#,
        at(7_000)
    );
    house.apply(at(60), message("p/v1/command", &text));
    let (order, reason) = &house.told[&GROUND];
    assert_eq!((order.sink, order.heat_w), (None, 0));
    assert!(reason.contains("off by hand"), "{reason}");
    // Its contacts are held for their ten minutes, and then block it.
    assert_eq!(order.request, Some(FourState::Encouraged));
    house.apply(at(610), tick());
    assert_eq!(house.told[&GROUND].0.request, Some(FourState::Blocked));
}

#[test]
fn without_a_schedule_cold_water_goes_first_and_then_the_rooms() {
    let mut house = House::new(at(0), false);
    for (what, celsius) in [("top", 45.0), ("buffer", 30.0), ("rooms", 17.4)] {
        house.hear(0, what, celsius);
    }
    assert_eq!(house.sink(GROUND), Some(Sink::Buffer));
    assert_eq!(house.sink(CIRCUIT), Some(Sink::Rooms));
    assert_eq!(house.sink(BOILER), None, "one source is enough");
    assert!(house.why(GROUND).contains("comfort minimum"), "{}", house.why(GROUND));
    house.hear(300, "top", 38.0);
    assert_eq!(house.sink(GROUND), Some(COIL), "hot water first");
    assert_eq!(house.sink(BOILER), Some(Sink::Buffer), "and the other keeps the rooms warm");
    house.hear(900, "top", 46.0);
    house.hear(960, "rooms", 19.2);
    assert_eq!((house.sink(GROUND), house.sink(BOILER)), (None, None));
    assert_eq!(house.sink(CIRCUIT), None);
}

#[test]
fn rooms_far_below_their_comfort_are_helped_under_a_schedule_and_frost_even_by_hand() {
    let mut house = planned(COIL);
    house.hear(300, "rooms", 17.5);
    assert_eq!(house.sink(BOILER), None, "the schedule will do");
    house.hear(600, "rooms", 16.5);
    assert_eq!(house.sink(GROUND), Some(COIL), "it is at work");
    assert_eq!(house.sink(BOILER), Some(Sink::Buffer));
    let off = format!(
        r#"{{"schema":"stowheat/command/1","id":"1","action":{{"kind":"off","until":"{}"}}}}"#,
        at(90_000)
    );
    house.apply(at(700), message("p/v1/command", &off));
    assert_eq!(house.sink(BOILER), None, "off by hand");
    let mut minutes = 12;
    for tenth in (50..165).rev().step_by(5) {
        minutes += 2;
        house.hear(minutes * 60, "rooms", f64::from(tenth) / 10.0);
    }
    let helped = [GROUND, BOILER].iter().any(|f| house.sink(*f) == Some(Sink::Buffer));
    assert!(helped, "frost goes before every hand");
}

#[test]
fn nothing_is_told_in_the_wrong_year_and_everything_is_let_go_at_the_end() {
    let early = Instant::from_unix(86_400);
    let mut house = House::new(early, false);
    house.apply(early, message("in/rooms", "12"));
    assert_eq!(house.sink(GROUND), None);
    let mut house = planned(Sink::Buffer);
    house.apply(at(60), Event::Stop);
    for (feeder, (order, reason)) in &house.told {
        assert_eq!((order.sink, order.heat_w), (None, 0), "{feeder:?}");
        assert!(reason.contains("stops"));
    }
    assert_eq!(house.told[&GROUND].0.request, Some(FourState::Normal), "at once");
}

// A compressor that has started is not stopped by the next schedule, and rests before it
// starts again; a limit stops it at once.
#[test]
fn a_new_schedule_lets_a_machine_run_out_and_rest() {
    let mut house = planned(Sink::Buffer);
    house.apply(at(120), Event::Planned(Ok(schedule(&[]))));
    assert_eq!(house.sink(GROUND), Some(Sink::Buffer), "{}", house.why(GROUND));
    assert!(house.why(GROUND).contains("once it has started"), "{}", house.why(GROUND));
    for (what, celsius) in [("top", 45.0), ("buffer", 35.0), ("rooms", 20.0)] {
        house.hear(600, what, celsius);
    }
    house.apply(at(890), tick());
    assert_eq!(house.sink(GROUND), Some(Sink::Buffer));
    house.apply(at(905), tick());
    assert_eq!(house.sink(GROUND), None, "its least run is over");
    house.apply(at(910), Event::Planned(Ok(serving(Sink::Buffer))));
    assert_eq!(house.sink(GROUND), None);
    assert!(house.why(GROUND).contains("it rests"), "{}", house.why(GROUND));
    house.hear(1_300, "buffer", 34.0);
    house.apply(at(1_510), tick());
    assert_eq!(house.sink(GROUND), Some(Sink::Buffer), "{}", house.why(GROUND));
    let mut house = planned(Sink::Buffer);
    house.hear(300, "buffer", 34.4);
    house.hear(890, "buffer", 42.5);
    assert_eq!(house.sink(GROUND), None, "a limit does not wait");
}
