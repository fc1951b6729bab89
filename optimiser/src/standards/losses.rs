//! Standing losses: EU energy classes, SAP 10.2, and the loss in place.

use std::fmt;

/// Temperature difference of the standard test [K]: 65 °C in a room of 20 °C
/// (EN 12897).
pub const TEST_DIFFERENCE_K: f64 = 45.0;

/// Energy class of a hot-water tank, Regulation (EU) No 812/2013, Annex II.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// Class A+.
    APlus,
    /// Class A.
    A,
    /// Class B.
    B,
    /// Class C, the legal ceiling for new tanks since 26 September 2017.
    C,
    /// Class D.
    D,
    /// Class E.
    E,
    /// Class F.
    F,
    /// Class G.
    G,
}

/// Classes with an upper limit, `a + b·V^0.4` watts for `V` litres.
const LIMITS: [(Class, f64, f64); 7] = [
    (Class::APlus, 5.5, 3.16),
    (Class::A, 8.5, 4.25),
    (Class::B, 12.0, 5.93),
    (Class::C, 16.66, 8.33),
    (Class::D, 21.0, 10.33),
    (Class::E, 26.0, 13.66),
    (Class::F, 31.0, 16.66),
];

impl Class {
    /// Upper limit of the standing loss for a volume [W]; none for class G.
    pub fn limit_watts(self, litres: f64) -> f64 {
        LIMITS
            .iter()
            .find(|(class, ..)| *class == self)
            .map_or(f64::INFINITY, |(_, a, b)| a + b * litres.powf(0.4))
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::APlus => "A+",
            Self::A => "A",
            Self::B => "B",
            Self::C => "C",
            Self::D => "D",
            Self::E => "E",
            Self::F => "F",
            Self::G => "G",
        })
    }
}

/// Class of a standing loss [W] at the test difference.
pub fn class(litres: f64, watts: f64) -> Class {
    LIMITS
        .iter()
        .map(|(class, ..)| *class)
        .find(|class| watts < class.limit_watts(litres))
        .unwrap_or(Class::G)
}

/// Standing loss at the test difference [W] of a loss coefficient [W/K].
pub fn label_watts(watts_per_kelvin: f64) -> f64 {
    watts_per_kelvin * TEST_DIFFERENCE_K
}

/// Heat lost in a day at a constant difference [kWh].
pub fn daily_kwh(watts_per_kelvin: f64, kelvin: f64) -> f64 {
    watts_per_kelvin * kelvin * 24.0 / 1_000.0
}

/// Loss of a cylinder before the temperature factor by SAP 10.2, Tables 2 and
/// 2a [kWh/day]: `V·L·VF`.
pub fn sap_daily_kwh(litres: f64, millimetres: f64, jacket: bool) -> f64 {
    litres * sap_loss_factor(millimetres, jacket) * sap_volume_factor(litres)
}

/// Temperature factor of SAP 10.2, Table 2b, for an electric immersion heater
/// with a cylinder thermostat.
pub const SAP_TEMPERATURE_FACTOR: f64 = 0.60;

/// Loss factor L of SAP 10.2, Table 2 [kWh/(L·day)].
fn sap_loss_factor(millimetres: f64, jacket: bool) -> f64 {
    if jacket { 0.005 + 1.76 / (millimetres + 12.8) } else { 0.005 + 0.55 / (millimetres + 4.0) }
}

/// Volume factor VF of SAP 10.2, Table 2a.
fn sap_volume_factor(litres: f64) -> f64 {
    (120.0 / litres).cbrt()
}

/// Most that a new cylinder may lose in England [kWh per 24 h], from the
/// Domestic Building Services Compliance Guide (from memory).
pub fn compliance_ceiling_kwh(litres: f64) -> f64 {
    1.15 * (0.2 + 0.051 * litres.powf(2.0 / 3.0))
}

/// Surface of a cylinder with flat ends [m²].
pub fn cylinder_area_m2(litres: f64, height_m: f64) -> f64 {
    let radius = (litres / 1_000.0 / (std::f64::consts::PI * height_m)).sqrt();
    2.0 * std::f64::consts::PI * radius * (height_m + radius)
}

/// A loss seen at a store temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenLoss {
    /// Temperature of the store [°C].
    pub celsius: f64,
    /// Heat lost per time [W].
    pub watts: f64,
}

