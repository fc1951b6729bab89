//! Houses with plant rooms, and days of weather to try them on.

use optimiser::physics::coil::from_rating;
use optimiser::problem::{
    Ambient, Band, Comfort, LoopRun, PlantRoomState, Problem, RoomsState, ValueStep, Weights,
};
use optimiser::site::{
    Boiler, Buffer, CapacityLine, Coil, Collectors, Evaporation, Exposure, Fuel, HeatPump,
    HeatSource, HeatingCurve, Performance, PlantRoom, Pool, RatingPoint, ReturnLoop, Rooms, Sink,
    SolarPriority, Store,
};
use optimiser::time::{Horizon, Series};
use optimiser::units::{
    Angle, Conductance, Energy, Flow, Fraction, HeatLoss, Irradiance, Power, Price, Temperature,
    Volume, WindSpeed,
};

use crate::houses::{MONDAY, battery, celsius, day, draw, element, kwh, price, store};
use crate::invention::Dice;

/// The first coil of the first store.
pub const COIL: Sink = Sink::Coil { store: 0, coil: 0 };

/// A heat pump that is neither slow nor shy: it modulates, starts without loss
/// and may run for a minute.
pub fn heat_pump(kw: f64, source: HeatSource, serves: Vec<Sink>) -> HeatPump {
    HeatPump {
        name: format!("{kw} kW unit"),
        source,
        performance: Performance::Staffell2012(CapacityLine {
            rated: Power::clamped(kw),
            source: Temperature::constant(7.0),
            flow: Temperature::constant(45.0),
            per_source_k: 0.02,
            per_flow_k: -0.003,
        }),
        flow_limit: Temperature::constant(62.0),
        least_share: Fraction::constant(0.25),
        defrost_loss: Fraction::constant(0.0),
        start_loss: Energy::constant(0.0),
        least_run_seconds: 0,
        least_rest_seconds: 0,
        auxiliary: Power::constant(0.0),
        serves,
    }
}

/// A unit with the same capacity and COP at every temperature.
pub fn constant_unit(kw: f64, cop: f64, serves: Vec<Sink>) -> HeatPump {
    let point = RatingPoint {
        source: Temperature::constant(7.0),
        flow: Temperature::constant(45.0),
        capacity: Power::clamped(kw),
        cop,
    };
    HeatPump {
        performance: Performance::Points(vec![point]),
        ..heat_pump(kw, HeatSource::Ground, serves)
    }
}

/// A gas boiler of 20 kW at 10 for each kWh of heat, that may run at any time.
pub fn boiler(serves: Vec<Sink>) -> Boiler {
    Boiler {
        fuel: Fuel::Gas,
        fuel_price: Price::constant(9.0),
        efficiency: Fraction::constant(0.9),
        power: Power::constant(20.0),
        least_share: Fraction::constant(0.2),
        flow_limit: Temperature::constant(78.0),
        least_run_seconds: 0,
        auxiliary: Power::constant(0.0),
        back_up_only: false,
        serves,
    }
}

/// A coil of 1 kW/K over the lower half of a store.
pub fn coil() -> Coil {
    Coil {
        bottom: Fraction::constant(0.0),
        top: Fraction::constant(0.5),
        transfer: Conductance::clamped(from_rating(12.0, 12.0)),
    }
}

/// Rooms of 150 W/K and 10 kWh/K with 130 m² of underfloor heating.
pub fn rooms() -> Rooms {
    Rooms {
        heat_loss: HeatLoss::constant(150.0),
        measured_loss: None,
        window_share: Fraction::constant(0.15),
        ventilation_share: Fraction::constant(0.25),
        floor_m2: 130.0,
        capacity_kwh_per_k: 10.0,
        gains: Power::constant(0.3),
        emitters: Conductance::constant(400.0),
        curve: HeatingCurve {
            cold: Temperature::constant(-5.0),
            flow_when_cold: Temperature::constant(42.0),
            mild: Temperature::constant(15.0),
            flow_when_mild: Temperature::constant(30.0),
        },
        limit: Temperature::constant(24.0),
    }
}

