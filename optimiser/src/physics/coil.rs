//! Coils and exchangers: heat passed by a mean temperature difference.

use crate::site::Coil;

/// Flow minus return of a heating circuit [K] (EN 14511 rates heat pumps so).
pub const SPREAD_K: f64 = 5.0;

/// Mean difference at which a plate exchanger passes its rated heat [K]
/// (common practice, no published source).
pub const EXCHANGER_K: f64 = 10.0;

/// Heat that a coil passes for each kelvin [W/K], from a rating: heat [kW] with
/// the mean of flow and return so many kelvin above the water around it.
pub fn from_rating(kw: f64, kelvin: f64) -> f64 {
    kw * 1_000.0 / kelvin
}

/// Heat that an exchanger passes for each kelvin [kW/K], from its rated heat [kW].
pub fn exchanger(rated_kw: f64) -> f64 {
    rated_kw / EXCHANGER_K
}

impl Coil {
    /// Heat [kW] that it passes with a flow temperature, around water of another.
    pub fn heat_kw(&self, flow: f64, water: f64) -> f64 {
        self.transfer.watts_per_kelvin() / 1_000.0 * (flow - 0.5 * SPREAD_K - water).max(0.0)
    }

    /// Flow temperature [°C] that passes a heat [kW] into water of a temperature.
    pub fn flow_for(&self, kw: f64, water: f64) -> f64 {
        water + 0.5 * SPREAD_K + kw * 1_000.0 / self.transfer.watts_per_kelvin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Conductance, Fraction};

    // Closed form: 12 kW at 20 K is 600 W/K; the flow of a heat is that which passes it.
    #[test]
    fn a_rating_and_its_inverse() {
        let transfer = from_rating(12.0, 20.0);
        assert!((transfer - 600.0).abs() < 1e-9);
        let coil = Coil {
            bottom: Fraction::constant(0.1),
            top: Fraction::constant(0.4),
            transfer: Conductance::clamped(transfer),
        };
        assert!((coil.heat_kw(coil.flow_for(7.0, 43.0), 43.0) - 7.0).abs() < 1e-12);
        assert!(coil.heat_kw(40.0, 45.0) <= 0.0);
    }
}