/// Loss coefficient [W/K] and effective temperature of the surroundings [°C]
/// from two losses seen in place; none if they do not rise with temperature.
pub fn two_point_fit(hot: SeenLoss, warm: SeenLoss) -> Option<(f64, f64)> {
    let slope = (hot.watts - warm.watts) / (hot.celsius - warm.celsius);
    (slope.is_finite() && slope > 0.0).then(|| (slope, hot.celsius - hot.watts / slope))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::water;

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    // HW-20, HW-23, HW-24: coefficients of Regulation (EU) No 812/2013, Annex
    // II, as restated by BDH information sheet 74 (2020).
    #[test]
    fn class_limits_in_watts() {
        let classes = [Class::APlus, Class::A, Class::B, Class::C, Class::D];
        for (litres, limits) in
            [(210.0, [32.3, 44.6, 62.3, 87.4, 108.7]), (300.0, [36.4, 50.1, 70.1, 98.2, 122.2])]
        {
            for (class, watts) in classes.into_iter().zip(limits) {
                close(class.limit_watts(litres), watts, 0.1);
            }
        }
        close(Class::C.limit_watts(1_000.0), 148.7, 0.1);
    }

    // HW-21, HW-22, HW-24: the same limits per day and per kelvin, recomputed.
    #[test]
    fn class_limits_per_day_and_per_kelvin() {
        for (class, litres, kwh, watts_per_kelvin) in [
            (Class::A, 210.0, 1.070, 0.991),
            (Class::B, 210.0, 1.496, 1.385),
            (Class::C, 210.0, 2.097, 1.942),
            (Class::C, 1_000.0, 3.568, 3.304),
        ] {
            let per_kelvin = class.limit_watts(litres) / TEST_DIFFERENCE_K;
            close(per_kelvin, watts_per_kelvin, 0.002);
            close(daily_kwh(per_kelvin, TEST_DIFFERENCE_K), kwh, 0.002);
        }
    }

    #[test]
    fn a_loss_at_the_limit_is_of_the_next_class() {
        let limit = Class::B.limit_watts(210.0);
        assert_eq!(class(210.0, limit - 0.01), Class::B);
        assert_eq!(class(210.0, limit), Class::C);
        assert_eq!(class(210.0, 10_000.0), Class::G);
        assert_eq!(class(210.0, label_watts(0.5)), Class::APlus);
    }

    // HW-30 to HW-33: SAP 10.2, section 4, Tables 2 and 2a, as quoted by
    // implementation notes.
    #[test]
    fn sap_cylinder_loss() {
        for (mm, factory, jacket) in
            [(25.0, 0.02397, 0.05156), (50.0, 0.01519, 0.03303), (80.0, 0.01155, 0.02397)]
        {
            close(sap_loss_factor(mm, false), factory, 1e-5);
            close(sap_loss_factor(mm, true), jacket, 1e-5);
        }
        for (litres, factor) in [(120.0, 1.0), (210.0, 0.8298), (300.0, 0.7368)] {
            close(sap_volume_factor(litres), factor, 1e-4);
        }
        close(sap_daily_kwh(210.0, 50.0, false), 2.646, 0.002);
        close(sap_daily_kwh(210.0, 50.0, false) * SAP_TEMPERATURE_FACTOR, 1.588, 0.002);
    }

    // HW-34: from memory of the Domestic Building Services Compliance Guide.
    #[test]
    fn compliance_ceiling() {
        close(compliance_ceiling_kwh(210.0), 2.302, 0.002);
        close(compliance_ceiling_kwh(300.0), 2.858, 0.002);
    }

    // HW-14: Faiman, Hazan & Laufer, Solar Energy 71 (2001) 87-93, publish
    // 1.22 m² for a diameter of 0.44 m and a height of 0.66 m; recomputed 1.216.
    #[test]
    fn area_of_a_cylinder() {
        let litres = std::f64::consts::PI * 0.22_f64.powi(2) * 0.66 * 1_000.0;
        close(cylinder_area_m2(litres, 0.66), 1.216, 0.001);
        close(cylinder_area_m2(litres, 0.66), 1.22, 0.0122);
    }

    // C08, common practice, no published source: 90 W at 60 °C, 45 W near 37 °C,
    // falling 0.5 K/h at 60 °C.
    #[test]
    fn two_losses_in_place_give_coefficient_and_surroundings() {
        let hot = SeenLoss { celsius: 60.0, watts: 90.0 };
        let warm = SeenLoss { celsius: 37.0, watts: 45.0 };
        let (coefficient, surroundings) = two_point_fit(hot, warm).expect("a rising loss");
        close(coefficient, 1.96, 0.05);
        close(surroundings, 14.0, 0.05);
        let litres = hot.watts / 1_000.0 / 0.5 / water::KWH_PER_LITRE_KELVIN;
        close(litres, 155.0, 1.0);
        let label = water::loss_from_daily(1.2, TEST_DIFFERENCE_K);
        close(coefficient / label, 1.8, 0.05);
        assert_eq!(two_point_fit(warm, SeenLoss { celsius: 60.0, watts: 45.0 }), None);
    }
}
