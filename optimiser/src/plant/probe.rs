//! Temperature probes with noise, delay and steps, repeatable from a seed.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use super::tank::Tank;
use crate::units::{Fraction, Temperature};

/// A probe in a store.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probe {
    /// Height as a share of the store's height.
    pub height: Fraction,
    /// Standard deviation of its noise [K].
    pub noise_k: f64,
    /// Readings by which it lags behind.
    pub delay: usize,
    /// Step of its readings [K]; zero for none.
    pub step_k: f64,
}

/// A probe together with the readings still under way.
#[derive(Debug, Clone)]
pub struct ProbeReader {
    probe: Probe,
    under_way: VecDeque<f64>,
    random: Random,
}

impl ProbeReader {
    /// A reader whose noise follows from the seed alone.
    pub fn new(probe: Probe, seed: u64) -> Self {
        Self { probe, under_way: VecDeque::new(), random: Random(seed) }
    }

    /// Takes the layers as they are now and returns what the probe shows; at
    /// first, until its delay has passed, the oldest it knows.
    pub fn read(&mut self, tank: &Tank, layers: &[f64]) -> Temperature {
        self.under_way.push_back(layers[tank.layer_at(self.probe.height.value())]);
        if self.under_way.len() > self.probe.delay + 1 {
            self.under_way.pop_front();
        }
        let noisy = self.under_way[0] + self.probe.noise_k * self.random.normal();
        let step = self.probe.step_k;
        Temperature::clamped(if step > 0.0 { (noisy / step).round() * step } else { noisy })
    }
}

/// SplitMix64: Steele, Lea and Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014, doi:10.1145/2660193.2660195.
#[derive(Debug, Clone)]
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in (0, 1].
    fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal, by Box and Muller, 1958, doi:10.1214/aoms/1177706645.
    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (TAU * self.uniform()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn probe(noise_k: f64, delay: usize, step_k: f64) -> Probe {
        Probe { height: Fraction::constant(0.5), noise_k, delay, step_k }
    }

    fn tank() -> Tank {
        Tank::new(200.0, 1.5, 10, 1.5, 20.0, 0.64)
    }

    // First outputs for seed 0, as published with the reference C code of
    // SplitMix64 (Vigna, prng.di.unimi.it; from memory).
    #[test]
    fn the_generator_is_the_published_one() {
        let mut random = Random(0);
        assert_eq!(random.next(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(random.next(), 0x6e78_9e6a_a1b9_65f4);
    }

    #[test]
    fn noise_has_its_size_and_repeats() {
        let layers = [50.0; 10];
        let mut reader = ProbeReader::new(probe(0.4, 0, 0.0), 7);
        let mut twin = reader.clone();
        let readings: Vec<f64> =
            (0..20_000).map(|_| reader.read(&tank(), &layers).celsius() - 50.0).collect();
        let mean = readings.iter().sum::<f64>() / readings.len() as f64;
        let spread = (readings.iter().map(|x| x * x).sum::<f64>() / readings.len() as f64).sqrt();
        assert!(mean.abs() < 0.02, "mean {mean}");
        assert!((spread - 0.4).abs() < 0.01, "spread {spread}");
        assert!((twin.read(&tank(), &layers).celsius() - 50.0 - readings[0]).abs() < 1e-12);
    }

    #[test]
    fn a_delayed_probe_lags_and_a_coarse_one_steps() {
        let mut reader = ProbeReader::new(probe(0.0, 2, 0.5), 1);
        let shown: Vec<f64> = [40.2, 41.1, 42.0, 43.0]
            .iter()
            .map(|t| reader.read(&tank(), &[*t; 10]).celsius())
            .collect();
        assert_eq!(shown, [40.0, 40.0, 40.0, 41.0]);
    }
}
