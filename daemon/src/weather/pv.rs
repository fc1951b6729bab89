//! AC energy of a house's PV from weather.

use optimiser::solar::{Location, WeatherSample, ac_energy, sky_within};
use optimiser::time::{Horizon, Slot};
use optimiser::units::{Energy, Irradiance, Power, Temperature, WindSpeed};

use super::{Conditions, Weather};
use crate::house::Pv;

/// Air when a record has no column for it: the standard atmosphere of ISO 2533.
/// 10 K change the energy of common modules by 4 %.
pub const STANDARD_AIR: Temperature = Temperature::constant(15.0);
/// Wind when a record has no column for it, as in the nominal conditions of IEC 61215.
const STANDARD_WIND: WindSpeed = WindSpeed::constant(1.0);

/// Why weather does not make energy of a PV system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PvError {
    /// The site reads its PV from a series.
    #[error(
        "the site's PV is a forecast series, which weather does not make; describe arrays to compute it from weather"
    )]
    Forecast,
    /// Arrays need the sun.
    #[error("the site has PV arrays but no location; add its latitude and longitude")]
    NoLocation,
    /// The record is for another plane than that of the arrays.
    #[error(
        "the weather states irradiance on one tilted plane only, arrays need it on the horizontal; fetch it with slope 0"
    )]
    OnlyInPlane,
}

/// AC energy in each slot of the horizon; `None` where the weather leaves a part
/// of the slot open.
///
/// A record without any air temperature or wind stands for 15 °C or 1 m/s; a gap
/// in a column that is there is missing weather.
///
/// # Errors
/// If the system can not be computed from this weather at all.
pub fn energy(
    pv: &Pv,
    location: Option<&Location>,
    weather: &Weather,
    horizon: &Horizon,
) -> Result<Vec<Option<Energy>>, PvError> {
    let defaults = Conditions {
        temp_air: (!weather.states(|row| row.temp_air)).then_some(STANDARD_AIR),
        wind: (!weather.states(|row| row.wind)).then_some(STANDARD_WIND),
        ..Conditions::default()
    };
    let in_plane = weather.states(|row| row.in_plane);
    match pv {
        Pv::Forecast { .. } => Err(PvError::Forecast),
        Pv::Irradiance { peak, performance_ratio, inverter_limit } => {
            let plant = Scaled {
                kw_per_irradiance: peak.kw() / 1_000.0 * performance_ratio,
                limit: *inverter_limit,
            };
            Ok(by_slot(weather, horizon, |part, period, row| {
                if in_plane {
                    return row.in_plane.map(|light| plant.energy(light, part));
                }
                let sample = sample(period, row, Some(STANDARD_AIR), Some(STANDARD_WIND))?;
                Some(match location {
                    Some(location) if part != period => {
                        plant.following_sun(location, part, &sample)
                    }
                    _ => plant.energy(sample.ghi, part),
                })
            }))
        }
        Pv::Arrays(system) => {
            let location = location.ok_or(PvError::NoLocation)?;
            if in_plane && !weather.states(|row| row.ghi) {
                return Err(PvError::OnlyInPlane);
            }
            Ok(by_slot(weather, horizon, |part, period, row| {
                let air = row.temp_air.or(defaults.temp_air);
                let wind = row.wind.or(defaults.wind);
                Some(ac_energy(system, location, part, &sample(period, row, air, wind)?))
            }))
        }
    }
}

fn sample(
    period: Slot,
    row: &Conditions,
    air: Option<Temperature>,
    wind: Option<WindSpeed>,
) -> Option<WeatherSample> {
    Some(WeatherSample {
        period,
        ghi: row.ghi?,
        dhi: row.dhi,
        dni: row.dni,
        air: air?,
        wind: wind?,
    })
}

/// Sums over the rows that share time with each slot; they must cover it whole.
/// The energy is asked for the shared part, the row's slot and the row.
fn by_slot(
    weather: &Weather,
    horizon: &Horizon,
    energy: impl Fn(Slot, Slot, &Conditions) -> Option<Energy>,
) -> Vec<Option<Energy>> {
    let in_slot = |slot: &Slot| {
        let mut covered = 0;
        let mut kwh = 0.0;
        for (period, row) in weather.overlapping(*slot) {
            let part = slot.intersection(*period)?;
            covered += part.seconds();
            kwh += energy(part, *period, row)?.kwh();
        }
        (covered == slot.seconds()).then(|| Energy::clamped(kwh))
    };
    horizon.slots().iter().map(in_slot).collect()
}

/// A system known by its peak and performance ratio only.
struct Scaled {
    kw_per_irradiance: f64,
    limit: Option<Power>,
}

impl Scaled {
    fn power(&self, irradiance: f64) -> Power {
        let power = Power::clamped(irradiance * self.kw_per_irradiance);
        self.limit.map_or(power, |limit| power.min(limit))
    }

    /// Under even light.
    fn energy(&self, light: Irradiance, part: Slot) -> Energy {
        self.power(light.watts_per_m2()).over_hours(part.hours())
    }

    /// Within a part of the weather's period, light follows the height of the sun.
    fn following_sun(&self, location: &Location, part: Slot, sample: &WeatherSample) -> Energy {
        let (sum, count) = sky_within(location, part, sample)
            .map(|(_, _, sky)| self.power(sky.ghi).kw())
            .fold((0.0, 0_u32), |(sum, count), kw| (sum + kw, count + 1));
        Energy::clamped(sum / f64::from(count.max(1)) * part.hours())
    }
}

#[cfg(test)]
mod tests;
