//! The temperatures of a tank's layers and the elementary moves on them.

mod weights;

pub(super) use weights::Shares;
use weights::{MAX_WEIGHTS, poisson};

/// Room beside the layers for neighbours outside the tank.
const PAD: usize = 24;

/// Layers whose sums are made together, so that they stay in registers.
const LANES: usize = 10;

/// Layer temperatures from bottom to top [°C], with room to work in.
///
/// No layer is ever warmer than the one above it.
#[derive(Debug, Clone)]
pub struct Water {
    layers: Vec<f64>,
    /// A row with room on both sides, so that neighbours outside the tank need no
    /// branch.
    row: Vec<f64>,
}

impl PartialEq for Water {
    fn eq(&self, other: &Self) -> bool {
        self.layers == other.layers
    }
}

/// What leaves a chain of layers while it is pushed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leaving {
    /// In the mean [°C].
    pub(super) mean: f64,
    /// At the end [°C].
    pub(super) last: f64,
}

impl Water {
    /// Water with a profile of any length, brought to a number of layers with
    /// its energy kept, and settled.
    pub fn new(profile: &[f64], layers: usize) -> Self {
        let row = vec![0.0; PAD + layers + LANES + PAD];
        let mut water = Self { layers: resample(profile, layers), row };
        water.settle();
        water
    }

    /// Temperatures from bottom to top [°C].
    pub fn layers(&self) -> &[f64] {
        &self.layers
    }

    /// Takes over the temperatures of a tank with as many layers.
    pub fn restore(&mut self, layers: &[f64]) {
        self.layers.copy_from_slice(layers);
    }

    /// Temperature at the top [°C].
    pub fn top(&self) -> f64 {
        self.layers[self.layers.len() - 1]
    }

    /// Whether so many layers at the top are warmer than a temperature.
    pub(super) fn stays_above(&self, temperature: f64, layers: usize) -> bool {
        self.is_deeper(self.layers.len(), temperature, layers)
    }

    /// Whether so many layers below one are warmer than a temperature, as is the water
    /// that a flow from the base brings there first.
    pub(super) fn is_deeper(&self, layer: usize, temperature: f64, layers: usize) -> bool {
        let lowest = layer.checked_sub(layers);
        lowest.is_some_and(|lowest| self.layers[lowest] > temperature)
    }

    /// Mixes all layers, as a pump from top to base does.
    pub fn mix(&mut self) {
        let mean = self.layers.iter().sum::<f64>() / self.layers.len() as f64;
        self.layers.fill(mean);
    }

    /// Warms one layer and lets the heat rise.
    pub(super) fn warm(&mut self, layer: usize, kelvin: f64) {
        self.layers[layer] += kelvin;
        self.settle_around(layer);
    }

    /// Moves heat from a layer to the one below it, by so much of its temperature [K].
    pub(super) fn sink(&mut self, layer: usize, kelvin: f64) {
        self.layers[layer] -= kelvin;
        self.layers[layer - 1] += kelvin;
    }

    /// Removes every inversion, keeping the energy: the layers of an inversion
    /// take their common mean.
    pub fn settle(&mut self) {
        for upper in 1..self.layers.len() {
            if self.layers[upper - 1] > self.layers[upper] {
                self.settle_around(upper - 1);
            }
        }
    }

    /// Pools a layer with those above that are colder and those below that are
    /// warmer.
    fn settle_around(&mut self, layer: usize) {
        let t = &mut self.layers;
        let (mut low, mut high) = (layer, layer + 1);
        let mut sum = t[layer];
        // The mean is compared as a sum, which spares a division for each layer.
        let mut count = 1.0;
        loop {
            if high < t.len() && t[high] * count < sum {
                sum += t[high];
                high += 1;
            } else if low > 0 && t[low - 1] * count > sum {
                low -= 1;
                sum += t[low];
            } else {
                if high - low > 1 {
                    t[low..high].fill(sum / count);
                }
                return;
            }
            count += 1.0;
        }
    }

    /// Pushes `volumes` layer volumes from `inlet` to `outlet` and returns the
    /// mean temperature at the outlet. Does not settle.
    pub(super) fn push(
        &mut self,
        inlet: usize,
        outlet: usize,
        volumes: f64,
        temperature: f64,
    ) -> f64 {
        let downward = inlet > outlet;
        let chain = &mut self.layers[inlet.min(outlet)..=inlet.max(outlet)];
        if downward {
            chain.reverse();
        }
        let mut weights = [0.0; MAX_WEIGHTS];
        let count = poisson(volumes, &mut weights);
        let left = leaving(chain, &weights[..count], volumes, temperature).mean;
        self.row[PAD - LANES..PAD].fill(0.0);
        for (y, t) in self.row[PAD..].iter_mut().zip(chain.iter()) {
            *y = t - temperature;
        }
        let (weights, row) = (&weights[..count], &self.row);
        in_blocks(chain, |at, sums: &mut [f64; LANES]| {
            *sums = [temperature; LANES];
            // Below the chain there is nothing but entering water.
            let count = count.min(at + LANES);
            let from = PAD + at;
            let excess = row[from + 1 - count..from + LANES].windows(LANES).rev();
            for (weight, excess) in weights.iter().zip(excess) {
                for lane in 0..LANES {
                    sums[lane] += weight * excess[lane];
                }
            }
        });
        if downward {
            chain.reverse();
        }
        left
    }

    /// What would leave at the top while `volumes` layer volumes are pushed up from
    /// the bottom.
    pub(super) fn leaving(&self, volumes: f64, temperature: f64) -> Leaving {
        let mut weights = [0.0; MAX_WEIGHTS];
        let count = poisson(volumes, &mut weights);
        leaving(&self.layers, &weights[..count], volumes, temperature)
    }

