//! Speed of the simulated plant: 48 hours and a year of half-hours in one
//! 20-layer tank with two elements, a battery and a day's draws.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use optimiser::plant::{BatteryCommand, Commands, Conditions, HeaterCommand, Plant};
use optimiser::problem::{Ambient, Draw, PlantRoomState, State};
use optimiser::schedule::BatteryMode;
use optimiser::site::{Battery, Control, Element, Grid, PlantRoom, Site, Store};
use optimiser::time::{Horizon, Instant, Series};
use optimiser::units::{Energy, Flow, Fraction, HeatLoss, Power, Price, Temperature, Volume};

/// Minute of the day, litres at 40 °C and litres per minute of ten draws.
const DAY: [(i64, f64, f64); 10] = [
    (420, 45.0, 8.0),
    (445, 45.0, 8.0),
    (480, 5.0, 4.0),
    (570, 3.0, 4.0),
    (750, 8.0, 4.0),
    (900, 3.0, 4.0),
    (1_080, 12.0, 5.0),
    (1_170, 5.0, 4.0),
    (1_230, 60.0, 10.0),
    (1_320, 14.0, 5.0),
];

fn element(name: &str, height: f64) -> Element {
    Element {
        name: name.to_owned(),
        power: Power::constant(3.0),
        height: Fraction::clamped(height),
        control: Control::OnOff,
        thermostat: Temperature::constant(65.0),
    }
}

fn site() -> Site {
    Site {
        grid: Grid { import_limit: Power::constant(18.4), export_limit: Power::constant(3.68) },
        battery: Some(Battery {
            capacity: Energy::constant(10.0),
            reserve: Energy::constant(1.0),
            charge_limit: Power::constant(3.0),
            discharge_limit: Power::constant(3.0),
            charge_efficiency: Fraction::constant(0.95),
            discharge_efficiency: Fraction::constant(0.95),
            wear: Price::constant(3.0),
            charges_from_grid: true,
            exports: true,
            feeds_heaters: true,
        }),
        stores: vec![Store {
            name: "cylinder".to_owned(),
            volume: Volume::constant(250.0),
            height_m: 1.6,
            heat_loss: HeatLoss::constant(1.8),
            surroundings: Temperature::constant(19.0),
            mains: Temperature::constant(10.0),
            use_temperature: Temperature::constant(42.0),
            ceiling: Temperature::constant(75.0),
            cut_out: None,
            held_back: Volume::constant(20.0),
            destratification_pump: false,
            layers: 20,
            elements: vec![element("base", 0.05), element("boost", 0.65)],
            coils: Vec::new(),
            return_loop: None,
        }],
        plant_room: PlantRoom::default(),
    }
}

/// Days of conditions, and commands that heat for two hours each night.
fn days(count: usize, run: impl FnOnce(&Conditions<'_>, &Commands)) {
    let horizon = Horizon::regular(Instant::from_unix(0), 1_800, 48 * count).expect("half-hours");
    let draws: Vec<Draw> = (0..count as i64)
        .flat_map(|day| DAY.map(|draw| (day * 1_440 + draw.0, draw)))
        .map(|(minute, (_, litres, flow))| Draw {
            store: 0,
            start: Instant::from_unix(minute * 60),
            volume: Volume::clamped(litres),
            temperature: Temperature::constant(40.0),
            flow: Flow::clamped(flow),
        })
        .collect();
    let price = Series::constant(&horizon, Price::constant(20.0));
    let state = State {
        battery: Energy::constant(5.0),
        stores: vec![vec![Temperature::constant(15.0), Temperature::constant(58.0)]],
        plant_room: PlantRoomState::default(),
    };
    let pv = Series::constant(&horizon, Energy::constant(0.3));
    let base_load = Series::constant(&horizon, Energy::constant(0.2));
    let conditions = Conditions {
        horizon: &horizon,
        import_price: &price,
        export_price: &price,
        pv: &pv,
        base_load: &base_load,
        draws: &draws,
        mains: &[],
        ambient: &Ambient::default(),
        state: &state,
    };
    let mut commands = Commands::idle(&site(), horizon.len());
    let full = HeaterCommand { power: Power::constant(3.0), minutes: 30.0, delay_minutes: 0.0 };
    for slot in 0..horizon.len() {
        if (4..9).contains(&(slot % 48)) {
            commands.heaters[0][slot] = full;
        } else if slot % 48 == 41 {
            commands.heaters[1][slot] = HeaterCommand { minutes: 17.0, ..full };
        }
        commands.battery[slot] =
            BatteryCommand { mode: BatteryMode::Follow, power: Power::constant(0.0) };
    }
    run(&conditions, &commands);
}

fn simulation(criterion: &mut Criterion) {
    for (name, count) in [("48 h", 2), ("a year", 365)] {
        days(count, |conditions, commands| {
            let mut plant = Plant::new(&site());
            let scene = plant.scene(conditions).expect("conditions that fit");
            let slots = scene.len();
            criterion.bench_function(&format!("{name}, whole house"), |bencher| {
                bencher.iter(|| black_box(plant.simulate(&scene, black_box(commands))));
            });
            let mut trace = plant.heat(&scene, commands, 0);
            criterion.bench_function(&format!("{name}, heat only"), |bencher| {
                bencher.iter(|| plant.reheat(&scene, black_box(commands), 0, &mut trace, 0..slots));
            });
        });
    }
}

criterion_group!(benches, simulation);
criterion_main!(benches);
