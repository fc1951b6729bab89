//! Time to turn a year of hourly weather into half-hours of AC energy.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use optimiser::solar::{
    Albedo, Array, DEFAULT_LOSSES, Inverter, Location, PvSystem, SkyModel, WeatherSample,
    ac_energy, combined_losses, extraterrestrial, sun_position,
};
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::{Angle, Irradiance, Power, PowerCoefficient, Temperature, WindSpeed};

/// 2025-01-01T00:00Z.
const START: i64 = 1_735_689_600;

fn year(criterion: &mut Criterion) {
    let place = Location { latitude: 52.0, longitude: -1.0, altitude_m: 100.0 };
    let mut system = PvSystem {
        arrays: vec![Array {
            peak: Power::constant(5.0),
            tilt: Angle::constant(35.0),
            azimuth: Angle::constant(180.0),
            temperature_coefficient: PowerCoefficient::constant(-0.003_5),
        }],
        inverter: Inverter::with_limit(Power::constant(3.68)),
        losses: combined_losses(&DEFAULT_LOSSES),
        albedo: Albedo::default(),
        sky_model: SkyModel::HayDavies,
    };
    let horizon = Horizon::regular(Instant::from_unix(START), 1_800, 17_520).expect("a year");
    let pairs: Vec<(Slot, WeatherSample)> = horizon
        .slots()
        .iter()
        .map(|&slot| {
            let hour = Instant::from_unix(slot.start().unix() / 3_600 * 3_600);
            let period = Slot::new(hour, hour + 3_600).expect("an hour");
            let middle = hour + 1_800;
            let light = 0.5 * extraterrestrial(middle) * sun_position(&place, middle).cos_zenith();
            let weather = WeatherSample {
                period,
                ghi: Irradiance::clamped(light),
                dhi: None,
                dni: None,
                air: Temperature::constant(12.0),
                wind: WindSpeed::constant(3.0),
            };
            (slot, weather)
        })
        .collect();
    for model in [SkyModel::HayDavies, SkyModel::Perez] {
        system.sky_model = model;
        criterion.bench_function(&format!("a year of half-hours, {model:?}"), |bencher| {
            bencher.iter(|| -> f64 {
                pairs
                    .iter()
                    .map(|(slot, weather)| {
                        ac_energy(black_box(&system), &place, *slot, weather).kwh()
                    })
                    .sum()
            });
        });
    }
}

criterion_group!(benches, year);
criterion_main!(benches);
