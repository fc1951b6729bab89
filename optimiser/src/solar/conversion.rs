//! From light on the modules to AC power.
//!
//! DC power, losses and inverter follow A. P. Dobos, PVWatts Version 5 Manual,
//! NREL/TP-6A20-62641, 2014, doi:10.2172/1158421.

use super::Inverter;
use crate::units::{Fraction, Power, PowerCoefficient, Temperature, WindSpeed};

/// Losses before the inverter that PVWatts assumes: soiling, shading, snow,
/// mismatch, wiring, connections, light-induced degradation, nameplate, age and
/// availability.
pub const DEFAULT_LOSSES: [Fraction; 10] = [
    Fraction::constant(0.02),
    Fraction::constant(0.03),
    Fraction::constant(0.0),
    Fraction::constant(0.02),
    Fraction::constant(0.02),
    Fraction::constant(0.005),
    Fraction::constant(0.015),
    Fraction::constant(0.01),
    Fraction::constant(0.0),
    Fraction::constant(0.03),
];

/// Loss of several in a row; they multiply, they do not add.
pub fn combined_losses(losses: &[Fraction]) -> Fraction {
    Fraction::clamped(1.0 - losses.iter().map(|loss| 1.0 - loss.value()).product::<f64>())
}

/// Temperature of the cells under irradiance on their plane [W/m²].
///
/// D. Faiman, "Assessing the outdoor operating temperature of photovoltaic
/// modules", Progress in Photovoltaics 16, 2008, doi:10.1002/pip.813, with the
/// coefficients u0 = 25 and u1 = 6.84.
pub fn cell_temperature_faiman(irradiance: f64, air: Temperature, wind: WindSpeed) -> Temperature {
    let rise = irradiance / (25.0 + 6.84 * wind.metres_per_second());
    Temperature::clamped(air.celsius() + rise)
}

/// Temperature of the cells from the nominal operating cell temperature [°C]
/// that the data sheet gives for 800 W/m² and 20 °C.
///
/// R. G. Ross, "Interface design considerations for terrestrial solar cell
/// modules", 12th IEEE Photovoltaic Specialists Conference, 1976.
pub fn cell_temperature_ross(
    irradiance: f64,
    air: Temperature,
    nominal: Temperature,
) -> Temperature {
    Temperature::clamped(air.celsius() + (nominal.celsius() - 20.0) / 800.0 * irradiance)
}

/// DC power of modules under irradiance on their plane [W/m²].
pub fn dc_power(
    peak: Power,
    coefficient: PowerCoefficient,
    irradiance: f64,
    cell: Temperature,
) -> Power {
    let warm = 1.0 + coefficient.per_kelvin() * (cell.celsius() - 25.0);
    Power::clamped(irradiance / 1_000.0 * peak.kw() * warm)
}

impl Inverter {
    /// AC power from DC power, clipped at the limit.
    pub fn ac_power(&self, dc: Power) -> Power {
        let load = dc.kw() * self.efficiency.value() / self.limit.kw();
        if load.is_nan() || load <= 0.0 {
            return Power::constant(0.0);
        }
        let efficiency =
            self.efficiency.value() / 0.963_7 * (-0.016_2 * load - 0.005_9 / load + 0.985_8);
        Power::clamped(efficiency * dc.kw()).min(self.limit)
    }
}