/// A buffer of 100 L.
pub fn buffer(feeds: Vec<Sink>) -> Buffer {
    Buffer {
        volume: Volume::constant(100.0),
        heat_loss: HeatLoss::constant(1.0),
        surroundings: Temperature::constant(18.0),
        ceiling: Temperature::constant(70.0),
        immersion: None,
        feeds,
    }
}

/// 5 m² of flat plates, their sink chosen by the optimiser.
pub fn collectors(serves: Vec<Sink>) -> Collectors {
    Collectors {
        area_m2: 5.0,
        eta0: Fraction::constant(0.8),
        a1: 3.5,
        a2: 0.015,
        tilt: Angle::constant(45.0),
        azimuth: Angle::constant(180.0),
        flow: Flow::constant(4.0),
        pump: Power::constant(0.04),
        start_difference_k: 8.0,
        stop_difference_k: 4.0,
        limit: Temperature::constant(75.0),
        priority: SolarPriority::Optimiser,
        serves,
    }
}

/// 20 m² outdoors, 1.4 m deep.
pub fn pool() -> Pool {
    Pool {
        surface_m2: 20.0,
        depth_m: 1.4,
        exposure: Exposure::Outdoor {
            evaporation: Evaporation::SmithLofJones,
            wind_share: Fraction::constant(0.3),
            cover_w_per_m2k: 3.5,
            absorbed_open: Fraction::constant(0.85),
            absorbed_covered: Fraction::constant(0.3),
        },
        ground_loss: HeatLoss::constant(20.0),
        ground: Temperature::constant(10.0),
        exchanger: Power::constant(15.0),
        limit: Temperature::constant(28.0),
    }
}

/// 30 m of lagged pipe, its pump stopped at 40 °C.
pub fn return_loop() -> ReturnLoop {
    ReturnLoop {
        length_m: 30.0,
        loss_w_per_mk: 0.2,
        content: Volume::constant(5.0),
        flow: Flow::constant(4.0),
        surroundings: Temperature::constant(20.0),
        cut_off: Temperature::constant(40.0),
        return_height: Fraction::constant(0.7),
        pump: Power::constant(0.02),
    }
}

/// 300 L with a coil below and an element half way up.
pub fn cylinder() -> Store {
    let mut own = store(300.0, vec![element("element", 3.0, 0.5)]);
    own.heat_loss = HeatLoss::constant(1.6);
    own.held_back = Volume::constant(30.0);
    own.coils = vec![coil()];
    own
}

/// Sites of the measurements.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Cylinder and battery.
    Cylinder,
    /// Cylinder, buffer, rooms, heat pump, collectors.
    Heating,
    /// All that and boiler, second heat pump, pool, return loop.
    Everything,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Cylinder, Self::Heating, Self::Everything];
}

/// What stands in a site of a kind beyond its cylinder.
fn plant_room(kind: Kind) -> PlantRoom {
    let real = |pump: HeatPump| HeatPump {
        defrost_loss: Fraction::constant(0.1),
        start_loss: Energy::constant(0.1),
        least_run_seconds: 600,
        least_rest_seconds: 600,
        auxiliary: Power::constant(0.05),
        ..pump
    };
    match kind {
        Kind::Cylinder => PlantRoom::default(),
        Kind::Heating => PlantRoom {
            buffer: Some(buffer(vec![Sink::Rooms])),
            heat_pumps: vec![real(heat_pump(8.0, HeatSource::Air, vec![COIL, Sink::Buffer]))],
            collectors: Some(collectors(vec![COIL])),
            rooms: Some(rooms()),
            ..PlantRoom::default()
        },
        Kind::Everything => PlantRoom {
            buffer: Some(Buffer {
                immersion: Some(Power::constant(3.0)),
                ..buffer(vec![Sink::Rooms, Sink::Pool])
            }),
            heat_pumps: vec![
                real(heat_pump(9.0, HeatSource::Air, vec![COIL, Sink::Buffer, Sink::Pool])),
                real(heat_pump(6.0, HeatSource::Ground, vec![COIL, Sink::Buffer])),
            ],
            boiler: Some(Boiler {
                back_up_only: true,
                least_run_seconds: 300,
                auxiliary: Power::constant(0.1),
                ..boiler(vec![COIL, Sink::Buffer])
            }),
            collectors: Some(collectors(vec![COIL, Sink::Pool])),
            rooms: Some(rooms()),
            pool: Some(pool()),
            phases: None,
        },
    }
}

