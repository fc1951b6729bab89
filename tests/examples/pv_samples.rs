//! Writes what the optimiser computes for random places, instants and planes,
//! as JSON on standard output, for `tests/peers/pv_reference.py` to compare.
//!
//! Usage: `cargo run --release -p stowheat-tests --example pv_samples [COUNT [SEED]]`.

use std::io::{self, Write as _};

use optimiser::solar::{
    DEFAULT_LOSSES, Inverter, Location, Sky, SkyModel, cell_temperature_faiman, combined_losses,
    dc_power, extraterrestrial, plane_irradiance, relative_air_mass, sun_position,
};
use optimiser::time::Instant;
use optimiser::units::{Angle, Fraction, Power, PowerCoefficient, Temperature, WindSpeed};
use serde_json::{Value, json};

const INVERTER_LIMIT: Power = Power::constant(3.68);
const PEAK: Power = Power::constant(5.0);
const COEFFICIENT: PowerCoefficient = PowerCoefficient::constant(-0.003_5);
const ALBEDO: Fraction = Fraction::constant(0.2);

/// Xorshift of 64 bits, G. Marsaglia, Journal of Statistical Software 8(14), 2003.
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + (high - low) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn main() -> io::Result<()> {
    let number = |position: usize, default: u64| {
        std::env::args().nth(position).and_then(|text| text.parse().ok()).unwrap_or(default)
    };
    // A state of zero would stay zero.
    let mut dice = Dice(number(2, 20_250_621).max(1));
    let samples: Vec<Value> = (0..number(1, 1_000)).map(|_| sample(&mut dice)).collect();
    serde_json::to_writer(io::stdout().lock(), &samples)?;
    writeln!(io::stdout())
}

fn sample(dice: &mut Dice) -> Value {
    let place = Location {
        latitude: dice.between(-66.0, 66.0),
        longitude: dice.between(-180.0, 180.0),
        altitude_m: dice.between(0.0, 2_500.0),
    };
    // 2010-01-01 to 2050-01-01.
    let at = Instant::from_unix(dice.between(1_262_304_000.0, 2_524_608_000.0) as i64);
    let sun = sun_position(&place, at);
    let dni_extraterrestrial = extraterrestrial(at);
    // Neither exceeds what the height of the sun allows, or cells would boil.
    let dni =
        if sun.cos_zenith() > 0.0 { dice.between(0.0, 0.75) * dni_extraterrestrial } else { 0.0 };
    let dhi = 5.0 + dice.between(0.0, 0.4) * dni_extraterrestrial * sun.cos_zenith();
    let sky = Sky { ghi: dni * sun.cos_zenith() + dhi, dni, dhi, dni_extraterrestrial };
    let tilt = Angle::clamped(dice.between(0.0, 90.0));
    let azimuth = Angle::clamped(dice.between(0.0, 360.0));
    let on_plane = |model| plane_irradiance(model, &sky, &sun, tilt, azimuth, ALBEDO);
    let hay_davies = on_plane(SkyModel::HayDavies);
    let air = Temperature::clamped(dice.between(-20.0, 40.0));
    let wind = WindSpeed::clamped(dice.between(0.0, 15.0));
    let cell = cell_temperature_faiman(hay_davies, air, wind);
    let dc = dc_power(PEAK, COEFFICIENT, hay_davies, cell);
    let losses = combined_losses(&DEFAULT_LOSSES);
    let after_losses = Power::clamped(dc.kw() * (1.0 - losses.value()));
    let ac = Inverter::with_limit(INVERTER_LIMIT).ac_power(after_losses);
    json!({
        "unix": at.unix(),
        "latitude": place.latitude,
        "longitude": place.longitude,
        "altitude_m": place.altitude_m,
        "tilt": tilt.degrees(),
        "surface_azimuth": azimuth.degrees(),
        "albedo": ALBEDO.value(),
        "ghi": sky.ghi,
        "dni": dni,
        "dhi": dhi,
        "air": air.celsius(),
        "wind": wind.metres_per_second(),
        "peak_w": PEAK.kw() * 1_000.0,
        "coefficient": COEFFICIENT.per_kelvin(),
        "limit_w": INVERTER_LIMIT.kw() * 1_000.0,
        "ours": {
            "zenith": sun.zenith,
            "apparent_zenith": sun.apparent_zenith,
            "azimuth": sun.azimuth,
            "dni_extra": dni_extraterrestrial,
            "air_mass": relative_air_mass(sun.apparent_zenith),
            "isotropic": on_plane(SkyModel::Isotropic),
            "hay_davies": hay_davies,
            "perez": on_plane(SkyModel::Perez),
            "cell": cell.celsius(),
            "dc_w": dc.kw() * 1_000.0,
            "losses_percent": losses.value() * 100.0,
            "ac_w": ac.kw() * 1_000.0,
        },
    })
}
