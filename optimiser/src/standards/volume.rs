//! Usable litres, stored heat and expansion of a store.

use crate::water;

/// Temperature of the usable volume V40 [°C].
pub const USABLE_CELSIUS: f64 = 40.0;

/// Litres at 40 °C that a perfectly layered store gives:
/// `V·f·(T_s − T_c)/(40 − T_c)`, `f` the share drawn before the outlet cools.
/// Nothing if the store is colder than 40 °C.
pub fn v40_layered(litres: f64, share: f64, hot: f64, cold: f64) -> f64 {
    if hot < USABLE_CELSIUS {
        return 0.0;
    }
    litres * share * water::mixed_litres_per_litre(hot, USABLE_CELSIUS, cold)
}

/// Litres at 40 °C that carry the heat which a fully mixed store gives until
/// it falls to 40 °C: `V·(T_s − 40)/(40 − T_c)`.
pub fn v40_mixed(litres: f64, hot: f64, cold: f64) -> f64 {
    litres * (hot - USABLE_CELSIUS).max(0.0) / (USABLE_CELSIUS - cold)
}

/// Temperature after mixing equal layers [°C].
pub fn mixed_celsius(layers: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = layers.len() as f64;
    layers.sum::<f64>() / count
}

/// Coefficients of the density of water [kg/m³] in °C: cubic fit to IAPWS-95
/// values (CoolProp 8.0.0, 101.325 kPa, 10 to 95 °C), within 0.006 %.
const DENSITY: [f64; 4] = [1_000.34, -0.004_561_99, -0.005_490_68, 1.350_01e-5];

/// Coefficients of the enthalpy of water above 10 °C [kJ/kg] in °C: quartic fit
/// to the same source, within 0.005 kJ/kg.
const ENTHALPY: [f64; 5] = [-41.976_1, 4.204_35, -7.120_59e-4, 7.731_86e-6, -2.037_74e-8];

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// Heat that a full vessel at `hot` holds above `cold` [kWh], counting that
/// hot water is lighter; both in °C, 10 to 95.
pub fn heat_of_hot_mass(litres: f64, hot: f64, cold: f64) -> f64 {
    let kilograms = litres / 1_000.0 * polynomial(&DENSITY, hot);
    kilograms * (polynomial(&ENTHALPY, hot) - polynomial(&ENTHALPY, cold)) / 3_600.0
}

/// Growth of a water volume on heating, as a share of the cold volume; both in
/// °C, 10 to 95.
pub fn expansion(cold: f64, hot: f64) -> f64 {
    polynomial(&DENSITY, cold) / polynomial(&DENSITY, hot) - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    // ST-03, ST-05: heat-pump installer guide, 2021, selection formula
    // V1 = V2 + V2·(T2 − 40)/(40 − T1). ST-04: the same guide publishes 307 L
    // (truncated) for 480 L. ST-06: recomputed.
    #[test]
    fn usable_volume_of_a_layered_store() {
        close(v40_layered(120.0, 1.0, 54.0, 15.0), 187.2, 0.5);
        close(v40_layered(180.0, 1.0, 54.0, 15.0), 280.8, 0.5);
        close(v40_layered(307.7, 1.0, 54.0, 15.0), 480.0, 0.1);
        close(v40_layered(210.0, 1.0, 60.0, 10.0), 350.0, 0.5);
        close(v40_layered(210.0, 0.89, 60.0, 10.0), 311.5, 0.5);
        close(v40_layered(210.0, 1.0, 39.9, 10.0), 0.0, 0.0);
    }

    // C05, common practice, no published source: 200 L from 60 down to 40 °C.
    #[test]
    fn layered_and_mixed_are_the_bounds_of_a_real_store() {
        let layered = v40_layered(200.0, 1.0, 60.0, 10.0);
        let mixed = v40_mixed(200.0, 60.0, 10.0);
        close(layered, 333.3, 0.5);
        close(mixed, 133.3, 0.5);
        close(water::heat_kwh(layered, 30.0), 11.63, 0.01);
        close(water::heat_kwh(mixed, 30.0), 4.65, 0.01);
        close(v40_mixed(200.0, 35.0, 10.0), 0.0, 0.0);
    }

    // ST-07: 250 L at 80 °C and 750 L at 20 °C, a stove-industry page; also
    // recomputed.
    #[test]
    fn mixing_a_layered_store() {
        close(mixed_celsius([20.0, 20.0, 20.0, 80.0].into_iter()), 35.0, 1e-12);
    }

    // HW-03, HW-04: recomputed with CoolProp (IAPWS-95).
    #[test]
    fn heat_of_a_full_hot_vessel() {
        close(heat_of_hot_mass(210.0, 60.0, 10.0), 11.994, 0.012);
        close(heat_of_hot_mass(500.0, 80.0, 35.0), 25.42, 0.05);
    }

    // HW-02: heat for the mass of 210 L filled at 10 °C; recomputed with
    // CoolProp (IAPWS-95).
    #[test]
    fn heat_for_the_water_drawn_in() {
        let growth = 1.0 + expansion(10.0, 60.0);
        close(heat_of_hot_mass(210.0, 60.0, 10.0) * growth, 12.196, 0.012);
    }

    // HW-05: recomputed with CoolProp (IAPWS-95), in points of per cent.
    #[test]
    fn water_expands_on_heating() {
        close(expansion(10.0, 60.0) * 100.0, 1.68, 0.02);
        close(expansion(10.0, 90.0) * 100.0, 3.56, 0.02);
    }

    // The table of CoolProp 8.0.0 (IAPWS-95) that was fitted: temperature,
    // density, enthalpy above 10 °C.
    #[test]
    fn fits_stay_within_a_thousandth_of_the_table() {
        for (celsius, density, enthalpy) in [
            (10.0, 999.702, 0.0),
            (20.0, 998.207, 41.888),
            (40.0, 992.216, 125.497),
            (60.0, 983.196, 209.130),
            (80.0, 971.790, 292.936),
            (95.0, 961.888, 355.983),
        ] {
            close(polynomial(&DENSITY, celsius), density, 1e-3 * density);
            close(polynomial(&ENTHALPY, celsius), enthalpy, 1e-3 * enthalpy + 0.005);
        }
    }
}
