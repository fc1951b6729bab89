//! Boilers: fuel for heat.

use crate::site::Boiler;

impl Boiler {
    /// Fuel burnt for a heat [kWh].
    pub fn fuel_kwh(&self, heat_kwh: f64) -> f64 {
        heat_kwh / self.efficiency.value()
    }

    /// Price of its heat [minor/kWh], without the electricity of its pump.
    pub fn heat_price(&self) -> f64 {
        self.fuel_price.per_kwh() / self.efficiency.value()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Fuel;
    use crate::units::{Fraction, Power, Price, Temperature};

    // C48: 100 kWh of gas at 0.90 are 90 kWh of heat (closed form).
    #[test]
    fn fuel_follows_efficiency() {
        let boiler = Boiler {
            fuel: Fuel::Gas,
            fuel_price: Price::constant(7.2),
            efficiency: Fraction::constant(0.9),
            power: Power::constant(28.0),
            least_share: Fraction::constant(0.3),
            flow_limit: Temperature::constant(75.0),
            least_run_seconds: 300,
            auxiliary: Power::constant(0.1),
            back_up_only: false,
            serves: vec![],
        };
        assert!((boiler.fuel_kwh(90.0) - 100.0).abs() < 1e-12);
        assert!((boiler.heat_price() - 8.0).abs() < 1e-12);
    }
}
