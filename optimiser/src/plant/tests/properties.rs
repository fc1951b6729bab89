//! Properties of every run, over random houses, commands and draws.

use proptest::prelude::*;

use super::*;
use crate::schedule::BatteryMode;

const SLOTS: usize = 24;

#[derive(Debug, Clone)]
struct Case {
    house: Site,
    draws: Vec<Draw>,
    profile: Vec<Temperature>,
    commands: Commands,
    level: f64,
    pv: f64,
    base: f64,
}

fn stores() -> impl Strategy<Value = Store> {
    (60.0..500.0, 5..40_usize, 0.0..4.0, 0.0..0.3, 0.4..0.9, 45.0..75.0, 45.0..85.0, 0.0..30.0)
        .prop_map(|(volume, layers, loss, low, high, first, second, around)| Store {
            volume: Volume::clamped(volume),
            layers,
            heat_loss: HeatLoss::clamped(loss),
            surroundings: Temperature::clamped(around),
            elements: [(low, first), (high, second)]
                .iter()
                .map(|(height, thermostat)| Element {
                    height: Fraction::clamped(*height),
                    thermostat: Temperature::clamped(*thermostat),
                    ..element(3.0, 0.5, Control::OnOff)
                })
                .collect(),
            ..store()
        })
}

fn batteries() -> impl Strategy<Value = Battery> {
    (1.0..15.0, 0.0..1.0, 0.0..5.0, any::<[bool; 3]>()).prop_map(|(size, reserve, kw, rules)| {
        Battery {
            capacity: Energy::clamped(size),
            reserve: Energy::clamped(reserve),
            charge_limit: Power::clamped(kw),
            discharge_limit: Power::clamped(0.5 + kw),
            charge_efficiency: Fraction::constant(0.94),
            discharge_efficiency: Fraction::constant(0.96),
            wear: Price::constant(3.0),
            charges_from_grid: rules[0],
            exports: rules[1],
            feeds_heaters: rules[2],
        }
    })
}

fn cases() -> impl Strategy<Value = Case> {
    let heater = (0.0..3.0_f64, 0.0..40.0_f64, 0.0..20.0_f64, any::<bool>()).prop_map(
        |(kw, minutes, delay_minutes, on)| HeaterCommand {
            power: Power::clamped(if on { kw } else { 0.0 }),
            minutes,
            delay_minutes,
        },
    );
    let mode = prop::sample::select(vec![
        BatteryMode::Hold,
        BatteryMode::Follow,
        BatteryMode::Charge,
        BatteryMode::Discharge,
    ]);
    let told =
        (mode, 0.0..6.0).prop_map(|(mode, kw)| BatteryCommand { mode, power: Power::clamped(kw) });
    let pv_use = prop::sample::select(vec![PvUse::Free, PvUse::NoExport, PvUse::LastResort]);
    let tap = (-20..800_i64, 0.0..90.0, 20.0..60.0, 2.0..16.0)
        .prop_map(|(minute, litres, celsius, flow)| draw(minute, litres, celsius, flow));
    (
        (stores(), batteries()),
        prop::collection::vec(tap, 0..14),
        prop::collection::vec(5.0..70.0, 1..12),
        prop::collection::vec(prop::collection::vec(heater, SLOTS), 2),
        (prop::collection::vec(told, SLOTS), prop::collection::vec(pv_use, SLOTS)),
        prop::collection::vec(any::<bool>(), SLOTS),
        (0.0..1.0, 0.0..6.0, 0.0..4.0),
    )
        .prop_map(|((store, battery), draws, profile, heaters, (told, pv_use), pump, kw)| {
            let level = battery.capacity.kwh() * kw.0;
            Case {
                house: site(store, Some(battery)),
                draws,
                profile: profile.into_iter().map(Temperature::clamped).collect(),
                commands: Commands {
                    heaters,
                    guards: GUARDS
                        .map(|own| pump.iter().map(|on| on.then_some(own)).collect())
                        .into(),
                    battery: told,
                    pv: pv_use,
                    pumps: vec![pump],
                    jobs: vec![vec![]; SLOTS],
                },
                level,
                pv: kw.1,
                base: kw.2,
            }
        })
}

/// What elements watch that stand guard.
const GUARDS: [Watch; 2] =
    [Watch::Litres(Volume::constant(90.0)), Watch::Dial(Temperature::constant(45.0))];

impl Case {
    fn weather(&self) -> Weather {
        let mut weather = Weather::with(SLOTS, 10.0, 0.0, 0.0);
        weather.pv = Series::constant(&weather.horizon, Energy::clamped(0.5 * self.pv));
        weather.base_load = Series::constant(&weather.horizon, Energy::clamped(0.5 * self.base));
        weather.draws.clone_from(&self.draws);
        weather.state = State {
            battery: Energy::clamped(self.level),
            stores: vec![self.profile.clone()],
            plant_room: PlantRoomState::default(),
        };
        weather
    }

