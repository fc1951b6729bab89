//! Prints what sources and sinks do at random conditions, as JSON, for
//! `tests/peers/plant_room_reference.py`, which computes the same by general-purpose
//! libraries.

use std::io::{self, Write as _};

use optimiser::physics::pool::PoolWeather;
use optimiser::physics::rooms::Network;
use optimiser::site::{
    CapacityLine, Collectors, Evaporation, Exposure, HeatSource, HeatingCurve, Performance, Pool,
    Rooms, SolarPriority,
};
use optimiser::units::{Angle, Conductance, Flow, Fraction, HeatLoss, Power, Temperature};
use serde_json::{Value, json};
use stowheat_tests::invention::Dice;

const SAMPLES: usize = 200;

/// Steps of the rooms in each case.
const STEPS: usize = 24;

fn pool(dice: &mut Dice) -> Value {
    let evaporation =
        if dice.once_in(2) { Evaporation::SmithLofJones } else { Evaporation::Ashrae };
    let (wind_share, cover, open, under) =
        (dice.between(0.1, 0.5), dice.between(2.0, 6.0), dice.between(0.6, 0.9), 0.4);
    let pool = Pool {
        surface_m2: dice.between(15.0, 80.0),
        depth_m: 1.5,
        exposure: Exposure::Outdoor {
            evaporation,
            wind_share: Fraction::clamped(wind_share),
            cover_w_per_m2k: cover,
            absorbed_open: Fraction::clamped(open),
            absorbed_covered: Fraction::clamped(under),
        },
        ground_loss: HeatLoss::clamped(dice.between(5.0, 40.0)),
        ground: Temperature::clamped(dice.between(6.0, 14.0)),
        exchanger: Power::clamped(10.0),
        limit: Temperature::clamped(32.0),
    };
    let weather = PoolWeather {
        air: dice.between(0.5, 32.0),
        humidity: dice.between(0.3, 1.0),
        wind: dice.between(0.0, 8.0),
        sun: dice.between(0.0, 900.0),
        covered: if dice.once_in(2) { 0.0 } else { dice.between(0.0, 1.0) },
    };
    let water = dice.between(10.0, 32.0);
    json!({
        "equation": evaporation.name(),
        "surface_m2": pool.surface_m2,
        "wind_share": wind_share,
        "cover_w_per_m2k": cover,
        "absorbed_open": open,
        "absorbed_covered": under,
        "ground_w_per_k": pool.ground_loss.watts_per_kelvin(),
        "ground_c": pool.ground.celsius(),
        "air_c": weather.air,
        "humidity": weather.humidity,
        "wind_m_s": weather.wind,
        "sun_w_m2": weather.sun,
        "covered": weather.covered,
        "water_c": water,
        "loss_kw": pool.loss_kw(water, &weather),
    })
}

fn rooms(dice: &mut Dice) -> Value {
    let (floor, loss) = (dice.between(60.0, 300.0), dice.between(80.0, 600.0));
    // Medium weight by ISO 13790, 165 kJ/(m²·K), whose mass is 2.5 m² for each of floor.
    let capacity = 165.0 / 3_600.0 * floor;
    let (windows, air) = (dice.between(0.1, 0.3), dice.between(0.1, 0.4));
    let house = Rooms {
        heat_loss: HeatLoss::clamped(loss),
        measured_loss: None,
        window_share: Fraction::clamped(windows),
        ventilation_share: Fraction::clamped(air),
        floor_m2: floor,
        capacity_kwh_per_k: capacity,
        gains: Power::clamped(0.5),
        emitters: Conductance::clamped(300.0),
        curve: HeatingCurve {
            cold: Temperature::clamped(-5.0),
            flow_when_cold: Temperature::clamped(45.0),
            mild: Temperature::clamped(15.0),
            flow_when_mild: Temperature::clamped(25.0),
        },
        limit: Temperature::clamped(24.0),
    };
    let network = Network::of(&house, loss);
    let (mut mass, hours) = (dice.between(12.0, 24.0), 0.25);
    let start = mass;
    let steps: Vec<Value> = (0..STEPS)
        .map(|_| {
            let outdoor = dice.between(-10.0, 20.0);
            let heat = if dice.once_in(3) { 0.0 } else { dice.between(500.0, 12_000.0) };
            let gains = dice.between(0.0, 3_000.0);
            let step = network.step(mass, hours, outdoor, heat, gains);
            mass = step.mass;
            json!({
                "outdoor_c": outdoor,
                "heat_w": heat,
                "gains_w": gains,
                "mass_c": step.mass,
                "air_c": step.air,
                "lost_w": step.lost_w,
            })
        })
        .collect();
    json!({
        "floor_m2": floor,
        "capacity_wh_per_k": capacity * 1_000.0,
        "loss_w_per_k": loss,
        "window_share": windows,
        "ventilation_share": air,
        "mass_c": start,
        "hours": hours,
        "steps": steps,
    })
}

fn collectors(dice: &mut Dice) -> Value {
    let (eta0, a1, a2) =
        (dice.between(0.6, 0.85), dice.between(1.5, 4.5), dice.between(5.0, 30.0) / 1_000.0);
    let array = Collectors {
        area_m2: dice.between(2.0, 20.0),
        eta0: Fraction::clamped(eta0),
        a1,
        a2,
        tilt: Angle::clamped(40.0),
        azimuth: Angle::clamped(180.0),
        flow: Flow::clamped(4.0),
        pump: Power::clamped(0.05),
        start_difference_k: 8.0,
        stop_difference_k: 4.0,
        limit: Temperature::clamped(80.0),
        priority: SolarPriority::Absolute,
        serves: vec![],
    };
    let (sink, air) = (dice.between(15.0, 75.0), dice.between(-5.0, 30.0));
    let (conductance, sun) = (dice.between(0.1, 1.5), dice.between(50.0, 1_050.0));
    json!({
        "area_m2": array.area_m2,
        "eta0": eta0,
        "a1": a1,
        "a2": a2,
        "sink_c": sink,
        "air_c": air,
        "conductance_kw_per_k": conductance,
        "sun_w_m2": sun,
        "heat_kw": array.heat_kw(sink, conductance, air, sun),
        "stagnation_c": array.stagnation(air, sun),
    })
}

fn heat_pump(dice: &mut Dice) -> Value {
    let (source, flow) = (dice.between(-7.0, 12.0), dice.between(35.0, 50.0));
    let line = CapacityLine {
        rated: Power::clamped(8.0),
        source: Temperature::clamped(2.0),
        flow: Temperature::clamped(35.0),
        per_source_k: 0.02,
        per_flow_k: -0.005,
    };
    let cop = |kind| Performance::Staffell2012(line).at(kind, source, flow).cop;
    json!({
        "source_c": source,
        "flow_c": flow,
        "cop_of_air": cop(HeatSource::Air),
        "cop_of_ground": cop(HeatSource::Ground),
    })
}

fn main() -> io::Result<()> {
    let mut dice = Dice::new(20_260_117);
    let mut many = |case: fn(&mut Dice) -> Value| -> Vec<Value> {
        (0..SAMPLES).map(|_| case(&mut dice)).collect()
    };
    let cases = json!({
        "pools": many(pool),
        "rooms": many(rooms),
        "collectors": many(collectors),
        "heat_pumps": many(heat_pump),
    });
    serde_json::to_writer(io::stdout().lock(), &cases)?;
    writeln!(io::stdout().lock())
}