/// A site of a kind on slots of half an hour of a random day, the same for a seed.
pub fn random_day(kind: Kind, slots: usize, seed: u64) -> Problem {
    let mut dice = Dice::new(seed);
    let mut level = dice.between(5.0, 25.0);
    let import: Vec<f64> = (0..slots)
        .map(|slot| {
            level = (level + dice.between(-6.0, 6.0)).clamp(-4.0, 45.0);
            level + if (34..40).contains(&(slot % 48)) { 9.0 } else { 0.0 }
        })
        .collect();
    let mut problem = day(vec![cylinder()], &import);
    let mean = dice.between(-4.0, 22.0);
    let (cloud, wind) = (dice.between(0.1, 1.0), dice.between(0.0, 6.0));
    let sun = |slot: usize| {
        let height = ((slot % 48) as f64 - 24.0) / 18.0;
        if height.abs() < 1.0 { cloud * (1.0 - height * height) } else { 0.0 }
    };
    let horizon = problem.horizon.clone();
    problem.site.plant_room = plant_room(kind);
    problem.site.battery = (kind != Kind::Heating).then(battery);
    problem.state.battery = kwh(2.0);
    problem.pv = series(&horizon, |slot| Energy::clamped(2.0 * sun(slot)));
    problem.base_load = Series::constant(&horizon, kwh(0.2));
    problem.export_price = Series::constant(&horizon, price(4.0));
    problem.weights = Weights::for_house(&problem.site, &problem.import_price);
    if kind == Kind::Cylinder {
        problem.site.stores[0].coils.clear();
    }
    if kind == Kind::Everything {
        problem.site.stores[0].return_loop = Some(return_loop());
        problem.ambient.loop_runs = [6.5, 18.0]
            .into_iter()
            .map(|hour: f64| LoopRun {
                store: 0,
                start: MONDAY + (hour * 3_600.0) as i64,
                seconds: 1_800,
            })
            .collect();
    }
    problem.state.stores[0] = vec![celsius(30.0), celsius(42.0), celsius(50.0), celsius(52.0)];
    for (hour, litres) in [(6.75, 50.0), (7.5, 60.0), (12.5, 15.0), (19.0, 40.0), (21.0, 80.0)] {
        for days in 0..slots / 48 {
            let hour = hour + 24.0 * days as f64 + dice.between(-0.5, 0.5);
            problem.draws.push(draw(hour, litres * dice.between(0.6, 1.4)));
        }
    }
    let outdoor = |slot: usize| {
        let phase = (slot as f64 - 30.0) / 48.0 * std::f64::consts::TAU;
        Temperature::clamped(mean + 4.0 * phase.cos())
    };
    let light = |most: f64| series(&horizon, |slot| Irradiance::clamped(most * sun(slot)));
    problem.ambient = Ambient {
        outdoor: Some(series(&horizon, outdoor)),
        ground: Some(Series::constant(&horizon, celsius(6.0))),
        collector_irradiance: Some(light(950.0)),
        horizontal_irradiance: Some(light(800.0)),
        humidity: Some(Series::constant(&horizon, Fraction::constant(0.75))),
        wind: Some(Series::constant(&horizon, WindSpeed::clamped(wind))),
        pool_cover: Some(series(&horizon, |slot| {
            Fraction::clamped(if (20..42).contains(&(slot % 48)) { 0.0 } else { 1.0 })
        })),
        ..problem.ambient
    };
    inhabited(&mut problem);
    // Heat left in store or pool saves some of tomorrow's.
    let mean = import.iter().sum::<f64>() / slots as f64;
    let step = |width: f64, share: f64| ValueStep {
        width: kwh(width),
        value: price((share * mean).max(0.0)),
    };
    problem.end_value.stores = vec![vec![step(5.0, 0.5), step(5.0, 0.3)]];
    problem.end_value.battery = vec![step(10.0, 0.7)];
    if kind != Kind::Cylinder {
        problem.end_value.rooms = vec![step(20.0, 0.2)];
    }
    if kind == Kind::Everything {
        problem.end_value.pool = vec![step(100.0, 0.1)];
    }
    problem
}

