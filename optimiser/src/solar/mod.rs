//! PV energy from weather: sun, sky, plane of the array, module, inverter.
//!
//! Angles are in degrees: tilt 0 lies flat and 90 stands upright, azimuth runs
//! clockwise from north, so 90 faces east, 180 south and 270 west.
//! Irradiance is in W/m²; the global (`ghi`) and the diffuse (`dhi`) one fall on
//! a horizontal plane, the beam (`dni`) on a plane that faces the sun.

mod conversion;
mod energy;
mod plane;
mod sky;
mod sun;
#[cfg(test)]
mod tests;

pub use conversion::{
    DEFAULT_LOSSES, cell_temperature_faiman, cell_temperature_ross, combined_losses, dc_power,
};
pub use energy::{WeatherSample, ac_energy, ac_power, sky_within};
pub use plane::{SkyModel, plane_irradiance};
pub use sky::{Sky, diffuse_share, extraterrestrial, relative_air_mass};
pub use sun::{SunPosition, sun_position};

use crate::units::{Angle, Fraction, Power, PowerCoefficient};

/// A place on Earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Location {
    /// Latitude, north positive [°].
    pub latitude: f64,
    /// Longitude, east positive [°].
    pub longitude: f64,
    /// Height above sea level [m].
    pub altitude_m: f64,
}

/// Modules that share one orientation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Array {
    /// DC power at 1 kW/m² and 25 °C.
    pub peak: Power,
    /// Angle to the horizontal, 0 flat, 90 upright.
    pub tilt: Angle,
    /// Direction it faces, clockwise from north: 180 is south.
    pub azimuth: Angle,
    /// Change of power per kelvin of cell temperature.
    pub temperature_coefficient: PowerCoefficient,
}

/// The inverter that all arrays of a system feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inverter {
    /// Most AC power.
    pub limit: Power,
    /// Efficiency at the limit.
    pub efficiency: Fraction,
}

impl Inverter {
    /// An inverter of nominal efficiency 0.96, the default of PVWatts (A. P.
    /// Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641, 2014).
    pub const fn with_limit(limit: Power) -> Self {
        Self { limit, efficiency: Fraction::constant(0.96) }
    }
}

/// Share of sunlight that the ground throws back, for January to December.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Albedo(pub [Fraction; 12]);

impl Albedo {
    /// The same share all year.
    pub const fn constant(share: Fraction) -> Self {
        Self([share; 12])
    }
}

impl Default for Albedo {
    /// 0.2, grass and town (common practice, no published source).
    fn default() -> Self {
        Self::constant(Fraction::constant(0.2))
    }
}

/// Arrays on one inverter.
#[derive(Debug, Clone, PartialEq)]
pub struct PvSystem {
    /// At least one array gives energy; none gives zero.
    pub arrays: Vec<Array>,
    /// What they feed.
    pub inverter: Inverter,
    /// Share of the DC energy that is lost before the inverter; see [`DEFAULT_LOSSES`].
    pub losses: Fraction,
    /// Reflection of the ground.
    pub albedo: Albedo,
    /// How diffuse light is spread over the sky.
    pub sky_model: SkyModel,
}