    /// Cools the lowest and the highest layer to a share of their excess over the
    /// surroundings. Does not settle.
    pub(super) fn cool_ends(&mut self, surroundings: f64, share: f64) {
        for end in [0, self.layers.len() - 1] {
            self.layers[end] = surroundings + (self.layers[end] - surroundings) * share;
        }
    }

    /// Exchanges heat between neighbours and with the surroundings, see [`Shares`].
    pub(super) fn conduct(&mut self, shares: &Shares, surroundings: f64) {
        let n = self.layers.len();
        let (count, own) = (shares.count, &shares.by_distance[..shares.count]);
        self.row[PAD..PAD + n].copy_from_slice(&self.layers);
        for j in 0..count - 1 {
            let mirrored = folded(j, n);
            self.row[PAD - 1 - j] = self.layers[mirrored];
            self.row[PAD + n + j] = self.layers[n - 1 - mirrored];
        }
        let (lost, row) = (surroundings * shares.lost, &self.row);
        in_blocks(&mut self.layers, |at, sums: &mut [f64; LANES]| {
            *sums = [lost; LANES];
            let from = PAD + at;
            let below = row[from + 1 - count..from + LANES].windows(LANES).rev();
            let above = row[from..from + LANES + count - 1].windows(LANES);
            for ((share, below), above) in own.iter().zip(below).zip(above) {
                for lane in 0..LANES {
                    sums[lane] += share * (below[lane] + above[lane]);
                }
            }
        });
    }
}

/// Computes layers block by block, each from its position on.
fn in_blocks(layers: &mut [f64], block: impl Fn(usize, &mut [f64; LANES])) {
    let (blocks, rest) = layers.as_chunks_mut::<LANES>();
    let whole = LANES * blocks.len();
    for (index, sums) in blocks.iter_mut().enumerate() {
        block(LANES * index, sums);
    }
    if !rest.is_empty() {
        let mut sums = [0.0; LANES];
        block(whole, &mut sums);
        for (t, sum) in rest.iter_mut().zip(sums) {
            *t = sum;
        }
    }
}

/// Position of a layer that stands as far beyond an end, mirrored there.
fn folded(mut beyond: usize, layers: usize) -> usize {
    loop {
        if beyond < layers {
            return beyond;
        }
        beyond -= layers;
        if beyond < layers {
            return layers - 1 - beyond;
        }
        beyond -= layers;
    }
}

/// Outflow of a chain of stirred layers: layer `n−1−j` leaves with the probability
/// that more than `j` volumes' worth of steps pass it.
fn leaving(chain: &[f64], weights: &[f64], volumes: f64, temperature: f64) -> Leaving {
    let top = chain[chain.len() - 1];
    if weights.len() < 2 {
        // Too little moves to change anything.
        return Leaving { mean: top, last: top };
    }
    let from_top = chain.iter().rev();
    let reach = (weights.len() - 1).min(chain.len());
    // What does not reach the top enters and leaves within.
    let mut tail: f64 = weights[reach + 1..].iter().sum();
    let (mut mean, mut last) = (0.0, 0.0);
    for (t, pair) in from_top.take(reach).rev().zip(weights[..=reach].windows(2).rev()) {
        tail += pair[1];
        mean += tail * (t - temperature);
        last += pair[0] * (t - temperature);
    }
    Leaving { mean: temperature + mean / volumes, last: temperature + last }
}

/// A profile brought to another number of equal layers by volume overlap.
fn resample(profile: &[f64], layers: usize) -> Vec<f64> {
    let ratio = profile.len() as f64 / layers as f64;
    (0..layers)
        .map(|layer| {
            let (low, high) = (layer as f64 * ratio, (layer + 1) as f64 * ratio);
            let first = low as usize;
            let last = (high.ceil() as usize).min(profile.len());
            let overlap = |i: usize| (high.min((i + 1) as f64) - low.max(i as f64)).max(0.0);
            (first..last).map(|i| profile[i] * overlap(i)).sum::<f64>() / ratio
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    #[test]
    fn resampling_keeps_the_energy() {
        let profile = [10.0, 20.0, 50.0];
        for layers in [1, 2, 3, 7, 20] {
            let water = Water::new(&profile, layers);
            close(water.layers().iter().sum::<f64>() / layers as f64, 80.0 / 3.0, 1e-12);
        }
    }

    #[test]
    fn an_inversion_takes_its_mean_and_reaches_as_far_as_it_must() {
        let water = Water::new(&[10.0, 40.0, 30.0, 20.0, 60.0], 5);
        assert_eq!(water.layers(), [10.0, 30.0, 30.0, 30.0, 60.0]);
        let water = Water::new(&[50.0, 20.0, 10.0], 3);
        close(water.layers()[0], 80.0 / 3.0, 1e-12);
        close(water.layers()[2], 80.0 / 3.0, 1e-12);
    }

    #[test]
    fn what_flows_out_is_what_the_layers_lose() {
        for (inlet, outlet) in [(0, 4), (4, 0), (1, 3), (2, 2)] {
            let mut water = Water::new(&[12.0, 20.0, 35.0, 50.0, 61.0], 5);
            let before: f64 = water.layers().iter().sum();
            let left = water.push(inlet, outlet, 0.7, 8.0);
            let after: f64 = water.layers().iter().sum();
            close(before - after, 0.7 * (left - 8.0), 1e-12);
        }
    }

    #[test]
    fn the_first_drop_has_the_temperature_of_the_top() {
        let water = Water::new(&[12.0, 61.0], 5);
        for volumes in [0.0, 1e-20, 1e-15, 1e-9] {
            close(water.leaving(volumes, 8.0).mean, 61.0, 1e-6);
        }
    }
}