/// A day of sites that grow by a device at a time, each with its name.
pub fn growing(slots: usize) -> Vec<(&'static str, Problem)> {
    let whole = random_day(Kind::Everything, slots, 1);
    let all = whole.site.plant_room.clone();
    let first = |sinks: &[Sink]| HeatPump { serves: sinks.to_vec(), ..all.heat_pumps[0].clone() };
    let boiler = |sinks: &[Sink]| {
        all.boiler.clone().map(|boiler| Boiler { serves: sinks.to_vec(), ..boiler })
    };
    let pump = PlantRoom { heat_pumps: vec![first(&[COIL])], ..PlantRoom::default() };
    let burner = PlantRoom { boiler: boiler(&[COIL]), ..pump.clone() };
    let sun = PlantRoom { collectors: Some(collectors(vec![COIL])), ..burner.clone() };
    let heating = PlantRoom {
        heat_pumps: vec![first(&[COIL, Sink::Buffer])],
        boiler: boiler(&[COIL, Sink::Buffer]),
        buffer: Some(buffer(vec![Sink::Rooms])),
        rooms: all.rooms,
        ..sun.clone()
    };
    let sites = [
        ("cylinder and battery", PlantRoom::default(), false),
        ("and a coil with a heat pump", pump, false),
        ("and a boiler", burner, false),
        ("and collectors", sun, false),
        ("and buffer and rooms", heating, false),
        ("and pool, second heat pump, buffer's element", all.clone(), false),
        ("and the return loop: everything", all, true),
    ];
    sites
        .into_iter()
        .map(|(name, plant_room, with_loop)| {
            let mut problem = whole.clone();
            let own = &mut problem.site.stores[0];
            if plant_room.is_empty() {
                own.coils.clear();
            }
            if !with_loop {
                own.return_loop = None;
                problem.ambient.loop_runs.clear();
            }
            problem.site.plant_room = plant_room;
            inhabited(&mut problem);
            (name, problem)
        })
        .collect()
}

/// Comfort and state for what a site has.
fn inhabited(problem: &mut Problem) {
    let horizon = problem.horizon.clone();
    let band = |low: f64, high: f64| Band { low: celsius(low), high: celsius(high) };
    let room = &problem.site.plant_room;
    problem.comfort = Comfort {
        rooms: room.rooms.map(|_| {
            series(&horizon, |slot| {
                let awake = (13..45).contains(&(slot % 48));
                if awake { band(20.0, 23.0) } else { band(18.0, 23.0) }
            })
        }),
        pool: room.pool.map(|_| Series::constant(&horizon, band(24.0, 28.0))),
        guards: Vec::new(),
    };
    problem.state.plant_room = PlantRoomState {
        buffer: room.buffer.as_ref().map(|_| celsius(32.0)),
        rooms: room.rooms.map(|_| RoomsState { air: celsius(19.5), mass: celsius(20.0) }),
        pool: room.pool.map(|_| celsius(24.5)),
        ..PlantRoomState::default()
    };
}

fn series<T: Copy>(horizon: &Horizon, value: impl Fn(usize) -> T) -> Series<T> {
    let values = (0..horizon.len()).map(value).collect();
    Series::new("a made-up series", horizon, values).expect("one value a slot")
}
