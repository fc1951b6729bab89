//! Heat that a pipe loses, as a secondary return loop does.

use std::f64::consts::PI;

/// Conductivity of usual pipe insulation [W/(m·K)].
pub const INSULATION_W_PER_MK: f64 = 0.040;

/// Heat transfer from a surface to still indoor air [W/(m²·K)].
pub const SURFACE_W_PER_M2K: f64 = 10.0;

/// Thickness of the wall of a copper tube [mm], by the content that tables give
/// for 15, 22 and 28 mm.
const WALL_MM: [(f64, f64); 3] = [(15.0, 0.7), (22.0, 0.9), (28.0, 0.9)];

/// Heat lost by each metre and kelvin of a pipe [W/(m·K)]: cylinder formula of
/// ISO 12241, `1/(ln(r_2/r_1)/(2πk) + 1/(h·2πr_2))`. Diameter and insulation in mm.
pub fn watts_per_metre_kelvin(diameter_mm: f64, insulation_mm: f64) -> f64 {
    let inner = diameter_mm / 2_000.0;
    let outer = inner + insulation_mm / 1_000.0;
    let layer = (outer / inner).ln() / (2.0 * PI * INSULATION_W_PER_MK);
    1.0 / (layer + 1.0 / (SURFACE_W_PER_M2K * 2.0 * PI * outer))
}

/// Water in each metre of a copper pipe of an outer diameter in mm [L/m].
pub fn litres_per_metre(diameter_mm: f64) -> f64 {
    let wall = WALL_MM
        .iter()
        .find(|(size, _)| diameter_mm <= *size + 0.5)
        .map_or(WALL_MM[2].1, |&(_, wall)| wall);
    let bore = (diameter_mm - 2.0 * wall).max(0.0) / 1_000.0;
    PI * bore * bore / 4.0 * 1_000.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::water::heat_kwh;

    fn within(actual: f64, expected: f64, relative: f64) {
        let off = (actual - expected).abs();
        assert!(off <= relative * expected.abs(), "{actual} is not {expected}");
    }

    // SR-01, SR-02: 40 K above the air, 19 mm of insulation; recomputed from the
    // formula.
    #[test]
    fn an_insulated_pipe() {
        for (diameter, watts) in [(22.0, 8.84), (15.0, 7.11), (28.0, 10.27)] {
            within(40.0 * watts_per_metre_kelvin(diameter, 19.0), watts, 0.01);
        }
    }

    // SR-03: recomputed; a trade page says up to 30 W/m for 15 mm.
    #[test]
    fn a_bare_pipe() {
        for (diameter, watts) in [(22.0, 27.6), (15.0, 18.8)] {
            within(40.0 * watts_per_metre_kelvin(diameter, 0.0), watts, 0.02);
        }
    }

    // SR-04, SR-05: 30 m of 22 mm pipe at 57 °C in 20 °C; recomputed.
    #[test]
    fn a_loop_that_runs_all_day() {
        let watts = 30.0 * 37.0 * watts_per_metre_kelvin(22.0, 19.0);
        within(watts, 245.0, 0.01);
        within(watts * 24.0 / 1_000.0, 5.89, 0.01);
        within(watts / 1_000.0 / (heat_kwh(1.0, 5.0) * 60.0), 0.714, 0.02);
    }

    // SR-06: content of copper pipe, recomputed from the bores of tables.
    #[test]
    fn content_of_copper_pipe() {
        for (diameter, litres) in [(15.0, 0.145), (22.0, 0.320), (28.0, 0.539)] {
            within(litres_per_metre(diameter), litres, 0.01);
            within(3.0 / litres_per_metre(diameter), 3.0 / litres, 0.01);
        }
    }
}
