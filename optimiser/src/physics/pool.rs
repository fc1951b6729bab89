//! Heat that the surface of a pool loses.

use super::evaporation::{dew_point, saturation_kpa};
use crate::problem::Ambient;
use crate::site::{Exposure, Pool};
use crate::time::Series;
use crate::units::{Fraction, Irradiance, Temperature, WindSpeed};

/// Emissivity of water (ISO/TR 12596:1995, after S. A. Kalogirou, *Solar Energy
/// Engineering*, 2009).
const EMISSIVITY: f64 = 0.95;

/// Stefan and Boltzmann's constant [W/(m²·K⁴)].
const STEFAN_BOLTZMANN: f64 = 5.670_374e-8;

const KELVIN: f64 = 273.15;

/// Weather at a pool.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PoolWeather {
    /// Air [°C].
    pub air: f64,
    /// Relative humidity, 0 to 1.
    pub humidity: f64,
    /// Wind as the weather states it [m/s].
    pub wind: f64,
    /// Global irradiance on a horizontal plane [W/m²].
    pub sun: f64,
    /// Part of the time under the cover, 0 to 1.
    pub covered: f64,
}

impl PoolWeather {
    /// The weather of a slot; what is not known is zero.
    pub fn of(ambient: &Ambient, slot: usize) -> Self {
        fn at<T: Copy>(series: Option<&Series<T>>, slot: usize, read: fn(T) -> f64) -> f64 {
            series.map_or(0.0, |values| read(values[slot]))
        }
        Self {
            air: at(ambient.outdoor.as_ref(), slot, Temperature::celsius),
            humidity: at(ambient.humidity.as_ref(), slot, Fraction::value),
            wind: at(ambient.wind.as_ref(), slot, WindSpeed::metres_per_second),
            sun: at(ambient.horizontal_irradiance.as_ref(), slot, Irradiance::watts_per_m2),
            covered: at(ambient.pool_cover.as_ref(), slot, Fraction::value),
        }
    }

    fn vapour_kpa(&self) -> f64 {
        self.humidity * saturation_kpa(self.air)
    }

    /// Temperature of the sky [°C]: midway between a clear one (emissivity
    /// `0.711 + 0.56·T_d/100 + 0.73·(T_d/100)²`, P. Berdahl and M. Martin,
    /// *Solar Energy* 32 (1984) 663, from memory) and an overcast one as warm as the air.
    fn sky(&self) -> f64 {
        let dew = dew_point(self.vapour_kpa()) / 100.0;
        let emissivity = 0.711 + 0.56 * dew + 0.73 * dew * dew;
        let clear = (self.air + KELVIN) * emissivity.max(0.0).powf(0.25) - KELVIN;
        0.5 * (clear + self.air)
    }
}

/// Weather at a pool with what follows from it, for many temperatures of the water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PoolAir {
    weather: PoolWeather,
    vapour_kpa: f64,
    /// Fourth power of the sky's temperature [K⁴].
    sky_k4: f64,
}

impl From<PoolWeather> for PoolAir {
    fn from(weather: PoolWeather) -> Self {
        let sky_k4 = (weather.sky() + KELVIN).powi(4);
        Self { weather, vapour_kpa: weather.vapour_kpa(), sky_k4 }
    }
}

impl Pool {
    /// Heat that its water loses through surface, walls and floor, less what
    /// it takes from the sun [kW].
    pub fn loss_kw(&self, water: f64, weather: &PoolWeather) -> f64 {
        self.loss_to(water, &PoolAir::from(*weather))
    }

    /// The same for weather that is prepared.
    pub fn loss_to(&self, water: f64, weather: &PoolAir) -> f64 {
        let ground = self.ground_loss.watts_per_kelvin() * (water - self.ground.celsius());
        (self.surface_m2 * self.exposure.surface_loss(water, weather) + ground) / 1_000.0
    }
}

impl Exposure {
    /// Loss of the surface, less the sun that the water keeps [W/m²].
    fn surface_loss(&self, water: f64, above: &PoolAir) -> f64 {
        let weather = &above.weather;
        match *self {
            Self::Indoor { loss_w_per_m2 } => loss_w_per_m2,
            Self::Outdoor {
                evaporation,
                wind_share,
                cover_w_per_m2k,
                absorbed_open,
                absorbed_covered,
            } => {
                let mut loss = 0.0;
                if weather.covered < 1.0 {
                    let wind = weather.wind * wind_share.value();
                    let radiation =
                        EMISSIVITY * STEFAN_BOLTZMANN * ((water + KELVIN).powi(4) - above.sky_k4);
                    let open = evaporation.watts_per_m2(water, above.vapour_kpa, wind)
                        + evaporation.convection_w_per_m2(water, weather.air, wind)
                        + radiation
                        - absorbed_open.value() * weather.sun;
                    loss += (1.0 - weather.covered) * open;
                }
                let covered = cover_w_per_m2k * (water - weather.air)
                    - absorbed_covered.value() * weather.sun;
                loss + weather.covered * covered
            }
        }
    }
}

#[cfg(test)]
mod tests;
