//! Houses with plant rooms.

use super::*;

pub(super) fn heat_pump(kw: f64, source: HeatSource, serves: Vec<Sink>) -> HeatPump {
    HeatPump {
        name: format!("unit of {kw}"),
        source,
        performance: Performance::Staffell2012(CapacityLine {
            rated: Power::clamped(kw),
            source: Temperature::constant(7.0),
            flow: Temperature::constant(45.0),
            per_source_k: 0.0,
            per_flow_k: 0.0,
        }),
        flow_limit: Temperature::constant(62.0),
        least_share: Fraction::constant(0.2),
        defrost_loss: Fraction::constant(0.1),
        start_loss: Energy::constant(0.1),
        least_run_seconds: 600,
        least_rest_seconds: 900,
        auxiliary: Power::constant(0.05),
        serves,
    }
}

pub(super) fn rooms() -> Rooms {
    Rooms {
        heat_loss: HeatLoss::constant(150.0),
        measured_loss: None,
        window_share: Fraction::constant(0.15),
        ventilation_share: Fraction::constant(0.25),
        floor_m2: 130.0,
        capacity_kwh_per_k: 10.0,
        gains: Power::constant(0.0),
        emitters: Conductance::constant(400.0),
        curve: HeatingCurve {
            cold: Temperature::constant(-5.0),
            flow_when_cold: Temperature::constant(48.0),
            mild: Temperature::constant(15.0),
            flow_when_mild: Temperature::constant(32.0),
        },
        limit: Temperature::constant(23.0),
    }
}

/// The everything-site: 200 L with coil and loop, buffer, two heat pumps,
/// boiler, collectors, rooms, pool.
pub(super) fn everything() -> Site {
    let mut store = store();
    store.heat_loss = HeatLoss::constant(1.6);
    store.coils = vec![Coil {
        bottom: Fraction::constant(0.05),
        top: Fraction::constant(0.45),
        transfer: Conductance::clamped(from_rating(12.0, 12.0)),
    }];
    store.return_loop = Some(lagged_loop());
    let mut house = site(store, None);
    house.plant_room = PlantRoom {
        buffer: Some(Buffer {
            volume: Volume::constant(100.0),
            heat_loss: HeatLoss::constant(1.0),
            surroundings: Temperature::constant(18.0),
            ceiling: Temperature::constant(75.0),
            immersion: Some(Power::constant(6.0)),
            feeds: vec![Sink::Rooms, Sink::Pool],
        }),
        heat_pumps: vec![
            heat_pump(9.0, HeatSource::Air, vec![COIL, Sink::Buffer, Sink::Pool]),
            heat_pump(6.0, HeatSource::Ground, vec![COIL, Sink::Buffer]),
        ],
        boiler: Some(Boiler {
            fuel: Fuel::Oil,
            fuel_price: Price::constant(9.0),
            efficiency: Fraction::constant(0.85),
            power: Power::constant(20.0),
            least_share: Fraction::constant(0.3),
            flow_limit: Temperature::constant(75.0),
            least_run_seconds: 300,
            auxiliary: Power::constant(0.1),
            back_up_only: true,
            serves: vec![COIL, Sink::Buffer],
        }),
        collectors: Some(collectors(vec![COIL, Sink::Pool])),
        rooms: Some(rooms()),
        pool: Some(Pool {
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
        }),
        phases: None,
    };
    house
}

pub(super) fn collectors(serves: Vec<Sink>) -> Collectors {
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
        priority: SolarPriority::Absolute,
        serves,
    }
}

/// 50 m at 7 W/m with 57 °C in 20 °C, and the water and copper of 15 mm pipe.
pub(super) fn lagged_loop() -> ReturnLoop {
    ReturnLoop {
        length_m: 50.0,
        loss_w_per_mk: 7.0 / 30.0,
        content: Volume::constant(8.55),
        flow: Flow::constant(5.0),
        surroundings: Temperature::constant(20.0),
        cut_off: Temperature::constant(60.0),
        return_height: Fraction::constant(0.9),
        pump: Power::constant(0.01),
    }
}
