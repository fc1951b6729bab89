//! Quantities that cannot hold NaN, infinity or a value outside physics.
//!
//! Each type wraps one `f64` in the unit its constructor names. Numbers from
//! outside enter through `new`, which refuses what is not finite or not in
//! range; only operations with a physical meaning are offered.

use std::fmt;

/// A number that was refused at the gate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// The number is NaN or infinite.
    #[error("{quantity} is {value}, not a finite number")]
    NotFinite {
        /// Name of the quantity.
        quantity: &'static str,
        /// The number as it arrived.
        value: f64,
    },
    /// The number lies outside the range of the quantity.
    #[error("{quantity} {value} {unit} is outside {min} to {max} {unit}")]
    OutOfRange {
        /// Name of the quantity.
        quantity: &'static str,
        /// The number as it arrived.
        value: f64,
        /// Unit of the number.
        unit: &'static str,
        /// Smallest value accepted.
        min: f64,
        /// Largest value accepted.
        max: f64,
    },
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $getter:ident, $unit:literal, $label:literal, $min:expr, $max:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Unit of the number that `new` takes and the getter returns.
            pub const UNIT: &'static str = $unit;
            /// Smallest value accepted.
            pub const MIN: f64 = $min;
            /// Largest value accepted.
            pub const MAX: f64 = $max;

            /// Takes a number in
            #[doc = concat!("[", $unit, "].")]
            ///
            /// # Errors
            /// If the number is not finite or lies outside `MIN..=MAX`.
            pub fn new(value: f64) -> Result<Self, UnitError> {
                if !value.is_finite() {
                    return Err(UnitError::NotFinite { quantity: $label, value });
                }
                if !(Self::MIN..=Self::MAX).contains(&value) {
                    return Err(UnitError::OutOfRange {
                        quantity: $label, value, unit: $unit, min: Self::MIN, max: Self::MAX,
                    });
                }
                Ok(Self(value))
            }

            /// A value fixed in the source code.
            ///
            /// # Panics
            /// If the value is out of range, which a constant never is.
            pub const fn constant(value: f64) -> Self {
                assert!(value >= $min && value <= $max, "constant out of range");
                Self(value)
            }

            /// The nearest representable value; NaN becomes the smallest magnitude.
            /// For numbers that the program computed, never for input.
            pub fn clamped(value: f64) -> Self {
                if value.is_nan() { Self(0.0_f64.clamp($min, $max)) } else { Self(value.clamp($min, $max)) }
            }

            /// The value in
            #[doc = concat!("[", $unit, "].")]
            pub const fn $getter(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                write!(f, " {}", $unit)
            }
        }
    };
}

quantity!(
    /// Power; never negative, the direction is in the name of the variable [kW].
    Power, kw, "kW", "power", 0.0, 1_000.0
);
quantity!(
    /// Energy; never negative, the direction is in the name of the variable [kWh].
    Energy, kwh, "kWh", "energy", 0.0, 1e6
);
quantity!(
    /// Temperature [°C].
    Temperature, celsius, "°C", "temperature", -60.0, 150.0
);
quantity!(
    /// Volume of water [L].
    Volume, litres, "L", "volume", 0.0, 1e6
);
quantity!(
    /// Volume flow [L/min].
    Flow, litres_per_minute, "L/min", "flow", 0.0, 1_000.0
);
quantity!(
    /// Heat loss per kelvin [W/K].
    HeatLoss, watts_per_kelvin, "W/K", "heat loss", 0.0, 10_000.0
);
quantity!(
    /// Heat that passes for each kelvin of difference [W/K].
    Conductance, watts_per_kelvin, "W/K", "conductance", 0.0, 100_000.0
);
quantity!(
    /// Price of energy, in the minor currency unit; may be negative.
    Price, per_kwh, "minor/kWh", "price", -100_000.0, 100_000.0
);
quantity!(
    /// Share of a whole, 0 to 1.
    Fraction, value, "of one", "fraction", 0.0, 1.0
);
quantity!(
    /// Electric current [A].
    Current, amperes, "A", "current", 0.0, 10_000.0
);
quantity!(
    /// Irradiance, on whatever plane the name of the variable says [W/m²].
    Irradiance, watts_per_m2, "W/m²", "irradiance", 0.0, 2_000.0
);
quantity!(
    /// Wind speed [m/s].
    WindSpeed, metres_per_second, "m/s", "wind speed", 0.0, 120.0
);
quantity!(
    /// Angle in the plane that the name of the variable says [°].
    Angle, degrees, "°", "angle", -360.0, 360.0
);
quantity!(
    /// Relative change of a power per kelvin [1/K].
    PowerCoefficient, per_kelvin, "1/K", "temperature coefficient", -0.02, 0.0
);

