//! Evaporation and the heat that goes with it, from a water surface outdoors.

use crate::site::Evaporation;

/// Convection for each unit of evaporation [kPa/K] (I. S. Bowen 1926; constant
/// from memory).
const BOWEN_KPA_PER_K: f64 = 0.0646;

/// Pascals in a millimetre of mercury, in kPa.
const KPA_PER_MMHG: f64 = 0.133_322;

/// Saturation pressure of water [kPa] at a temperature [°C]: Magnus form of
/// O. A. Alduchov and R. E. Eskridge, Journal of Applied Meteorology 35 (1996)
/// 601, doi:10.1175/1520-0450(1996)035<0601:IMFAOS>2.0.CO;2.
pub fn saturation_kpa(celsius: f64) -> f64 {
    0.610_94 * (17.625 * celsius / (celsius + 243.04)).exp()
}

/// Dew point [°C] of air at a vapour pressure [kPa]: the same form inverted.
pub fn dew_point(kpa: f64) -> f64 {
    let log = (kpa.max(1e-6) / 0.610_94).ln();
    243.04 * log / (17.625 - log)
}

impl Evaporation {
    /// Heat of evaporation for each unit of pressure difference
    /// [W/(m²·kPa)], with a wind at the surface [m/s].
    ///
    /// C. C. Smith, G. Löf and R. Jones, "Measurement and analysis of evaporation
    /// from an inactive outdoor swimming pool", Solar Energy 53 (1994) 3-7,
    /// doi:10.1016/S0038-092X(94)90597-5, in kJ/(h·m²·mmHg); ASHRAE Handbook after
    /// W. H. Carrier 1918, in its SI form.
    pub fn watts_per_m2_kpa(self, wind: f64) -> f64 {
        match self {
            Self::SmithLofJones => (30.6 + 32.1 * wind) / KPA_PER_MMHG / 3.6,
            Self::Ashrae => (0.089 + 0.0782 * wind) * 1_000.0,
        }
    }

    /// Heat of evaporation [W/m²] of water [°C] into air of a vapour pressure
    /// [kPa]. Dew on colder water is not counted.
    pub fn watts_per_m2(self, water: f64, vapour_kpa: f64, wind: f64) -> f64 {
        self.watts_per_m2_kpa(wind) * (saturation_kpa(water) - vapour_kpa).max(0.0)
    }

    /// Convection [W/m²] from water to air [°C], in Bowen's proportion to
    /// evaporation.
    pub fn convection_w_per_m2(self, water: f64, air: f64, wind: f64) -> f64 {
        self.watts_per_m2_kpa(wind) * BOWEN_KPA_PER_K * (water - air)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn within(actual: f64, expected: f64, relative: f64) {
        let off = (actual - expected).abs();
        assert!(off <= relative * expected.abs(), "{actual} is not {expected}");
    }

    // PL-01: (95 + 0.425 v) Btu/(h·ft²·inHg) with v in ft/min is 88.50 and
    // 77.93 in SI; the ASHRAE handbook rounds to 89 and 78.2. PL-02: Smith's.
    #[test]
    fn coefficients_in_si_units() {
        let watts_per_m2 = 3.154_591; // 1 Btu/(h·ft²).
        let kpa = 3.386_39; // 1 inHg.
        within(95.0 * watts_per_m2 / kpa, 88.50, 0.001);
        within(0.425 * watts_per_m2 / kpa / 0.005_08, 77.93, 0.001);
        within(Evaporation::Ashrae.watts_per_m2_kpa(0.0), 88.50, 0.006);
        within(Evaporation::Ashrae.watts_per_m2_kpa(1.0) - 89.0, 77.93, 0.005);
        within(Evaporation::SmithLofJones.watts_per_m2_kpa(0.0), 63.76, 0.001);
        within(Evaporation::SmithLofJones.watts_per_m2_kpa(1.0) - 63.76, 66.88, 0.001);
    }

    // PL-03: Smith, Löf and Jones 1994, abstract: 72 and 82 % of ASHRAE.
    #[test]
    fn measured_evaporation_is_below_the_handbook() {
        for (wind, share) in [(0.0, 0.72), (2.2, 0.82)] {
            let ratio = Evaporation::SmithLofJones.watts_per_m2_kpa(wind)
                / Evaporation::Ashrae.watts_per_m2_kpa(wind);
            assert!((ratio - share).abs() <= 0.02, "{ratio} at {wind} m/s");
        }
    }

    // PL-06: Alduchov and Eskridge 1996, recomputed.
    #[test]
    fn saturation_pressures() {
        for (celsius, kpa) in [(5.0, 0.8716), (18.0, 2.0597), (28.0, 3.7735)] {
            within(saturation_kpa(celsius), kpa, 0.001);
            assert!((dew_point(kpa) - celsius).abs() < 0.02);
        }
    }

    // PL-07: 18 °C water, air of −2 °C and 85 %, 0.5 m/s; recomputed.
    #[test]
    fn evaporation_of_a_cold_evening() {
        let vapour = 0.85 * saturation_kpa(-2.0);
        within(Evaporation::SmithLofJones.watts_per_m2(18.0, vapour, 0.5), 156.6, 0.005);
    }
}
