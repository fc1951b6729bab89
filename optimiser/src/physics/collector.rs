//! Heat of flat-plate collectors (efficiency curve of EN ISO 9806).

use crate::site::Collectors;

impl Collectors {
    /// Efficiency `η₀ − a₁·ΔT/G − a₂·ΔT²/G` with the mean fluid `kelvin` above
    /// the air, at an irradiance [W/m²]; below zero where it loses more than
    /// it gains.
    pub fn efficiency(&self, kelvin: f64, irradiance: f64) -> f64 {
        self.gain(kelvin, irradiance) / irradiance
    }

    /// Heat of a square metre [W/m²]; negative where the fluid is hotter than
    /// the sun can make it. A sky without light only cools.
    fn gain(&self, kelvin: f64, irradiance: f64) -> f64 {
        // The quadratic loss has no meaning for a fluid colder than the air.
        let quadratic = self.a2 * kelvin * kelvin.max(0.0);
        self.eta0.value() * irradiance - self.a1 * kelvin - quadratic
    }

    /// Temperature [°C] of the collector with its pump off: what it gains it loses.
    pub fn stagnation(&self, air: f64, irradiance: f64) -> f64 {
        let gain = self.eta0.value() * irradiance;
        let (a1, a2) = (self.a1.max(1e-6), self.a2);
        air + 2.0 * gain / (a1 + (a1 * a1 + 4.0 * a2 * gain).sqrt())
    }

    /// Heat [kW] into a sink of a temperature through an exchanger that passes
    /// `conductance` [kW/K] between the mean fluid and the sink: negative where
    /// the sink would be cooled.
    pub fn heat_kw(&self, sink: f64, conductance: f64, air: f64, irradiance: f64) -> f64 {
        // With the fluid `k` above the air, `conductance·(k − (sink − air))` is the gain of
        // the area: a quadratic in `k`, a line where the fluid is colder than the air.
        let area = self.area_m2 / 1_000.0;
        let driving = area * self.eta0.value() * irradiance + conductance * (sink - air);
        let linear = conductance + area * self.a1;
        let root = (linear * linear + 4.0 * area * self.a2 * driving.max(0.0)).sqrt();
        area * self.gain(2.0 * driving / (linear + root), irradiance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::SolarPriority;
    use crate::units::{Angle, Flow, Fraction, Power, Temperature};

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    fn collectors(eta0: f64, a1: f64, a2: f64) -> Collectors {
        Collectors {
            area_m2: 4.0,
            eta0: Fraction::clamped(eta0),
            a1,
            a2,
            tilt: Angle::constant(45.0),
            azimuth: Angle::constant(180.0),
            flow: Flow::constant(4.0),
            pump: Power::constant(0.05),
            start_difference_k: 8.0,
            stop_difference_k: 4.0,
            limit: Temperature::constant(80.0),
            priority: SolarPriority::Absolute,
            serves: vec![],
        }
    }

    // SO-16 to SO-18: EN ISO 9806, recomputed; the parameters of SO-17 are a
    // tube collector's of a secondary source. Below zero the pump must be off.
    #[test]
    fn efficiencies() {
        let flat = collectors(0.8, 3.5, 0.015);
        close(flat.efficiency(40.0, 800.0), 0.595, 1e-12);
        close(flat.heat_kw(60.0, 1e9, 20.0, 800.0), 1.904, 1e-6);
        close(collectors(0.774, 1.64, 0.0).efficiency(40.0, 800.0), 0.692, 1e-12);
        close(flat.efficiency(60.0, 300.0), -0.08, 1e-12);
        assert!(flat.heat_kw(70.0, 1.0, 10.0, 300.0) < 0.0);
    }

    // SO-19: stagnation, recomputed.
    #[test]
    fn stagnation_is_where_nothing_is_gained() {
        let flat = collectors(0.8, 3.5, 0.015);
        close(flat.stagnation(20.0, 1_000.0) - 20.0, 142.1, 0.1);
        close(flat.efficiency(flat.stagnation(20.0, 1_000.0) - 20.0, 1_000.0), 0.0, 1e-9);
        close(flat.stagnation(7.0, 0.0), 7.0, 1e-12);
    }

    // By definition: the heat is what the collector gives at the temperature
    // at which the exchanger passes just that.
    #[test]
    fn an_exchanger_costs_a_little() {
        let flat = collectors(0.8, 3.5, 0.015);
        let heat = flat.heat_kw(45.0, 0.2, 15.0, 700.0);
        let kelvin = 45.0 + heat / 0.2 - 15.0;
        close(4.0e-3 * flat.gain(kelvin, 700.0), heat, 1e-9);
        assert!(heat < flat.heat_kw(45.0, 1e9, 15.0, 700.0));
    }
}
