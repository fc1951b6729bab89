//! Worth of what is left at the end of the horizon.

use super::{Band, Problem};
use crate::units::{Energy, Price, Temperature};
use crate::water::KWH_PER_LITRE_KELVIN;

/// A step of a concave value function: `width` of energy worth `value` each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ValueStep {
    /// Energy that this step covers.
    pub width: Energy,
    /// Worth of each kWh in it.
    pub value: Price,
}

/// What energy left at the end of the horizon is worth, in falling steps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct EndValue {
    /// For each store, worth of heat above mains temperature.
    pub stores: Vec<Vec<ValueStep>>,
    /// Worth of energy stored in the battery above its reserve.
    pub battery: Vec<ValueStep>,
    /// Worth of heat in the buffer above the temperature around it.
    pub buffer: Vec<ValueStep>,
    /// Worth of heat in the rooms above the lowest comfort of the last slot.
    pub rooms: Vec<ValueStep>,
    /// Worth of heat in the pool above the lowest comfort of the last slot.
    pub pool: Vec<ValueStep>,
}

/// What end values of buffer, rooms and pool count from: heat for each kelvin
/// [kWh/K] and temperature [°C].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct EndBases {
    pub(crate) buffer: (f64, f64),
    pub(crate) rooms: (f64, f64),
    pub(crate) pool: (f64, f64),
}

impl Problem {
    /// Heat that buffer, rooms and pool hold for each kelvin [kWh/K], and the
    /// temperature [°C] from which their end values count; zero where there is none.
    pub(crate) fn end_bases(&self) -> EndBases {
        let room = &self.site.plant_room;
        let last = self.horizon.len().saturating_sub(1);
        let low = |aim: Option<Band>, other: f64| aim.map_or(other, |band| band.low.celsius());
        let here = &self.state.plant_room;
        let (mass, pool) = (here.rooms.map(|own| own.mass), here.pool);
        let celsius = |t: Option<Temperature>| t.map_or(0.0, Temperature::celsius);
        EndBases {
            buffer: room.buffer.as_ref().map_or((0.0, 0.0), |own| {
                (own.volume.litres() * KWH_PER_LITRE_KELVIN, own.surroundings.celsius())
            }),
            rooms: room.rooms.map_or((0.0, 0.0), |own| {
                (own.capacity_kwh_per_k, low(self.comfort.rooms_aim(last), celsius(mass)))
            }),
            pool: room.pool.map_or((0.0, 0.0), |own| {
                (own.capacity_kwh_per_k(), low(self.comfort.pool_aim(last), celsius(pool)))
            }),
        }
    }
}
