//! The temperatures of a tank's layers and the elementary moves on them.

/// Most terms of a Poisson or exponential series.
pub(super) const MAX_WEIGHTS: usize = 24;

/// Poisson weights below this carry no heat worth counting.
const LEAST_WEIGHT: f64 = 1e-18;

/// Layer temperatures from bottom to top [°C], with room to work in.
///
/// No layer is ever warmer than the one above it.
#[derive(Debug, Clone)]
pub struct Water {
    layers: Vec<f64>,
    /// Two padded rows; the padding is always zero, so that neighbours outside
    /// the tank need no branch.
    rows: [Vec<f64>; 2],
    /// Time integral of the excess of each layer, while it is taken.
    summed: Vec<f64>,
}

impl PartialEq for Water {
    fn eq(&self, other: &Self) -> bool {
        self.layers == other.layers
    }
}

impl Water {
    /// Water with a profile of any length, brought to a number of layers with
    /// its energy kept, and settled.
    pub fn new(profile: &[f64], layers: usize) -> Self {
        let row = vec![0.0; layers + MAX_WEIGHTS + 1];
        let mut water = Self {
            layers: resample(profile, layers),
            rows: [row.clone(), row],
            summed: vec![0.0; layers],
        };
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
        let lowest = self.layers.len().checked_sub(layers);
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
        let left = mean_outflow(chain, &weights[..count], volumes, temperature);
        let [row, _] = &mut self.rows;
        let excess = &mut row[..MAX_WEIGHTS + chain.len()];
        for (y, t) in excess[MAX_WEIGHTS..].iter_mut().zip(chain.iter()) {
            *y = t - temperature;
        }
        chain.fill(temperature);
        for (back, weight) in weights[..count].iter().enumerate() {
            for (t, y) in chain.iter_mut().zip(&excess[MAX_WEIGHTS - back..]) {
                *t += weight * y;
            }
        }
        if downward {
            chain.reverse();
        }
        left
    }

    /// Mean temperature at the top while `volumes` layer volumes are pushed up
    /// from the bottom, without pushing them.
    pub(super) fn outlet_mean(&self, volumes: f64, temperature: f64) -> f64 {
        let mut weights = [0.0; MAX_WEIGHTS];
        let count = poisson(volumes, &mut weights);
        mean_outflow(&self.layers, &weights[..count], volumes, temperature)
    }

    /// Applies `exp(A·t)` to the excess over the surroundings, with `A`
    /// tridiagonal: `terms` terms of the series. Returns the time integral of
    /// `loss·excess` [K], which is what left; it matches the series exactly.
    /// Does not settle.
    pub(super) fn relax(
        &mut self,
        diagonal: &[f64],
        exchange: f64,
        loss: &[f64],
        surroundings: f64,
        hours: f64,
        terms: usize,
    ) -> f64 {
        let n = self.layers.len();
        let [this, next] = &mut self.rows;
        // The padding row of `push` is read below its first value only.
        let (mut this, mut next) =
            (&mut this[MAX_WEIGHTS - 1..][..n + 2], &mut next[MAX_WEIGHTS - 1..][..n + 2]);
        for (x, t) in this[1..=n].iter_mut().zip(&self.layers) {
            *x = t - surroundings;
        }
        this[n + 1] = 0.0;
        next[n + 1] = 0.0;
        let summed = &mut self.summed[..n];
        summed.fill(0.0);
        let (diagonal, layers) = (&diagonal[..n], &mut self.layers[..n]);
        for term in 1..=terms {
            let scale = hours / term as f64;
            for i in 0..n {
                let x = scale * this[i + 1];
                let more = diagonal[i] * x + exchange * scale * (this[i] + this[i + 2]);
                summed[i] += x;
                next[i + 1] = more;
                layers[i] += more;
            }
            std::mem::swap(&mut this, &mut next);
        }
        loss.iter().zip(summed.iter()).map(|(g, x)| g * x).sum()
    }
}

/// Fills in `e^{−a}·a^j/j!` and returns how many weights matter.
fn poisson(a: f64, weights: &mut [f64; MAX_WEIGHTS]) -> usize {
    let mut weight = (-a).exp();
    for (j, slot) in weights.iter_mut().enumerate() {
        if j > 0 {
            weight *= a / j as f64;
        }
        if weight < LEAST_WEIGHT {
            return j;
        }
        *slot = weight;
    }
    MAX_WEIGHTS
}

/// Mean outflow of a chain of stirred layers: layer `n−1−j` leaves with the
/// probability that more than `j` volumes' worth of steps pass it.
fn mean_outflow(chain: &[f64], weights: &[f64], volumes: f64, temperature: f64) -> f64 {
    if weights.len() < 2 {
        // Too little moves to change anything.
        return chain[chain.len() - 1];
    }
    let mut tail = 0.0;
    let mut left = 0.0;
    for j in (0..weights.len() - 1).rev() {
        tail += weights[j + 1];
        if j < chain.len() {
            left += tail * (chain[chain.len() - 1 - j] - temperature);
        }
    }
    temperature + left / volumes
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
            close(water.outlet_mean(volumes, 8.0), 61.0, 1e-6);
        }
    }
}
