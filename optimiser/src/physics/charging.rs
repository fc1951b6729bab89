//! How far and how fast a source heats a store through a coil, for design checks.

use super::coil::SPREAD_K;
use crate::site::{Boiler, Coil, HeatPump};
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

/// Step of the integration [h].
const STEP_H: f64 = 1.0 / 60.0;

/// A store that is not warm after so long is never warm [h].
const LONGEST_H: f64 = 72.0;

/// A source that heats through a coil.
#[derive(Debug, Clone, Copy)]
pub enum Charger<'s> {
    /// A heat pump with its source at a temperature.
    HeatPump(&'s HeatPump, Temperature),
    /// A boiler.
    Boiler(&'s Boiler),
}

/// Mixed water around a coil that loses to its surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charged {
    /// Water above the lower end of the coil [L].
    pub litres: f64,
    /// Loss of that part [W/K].
    pub loss_w_per_k: f64,
    /// Temperature around it [°C].
    pub surroundings: f64,
}

/// What heating up took.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Charge {
    /// Time [h].
    pub hours: f64,
    /// Heat into the water [kWh].
    pub heat: f64,
    /// Electricity [kWh].
    pub electricity: f64,
    /// Fuel [kWh].
    pub fuel: f64,
}

/// What a source gives at an instant [kW].
struct Output {
    heat: f64,
    electricity: f64,
    fuel: f64,
}

impl Charger<'_> {
    /// Hottest water [°C] that it makes around a coil: its hottest flow, less what
    /// drives its least heat through the coil.
    pub fn highest_water(&self, coil: &Coil) -> f64 {
        let (limit, least) = match self {
            Self::HeatPump(pump, source) => {
                let limit = pump.flow_limit.celsius();
                let capacity = pump.at(source.celsius(), limit).capacity_kw;
                (limit, pump.least_share.value() * capacity)
            }
            // A burner may cycle.
            Self::Boiler(boiler) => (boiler.flow_limit.celsius(), 0.0),
        };
        limit - 0.5 * SPREAD_K - least * 1_000.0 / coil.transfer.watts_per_kelvin()
    }

    /// Time, heat and energy from one temperature of the water to another [°C];
    /// `None` if it never gets there.
    pub fn heat_up(&self, coil: &Coil, part: &Charged, from: f64, to: f64) -> Option<Charge> {
        let capacity = part.litres * KWH_PER_LITRE_KELVIN;
        let (mut water, mut charge) = (from, Charge::default());
        while water < to {
            let output = self.output(coil, water)?;
            let loss = part.loss_w_per_k * (water - part.surroundings) / 1_000.0;
            let rise = (output.heat - loss) * STEP_H / capacity;
            if rise <= 0.0 || charge.hours > LONGEST_H {
                return None;
            }
            let share = ((to - water) / rise).min(1.0);
            water += rise;
            charge.hours += share * STEP_H;
            charge.heat += share * output.heat * STEP_H;
            charge.electricity += share * output.electricity * STEP_H;
            charge.fuel += share * output.fuel * STEP_H;
        }
        Some(charge)
    }

    fn output(&self, coil: &Coil, water: f64) -> Option<Output> {
        match self {
            Self::HeatPump(pump, source) => {
                let (source, limit) = (source.celsius(), pump.flow_limit.celsius());
                let mut flow = limit;
                let mut heat = 0.0;
                // Capacity falls gently with the flow: a few rounds settle both.
                for _ in 0..4 {
                    heat = pump.at(source, flow).capacity_kw.min(coil.heat_kw(limit, water));
                    flow = coil.flow_for(heat, water).min(limit);
                }
                let operation = pump.at(source, flow);
                let least = pump.least_share.value() * operation.capacity_kw;
                (heat > 0.0 && heat >= least * (1.0 - 1e-6)).then(|| Output {
                    heat,
                    electricity: heat / operation.cop + pump.auxiliary.kw(),
                    fuel: 0.0,
                })
            }
            Self::Boiler(boiler) => {
                let limit = boiler.flow_limit.celsius();
                let heat = boiler.power.kw().min(coil.heat_kw(limit, water));
                (heat > 0.0).then(|| Output {
                    heat,
                    electricity: boiler.auxiliary.kw(),
                    fuel: boiler.fuel_kwh(heat),
                })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{HeatSource, Performance, RatingPoint, Sink};
    use crate::units::{Conductance, Energy, Fraction, Power};

    fn pump(kw: f64, least: f64) -> HeatPump {
        HeatPump {
            name: "ground".to_owned(),
            source: HeatSource::Ground,
            performance: Performance::Points(vec![RatingPoint {
                source: Temperature::constant(0.0),
                flow: Temperature::constant(35.0),
                capacity: Power::clamped(kw),
                cop: 3.0,
            }]),
            flow_limit: Temperature::constant(60.0),
            least_share: Fraction::clamped(least),
            defrost_loss: Fraction::constant(0.0),
            start_loss: Energy::constant(0.0),
            least_run_seconds: 0,
            least_rest_seconds: 0,
            auxiliary: Power::constant(0.0),
            serves: vec![Sink::Coil { store: 0, coil: 0 }],
        }
    }

    fn coil(watts_per_kelvin: f64) -> Coil {
        Coil {
            bottom: Fraction::constant(0.0),
            top: Fraction::constant(0.5),
            transfer: Conductance::clamped(watts_per_kelvin),
        }
    }

    const LOSSLESS: Charged = Charged { litres: 150.0, loss_w_per_k: 0.0, surroundings: 20.0 };

    // C25: 150 L from 10 to 50 °C are 6.98 kWh, 1.55 h with 4.5 kW; common practice,
    // no published source.
    #[test]
    fn a_cylinder_keeps_a_small_unit_busy() {
        let pump = pump(4.5, 1.0);
        let charger = Charger::HeatPump(&pump, Temperature::constant(0.0));
        let charge = charger.heat_up(&coil(2_000.0), &LOSSLESS, 10.0, 50.0).expect("in reach");
        assert!((charge.heat - 6.978).abs() < 0.01, "{charge:?}");
        assert!((charge.hours - 1.55).abs() < 0.01, "{charge:?}");
        assert!((charge.electricity - charge.heat / 3.0).abs() < 1e-9);
    }

    // Closed form: 60 °C less half of 5 K less 4.5 kW over 600 W/K are 50 °C; at a
    // third of its heat 55 °C.
    #[test]
    fn a_small_coil_keeps_the_water_below_the_flow_limit() {
        for (least, expected) in [(1.0, 50.0), (1.0 / 3.0, 55.0)] {
            let pump = pump(4.5, least);
            let charger = Charger::HeatPump(&pump, Temperature::constant(0.0));
            assert!((charger.highest_water(&coil(600.0)) - expected).abs() < 1e-9);
            let reach = |to| charger.heat_up(&coil(600.0), &LOSSLESS, 10.0, to);
            assert!(reach(expected - 0.2).is_some());
            assert!(reach(expected + 0.5).is_none());
        }
    }
}
