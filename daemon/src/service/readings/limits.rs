//! What inputs may physically be.

use optimiser::units::{Power, Volume};
use optimiser::water;

/// What an input may physically be, in the unit of its [`Quantity`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Smallest value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
    /// Fastest rise per minute.
    pub rise: f64,
    /// Fastest fall per minute; 0 for a counter.
    pub fall: f64,
    /// Steps up to this are noise and rounding.
    pub noise: f64,
    /// Older readings are not acted on [s].
    pub max_age_s: i64,
    /// Heat after which the value must have moved by more than noise [kWh].
    pub frozen_after_kwh: Option<f64>,
}

impl Limits {
    /// Of a probe in a store: what its heaters can do to the least water that may
    /// surround the probe, and a thermocline that passes within a few minutes of
    /// full draw. After the heat that warms all of the store by 10 K, it must move.
    pub fn of_probe(heaters: Power, around_probe: Volume, store: Volume) -> Self {
        Self {
            min: 1.0,
            max: 100.0,
            rise: rise_limit(heaters, around_probe),
            fall: 20.0,
            noise: 0.6,
            max_age_s: 900,
            frozen_after_kwh: Some(water::heat_kwh(store.litres(), 10.0)),
        }
    }

    /// Of a power that jumps as it likes, up to the fuse or the PV peak.
    pub fn of_power(most: Power) -> Self {
        let most = most.kw();
        Self {
            min: -most,
            max: most,
            rise: f64::MAX,
            fall: f64::MAX,
            noise: 0.0,
            max_age_s: 300,
            frozen_after_kwh: None,
        }
    }

    /// Of the air outside: no record of the Earth's surface lies beyond, and fronts
    /// and sunlight on the probe move it by a few kelvin a minute.
    pub fn of_outdoors() -> Self {
        Self {
            min: -60.0,
            max: 60.0,
            rise: 3.0,
            fall: 3.0,
            noise: 1.0,
            max_age_s: 3_600,
            frozen_after_kwh: None,
        }
    }

    /// Of heating water in a buffer that sources of this power heat: what they can do to
    /// half of it, and a circuit that opens and draws cold return into it.
    pub fn of_buffer(sources: Power, volume: Volume) -> Self {
        Self {
            min: 1.0,
            max: 110.0,
            rise: rise_limit(sources, Volume::clamped(volume.litres() * 0.5)),
            fall: 20.0,
            noise: 1.0,
            max_age_s: 900,
            frozen_after_kwh: None,
        }
    }

    /// Of the air of rooms: a radiator beside the probe warms it and an open window
    /// cools it by half a kelvin a minute (common practice, no published source).
    pub fn of_rooms() -> Self {
        Self {
            min: -10.0,
            max: 45.0,
            rise: 0.5,
            fall: 0.5,
            noise: 0.5,
            max_age_s: 1_800,
            frozen_after_kwh: None,
        }
    }

    /// Of pool water with an exchanger of this power: what that can do to a hundredth of
    /// it, which passes the probe, and as much the other way when the pump stops.
    pub fn of_pool(exchanger: Power, water: Volume) -> Self {
        let limit = rise_limit(exchanger, Volume::clamped(water.litres() * 0.01));
        Self {
            min: 0.0,
            max: 45.0,
            rise: limit,
            fall: limit,
            noise: 0.6,
            max_age_s: 3_600,
            frozen_after_kwh: None,
        }
    }

    /// Of solar collectors: they stand still in the sun at up to 250 °C, cool below the
    /// air at night, and jump when their pump starts.
    pub fn of_collectors() -> Self {
        Self {
            min: -40.0,
            max: 250.0,
            rise: 15.0,
            fall: 30.0,
            noise: 5.0,
            max_age_s: 600,
            frozen_after_kwh: None,
        }
    }

    /// Of an energy counter behind a connection of this power.
    pub fn of_counter(most: Power) -> Self {
        Self {
            min: 0.0,
            max: 1e7,
            rise: most.kw() / 60.0,
            fall: 0.0,
            noise: 0.1,
            max_age_s: 900,
            frozen_after_kwh: None,
        }
    }

    /// Of a battery's state of charge, from its power and capacity.
    pub fn of_charge(most: Power, capacity_kwh: f64) -> Self {
        let per_minute = most.kw() / 60.0 / capacity_kwh;
        Self {
            min: 0.0,
            max: 1.0,
            rise: per_minute,
            fall: per_minute,
            noise: 0.03,
            max_age_s: 600,
            frozen_after_kwh: None,
        }
    }
}

/// Fastest rise of water by heating [K/min]: `P / (V·c)`.
pub fn rise_limit(power: Power, volume: Volume) -> f64 {
    power.kw() / 60.0 / water::heat_kwh(volume.litres().max(1.0), 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    // C41: 6 kW over 50 L is 1.72 K/min.
    #[test]
    fn the_slope_limit_follows_from_heat_and_water() {
        let limit = rise_limit(Power::constant(6.0), Volume::constant(50.0));
        assert!((limit - 1.72).abs() < 0.005, "{limit}");
    }

    // 18 kW over half of 150 L: 18/60 kWh/min over 75 L·1.163 Wh/(L·K) is 3.44 K/min; 16 kW
    // over 1 % of 45 m³ is 0.51 K/min.
    #[test]
    fn buffer_and_pool_are_as_fast_as_what_heats_them() {
        let buffer = Limits::of_buffer(Power::constant(18.0), Volume::constant(150.0));
        assert!((buffer.rise - 3.44).abs() < 0.01, "{}", buffer.rise);
        let pool = Limits::of_pool(Power::constant(16.0), Volume::clamped(44_800.0));
        assert!((pool.rise - 0.512).abs() < 0.005, "{}", pool.rise);
    }
}