    fn run(&self, physics: Physics) -> Outcome {
        run(&self.house, &self.weather(), &self.commands, physics)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_book_balances(case in cases()) {
        let outcome = case.run(Physics::default());
        let trace = &outcome.stores[0];
        let throughput: f64 = trace
            .slots()
            .iter()
            .map(|s| s.heat_kwh + s.lost_kwh.abs() + s.drawn_kwh.abs())
            .sum::<f64>()
            + trace.slots()[0].stored_kwh.abs();
        prop_assert!(trace.residual_kwh().abs() <= 1e-9 * throughput.max(1.0));
        for (slot, house) in outcome.house.iter().enumerate() {
            prop_assert!(house.residual_kwh().abs() <= 1e-9 * (1.0 + house.base_kwh));
            let used: f64 = trace.used(slot).iter().sum();
            prop_assert!((house.heaters_kwh - used).abs() <= 1e-9);
            let battery = case.house.battery.as_ref().expect("every case has one");
            let before = outcome.battery_before(slot);
            let gained = house.charge_kwh * battery.charge_efficiency.value()
                - house.discharge_kwh / battery.discharge_efficiency.value();
            prop_assert!((house.battery_kwh - before - gained).abs() <= 1e-9);
            prop_assert!(house.battery_kwh <= battery.capacity.kwh() + 1e-9);
            prop_assert!(house.battery_kwh >= battery.reserve.kwh().min(case.level) - 1e-9);
            prop_assert!(house.export_kwh <= 0.5 * case.house.grid.export_limit.kw() + 1e-9);
        }
        let asked: f64 = trace.draws().iter().map(DrawRecord::unmet_kwh).sum();
        prop_assert!((asked - trace.unmet_kwh()).abs() <= 1e-9);
    }

    #[test]
    fn no_water_is_heated_above_what_the_elements_reach(case in cases()) {
        let outcome = case.run(Physics::default());
        let store = &case.house.stores[0];
        let reach = store.elements.iter().map(|e| store.reach(e).celsius()).fold(0.0, f64::max);
        let warmest = case.profile.iter().map(|t| t.celsius()).fold(reach, f64::max);
        let limit = warmest.max(store.surroundings.celsius());
        for boundary in 0..=SLOTS {
            let layers = outcome.stores[0].layers(boundary);
            prop_assert!(layers.iter().all(|t| *t <= limit + 1e-6), "{layers:?} above {limit}");
            prop_assert!(layers.windows(2).all(|pair| pair[0] <= pair[1] + 1e-9));
        }
    }

    // Without a differential: a thermostat that opened early may well refuse
    // later what it would have taken.
    #[test]
    fn more_heat_never_gives_colder_layers(
        case in cases(), slot in 0..SLOTS, row in 0..2_usize, minutes in 0.0..30.0,
    ) {
        let physics = Physics { hysteresis_k: 0.0, ..Physics::default() };
        let mut case = case;
        for command in case.commands.heaters.iter_mut().flatten() {
            command.delay_minutes = 0.0;
        }
        // One that stands guard gives less where there was more.
        case.commands.guards.iter_mut().for_each(|row| row.fill(None));
        // Water colder than the mains is warmed by a draw, and a hotter store draws
        // less: there more heat may well give a colder layer.
        let store = &mut case.house.stores[0];
        store.surroundings = Temperature::clamped(store.surroundings.celsius().max(10.0));
        for layer in &mut case.profile {
            *layer = Temperature::clamped(layer.celsius().max(10.0));
        }
        let less = case.run(physics);
        let command = &mut case.commands.heaters[row][slot];
        command.minutes += minutes;
        let more = case.run(physics);
        for boundary in 0..=SLOTS {
            for (a, b) in less.stores[0].layers(boundary).iter().zip(more.stores[0].layers(boundary)) {
                prop_assert!(*b >= a - COARSE_K, "{b} below {a} at {boundary}");
            }
        }
    }

    #[test]
    fn a_later_start_of_time_changes_nothing(case in cases()) {
        let here = case.run(Physics::default());
        let mut weather = case.weather();
        let shift = 86_400 * 365;
        weather.horizon =
            Horizon::regular(Instant::from_unix(shift), 1_800, SLOTS).expect("slots");
        for draw in &mut weather.draws {
            draw.start = draw.start + shift;
        }
        prop_assert_eq!(run(&case.house, &weather, &case.commands, Physics::default()), here);
    }

    #[test]
    fn going_on_from_a_boundary_is_going_on(case in cases(), from in 0..SLOTS) {
        let mut plant = Plant::new(&case.house);
        let weather = case.weather();
        let scene = plant.scene(&weather.conditions()).expect("conditions that fit");
        let whole = plant.simulate(&scene, &case.commands);
        // Another plan from that boundary on, then the first one again.
        let mut outcome = whole.clone();
        let idle = Commands::idle(&case.house, SLOTS);
        plant.resume(&scene, &idle, &mut outcome, from..SLOTS);
        plant.resume(&scene, &case.commands, &mut outcome, from..SLOTS);
        prop_assert_eq!(&outcome, &whole);
        // Slot by slot, as a replay goes.
        let mut outcome = plant.outset(&scene);
        for slot in 0..SLOTS {
            plant.resume(&scene, &case.commands, &mut outcome, slot..slot + 1);
        }
        prop_assert_eq!(outcome, whole);
    }
}

/// What the splitting of heat and flow may blur [K]: hundredths of a kelvin at the
/// source, and seldom more; four of 160,000 random cases were beyond 0.1 K, none
/// beyond 0.16 K.
const COARSE_K: f64 = 0.2;
