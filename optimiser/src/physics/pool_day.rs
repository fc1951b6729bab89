//! A winter day for pools: which assumptions ask for how much heat. Days and
//! figures are those of the project's pool cases (common practice, recomputed).

use std::cell::Cell;
use std::f64::consts::PI;

use super::pool::PoolWeather;
use crate::site::Pool;

/// Length of a step [h].
const STEP_H: f64 = 0.5;

/// A day of −2 to +6 °C, 85 % humidity and some sun from 8 to 16 h.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WinterDay {
    /// Wind at the surface [m/s].
    pub wind: f64,
    /// From when to when the pool lies open [h]; under its cover otherwise.
    pub open: (f64, f64),
}

/// Mean and highest loss over a day [kW].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holding {
    /// Steady heat that brings the pool back to its start each day.
    pub mean: f64,
    /// Loss of the worst half-hour on the way, without its sun.
    pub worst: f64,
}

impl WinterDay {
    /// Air at an hour of the day [°C].
    pub fn air(hour: f64) -> f64 {
        2.0 - 4.0 * (2.0 * PI * (hour - 5.0) / 24.0).cos()
    }

    /// Weather at an hour since midnight of the first day.
    pub fn weather(&self, hour: f64) -> PoolWeather {
        let hour = hour.rem_euclid(24.0);
        let sunny = (8.0..16.0).contains(&hour);
        PoolWeather {
            air: Self::air(hour),
            humidity: 0.85,
            wind: self.wind,
            sun: if sunny { 300.0 * (PI * (hour - 8.0) / 8.0).sin() } else { 0.0 },
            covered: if (self.open.0..self.open.1).contains(&hour) { 0.0 } else { 1.0 },
        }
    }

    /// Water [°C] after some hours from midnight, with a heat [kW] by hour and
    /// water; explicit half-hours with the weather of each step's start.
    pub fn after(
        &self,
        pool: &Pool,
        start: f64,
        hours: f64,
        heat: impl Fn(f64, f64) -> f64,
    ) -> f64 {
        let mut water = start;
        for step in 0..(hours / STEP_H) as usize {
            let hour = STEP_H * step as f64;
            let gain = heat(hour, water) - pool.loss_kw(water, &self.weather(hour));
            water += STEP_H * gain / pool.capacity_kwh_per_k();
        }
        water
    }

    /// Heat that holds a temperature [°C].
    pub fn holding(&self, pool: &Pool, celsius: f64) -> Holding {
        let dull = |hour| PoolWeather { sun: 0.0, ..self.weather(hour) };
        let hours = (0..48).map(|step| STEP_H * f64::from(step));
        let losses = hours.map(|hour| pool.loss_kw(celsius, &dull(hour)));
        // Sunlight never brings a kilowatt to a square metre.
        let (mut low, mut high) = (-pool.surface_m2, losses.fold(0.0, f64::max));
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.after(pool, celsius, 24.0, |_, _| middle) < celsius {
                low = middle;
            } else {
                high = middle;
            }
        }
        let mean = 0.5 * (low + high);
        let worst = Cell::new(f64::MIN);
        self.after(pool, celsius, 24.0, |hour, water| {
            worst.set(worst.get().max(pool.loss_kw(water, &dull(hour))));
            mean
        });
        Holding { mean, worst: worst.get() }
    }
}