impl Temperature {
    /// Difference to another temperature [K].
    pub fn above(self, other: Self) -> f64 {
        self.0 - other.0
    }
}

impl Power {
    /// Energy at this power for a number of hours.
    pub fn over_hours(self, hours: f64) -> Energy {
        Energy::clamped(self.0 * hours)
    }

    /// Current of a resistive single-phase load at a voltage [V].
    pub fn current_at(self, volts: f64) -> Current {
        Current::clamped(self.0 * 1_000.0 / volts)
    }

    /// Power of a resistive load rated at `rated` [V] when fed at `actual` [V]:
    /// it follows the voltage squared.
    #[must_use]
    pub fn at_voltage(self, rated: f64, actual: f64) -> Self {
        Self::clamped(self.0 * (actual / rated).powi(2))
    }

    /// The smaller of two powers.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        if other.0 < self.0 { other } else { self }
    }
}

impl Current {
    /// Power that this current carries at a voltage [V] on a number of phases.
    pub fn power_at(self, volts: f64, phases: u8) -> Power {
        Power::clamped(self.0 * volts * f64::from(phases) / 1_000.0)
    }
}

impl Energy {
    /// Cost at a price [minor].
    pub fn cost_at(self, price: Price) -> f64 {
        self.0 * price.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    #[test]
    fn not_a_number_never_gets_in() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(matches!(Price::new(value), Err(UnitError::NotFinite { .. })));
            assert!(Power::new(value).is_err());
            assert!(Temperature::new(value).is_err());
        }
        assert!(!Power::clamped(f64::NAN).kw().is_nan());
    }

    #[test]
    fn a_refusal_names_quantity_value_and_range() {
        let text = Power::new(-3.0).expect_err("negative power").to_string();
        assert_eq!(text, "power -3 kW is outside 0 to 1000 kW");
    }

    #[test]
    fn a_price_may_be_negative() {
        close(Price::new(-18.5).expect("a price").per_kwh(), -18.5, 0.0);
    }

    // EL-01: current of 3, 6 and 9 kW at 230 V, recomputed from I = P/U.
    #[test]
    fn element_currents() {
        for (kw, amperes) in [(3.0, 13.04), (6.0, 26.09), (9.0, 39.13)] {
            close(Power::constant(kw).current_at(230.0).amperes(), amperes, 0.01);
        }
    }

    // EL-02, EL-03: resistive power follows the voltage squared, recomputed.
    #[test]
    fn power_follows_voltage_squared() {
        let element = Power::constant(3.0);
        close(element.at_voltage(230.0, 216.2).kw(), 2.651, 0.001);
        close(element.at_voltage(230.0, 253.0).kw(), 3.630, 0.001);
        close(element.at_voltage(230.0, 240.0).kw(), 3.267, 0.001);
    }

    // EL-04: main fuse at unity power factor. EL-06: Engineering Recommendation
    // G98, 16 A per phase. EL-07: 9 kW spread over three phases.
    #[test]
    fn fuse_and_export_limits() {
        for (amperes, kw) in [(60.0, 13.8), (80.0, 18.4), (100.0, 23.0)] {
            close(Current::constant(amperes).power_at(230.0, 1).kw(), kw, 1e-12);
        }
        close(Current::constant(16.0).power_at(230.0, 1).kw(), 3.68, 1e-12);
        close(Current::constant(16.0).power_at(230.0, 3).kw(), 11.04, 1e-12);
        close(Power::constant(9.0 / 3.0).current_at(230.0).amperes(), 13.04, 0.01);
    }
}
