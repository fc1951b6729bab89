//! Units that inputs may come in, and what they are made into.

use std::str::FromStr;

/// What is measured; its unit inside is in brackets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Temperature [°C].
    Temperature,
    /// Power [kW].
    Power,
    /// Energy, as a counter that only rises [kWh].
    Counter,
    /// State of charge, as a share of one.
    Share,
}

/// A unit that an input may come in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// What it measures.
    pub quantity: Quantity,
    /// Factor to the unit inside.
    factor: f64,
    /// Added before the factor is applied.
    shift: f64,
}

impl Unit {
    /// The number in the unit inside.
    pub fn convert(self, number: f64) -> f64 {
        (number + self.shift) * self.factor
    }
}

const KNOWN: [(&[&str], Quantity, f64, f64); 13] = [
    (&["°C", "degC", "Cel", "C"], Quantity::Temperature, 1.0, 0.0),
    (&["K"], Quantity::Temperature, 1.0, -273.15),
    (&["°F", "degF"], Quantity::Temperature, 5.0 / 9.0, -32.0),
    (&["d°C", "0.1 °C"], Quantity::Temperature, 0.1, 0.0),
    (&["W"], Quantity::Power, 1e-3, 0.0),
    (&["kW"], Quantity::Power, 1.0, 0.0),
    (&["Wh"], Quantity::Counter, 1e-3, 0.0),
    (&["kWh"], Quantity::Counter, 1.0, 0.0),
    (&["MWh"], Quantity::Counter, 1e3, 0.0),
    (&["J"], Quantity::Counter, 1.0 / 3.6e6, 0.0),
    (&["MJ"], Quantity::Counter, 1.0 / 3.6, 0.0),
    (&["%", "%EL", "percent"], Quantity::Share, 0.01, 0.0),
    (&["1", "of one"], Quantity::Share, 1.0, 0.0),
];

impl FromStr for Unit {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        KNOWN
            .iter()
            .find(|(names, ..)| names.contains(&text))
            .map(|&(_, quantity, factor, shift)| Self { quantity, factor, shift })
            .ok_or_else(|| {
                let names: Vec<_> = KNOWN.iter().map(|(names, ..)| names[0]).collect();
                format!("unit `{text}` is not known; use one of {}", names.join(", "))
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Exact by definition: BIPM, The International System of Units, 9th ed., 2019
    // (kelvin and degree Celsius, watt-hour); degree Fahrenheit by NIST SP 811, 2008.
    #[test]
    fn units_convert() {
        for (unit, number, expected) in [
            ("°C", 60.0, 60.0),
            ("K", 333.15, 60.0),
            ("°F", 140.0, 60.0),
            ("W", 3_000.0, 3.0),
            ("J", 3.6e6, 1.0),
            ("MJ", 3.6, 1.0),
            ("%", 55.0, 0.55),
        ] {
            let unit: Unit = unit.parse().expect("known");
            assert!((unit.convert(number) - expected).abs() < 1e-9, "{number} {unit:?}");
        }
        assert!("furlong".parse::<Unit>().expect_err("unknown").contains("°C"));
    }
}
