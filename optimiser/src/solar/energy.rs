//! AC energy of a system within a slot, from means over a weather period.

use super::conversion::{cell_temperature_faiman, dc_power};
use super::sky::{Sky, diffuse_share, extraterrestrial};
use super::sun::{SunPosition, sun_position};
use super::{Location, PvSystem, plane_irradiance};
use crate::time::{Instant, Slot, civil};
use crate::units::{Energy, Irradiance, Power, Temperature, WindSpeed};

/// Longest time between two positions of the sun within a slot [s].
const STEP_SECONDS: i64 = 300;

/// WeatherSample of a period, as means over it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeatherSample {
    /// The period, an hour in most records.
    pub period: Slot,
    /// Global irradiance.
    pub ghi: Irradiance,
    /// Diffuse irradiance, if it was measured or modelled apart.
    pub dhi: Option<Irradiance>,
    /// Beam irradiance; of use only where the diffuse one is missing.
    pub dni: Option<Irradiance>,
    /// Air temperature.
    pub air: Temperature,
    /// Wind speed.
    pub wind: WindSpeed,
}

/// AC energy in the part of the slot that the weather's period covers.
///
/// Zero where they do not meet and at night. Light that is reported while the
/// sun is down all period is ignored.
pub fn ac_energy(
    system: &PvSystem,
    location: &Location,
    slot: Slot,
    weather: &WeatherSample,
) -> Energy {
    let nothing = Energy::constant(0.0);
    let Some(part) = slot.intersection(weather.period) else { return nothing };
    let (sum, count) = sky_within(location, part, weather)
        .map(|(at, sun, sky)| ac_power(system, at, &sun, &sky, weather.air, weather.wind).kw())
        .fold((0.0, 0_u32), |(sum, count), kw| (sum + kw, count + 1));
    if count == 0 {
        return nothing;
    }
    Energy::clamped(sum / f64::from(count) * part.hours())
}

/// AC power at an instant.
pub fn ac_power(
    system: &PvSystem,
    at: Instant,
    sun: &SunPosition,
    sky: &Sky,
    air: Temperature,
    wind: WindSpeed,
) -> Power {
    let (_, month, _) = civil(at.unix().div_euclid(86_400));
    let albedo = system.albedo.0[month as usize - 1];
    let dc: f64 = system
        .arrays
        .iter()
        .map(|array| {
            let light =
                plane_irradiance(system.sky_model, sky, sun, array.tilt, array.azimuth, albedo);
            let cell = cell_temperature_faiman(light, air, wind);
            dc_power(array.peak, array.temperature_coefficient, light, cell).kw()
        })
        .sum();
    system.inverter.ac_power(Power::clamped(dc * (1.0 - system.losses.value())))
}

/// Sun and sky in the middle of equal steps of `part`, a part of the weather's period.
///
/// Within the period light follows the sun: global and diffuse stay in
/// proportion to the irradiance above the air on a horizontal plane, so that
/// their means over the period are those of the record, also in the hours of
/// sunrise and sunset. The beam is what closes the balance; what would exceed
/// the beam above the air counts as diffuse. Yields nothing in the dark.
pub fn sky_within<'a>(
    location: &'a Location,
    part: Slot,
    weather: &WeatherSample,
) -> impl Iterator<Item = (Instant, SunPosition, Sky)> + use<'a> {
    let means = Means::of(location, weather);
    let steps = if means.is_some() { step_count(part) } else { 0 };
    moments(part, steps).filter_map(move |at| {
        let means = means?;
        let sun = sun_position(location, at);
        let cos_zenith = sun.cos_zenith();
        let dni_extraterrestrial = extraterrestrial(at);
        let shape = dni_extraterrestrial * cos_zenith / means.horizontal_extraterrestrial;
        let ghi = means.ghi * shape;
        let beam = (means.ghi - means.dhi) / means.horizontal_extraterrestrial;
        let dni = if cos_zenith > 0.0 { beam.min(1.0) * dni_extraterrestrial } else { 0.0 };
        let dhi = (ghi - dni * cos_zenith).max(0.0);
        Some((at, sun, Sky { ghi, dni, dhi, dni_extraterrestrial }))
    })
}

/// Means over a weather period in which the sun is up and gives light [W/m²].
#[derive(Clone, Copy)]
struct Means {
    ghi: f64,
    dhi: f64,
    horizontal_extraterrestrial: f64,
}

impl Means {
    fn of(location: &Location, weather: &WeatherSample) -> Option<Self> {
        let ghi = weather.ghi.watts_per_m2();
        if ghi <= 0.0 {
            return None;
        }
        let steps = step_count(weather.period);
        let (mut cosines, mut horizontal, mut lit) = (0.0, 0.0, 0.0);
        for at in moments(weather.period, steps) {
            let cos_zenith = sun_position(location, at).cos_zenith();
            cosines += cos_zenith;
            horizontal += cos_zenith * extraterrestrial(at);
            lit += f64::from(u8::from(cos_zenith > 0.0));
        }
        // NaN, from a location that is not a number, counts as dark too.
        if horizontal.is_nan() || horizontal <= 0.0 {
            return None;
        }
        let horizontal_extraterrestrial = horizontal / steps as f64;
        let dhi = match (weather.dhi, weather.dni) {
            (Some(dhi), _) => dhi.watts_per_m2(),
            // The beam shines while the sun is up only, its mean is over the whole period.
            (None, Some(dni)) => ghi - dni.watts_per_m2() * cosines / lit,
            (None, None) => ghi * diffuse_share(ghi / horizontal_extraterrestrial),
        };
        Some(Self { ghi, dhi: dhi.clamp(0.0, ghi), horizontal_extraterrestrial })
    }
}

fn step_count(slot: Slot) -> i64 {
    (slot.seconds() + STEP_SECONDS - 1) / STEP_SECONDS
}

/// Middles of equal steps.
fn moments(slot: Slot, steps: i64) -> impl Iterator<Item = Instant> {
    (0..steps).map(move |i| slot.start() + slot.seconds() * (2 * i + 1) / (2 * steps))
}
