//! A few layers of water, just good enough to make sample temperatures look
//! like temperatures. No result rests on it.

use optimiser::schedule::StorePlan;
use optimiser::site::Store;
use optimiser::units::{Energy, Price, Temperature};
use optimiser::water::{KWH_PER_LITRE_KELVIN, heat_kwh};

const LAYERS: usize = 10;

pub(super) struct Tank<'a> {
    store: &'a Store,
    layers: Vec<f64>,
}

impl<'a> Tank<'a> {
    /// A tank with `hot` water over mains water.
    pub(super) fn new(store: &'a Store, hot: f64, hot_layers: usize) -> Self {
        let cold = store.mains.celsius() + 8.0;
        let layers = (0..LAYERS).map(|i| if i + hot_layers < LAYERS { cold } else { hot });
        Self { store, layers: layers.collect() }
    }

    pub(super) fn temperatures(&self) -> Vec<Temperature> {
        self.layers.iter().map(|&t| Temperature::clamped(t)).collect()
    }

    fn layer_litres(&self) -> f64 {
        self.store.volume.litres() / LAYERS as f64
    }

    /// Heat that an element may still bring in before it reaches its limit [kWh].
    pub(super) fn room(&self, element: usize) -> f64 {
        let reach = self.store.reach(&self.store.elements[element]).celsius();
        let above = self.layers[self.base(element)..].iter();
        above.map(|t| heat_kwh(self.layer_litres(), (reach - t).max(0.0))).sum()
    }

    fn base(&self, element: usize) -> usize {
        (self.store.elements[element].height.value() * LAYERS as f64) as usize
    }

    /// Warms the layers above an element, the coldest first.
    pub(super) fn heat(&mut self, element: usize, kwh: f64) {
        let base = self.base(element);
        let steps = 50;
        let kelvin = kwh / f64::from(steps) / (self.layer_litres() * KWH_PER_LITRE_KELVIN);
        for _ in 0..steps {
            let coldest = self.layers[base..].iter().copied().fold(f64::INFINITY, f64::min);
            let joined = |t: &&mut f64| **t < coldest + 0.3;
            let count = self.layers[base..].iter_mut().filter(joined).count() as f64;
            self.layers[base..].iter_mut().filter(joined).for_each(|t| *t += kelvin / count);
        }
    }

    /// Draws litres at the use temperature; returns the heat that came cold [kWh].
    pub(super) fn draw(&mut self, litres: f64) -> f64 {
        let (cold, useful) = (self.store.mains.celsius(), self.store.use_temperature.celsius());
        let mut unmet = 0.0;
        for _ in 0..litres.ceil() as usize {
            let part = litres / litres.ceil();
            let top = self.layers[LAYERS - 1];
            let hot = (part * (useful - cold) / (top - cold).max(1.0)).min(part);
            unmet += heat_kwh(part, (useful - top).max(0.0));
            let share = hot / self.layer_litres();
            for i in (0..LAYERS).rev() {
                let below = if i == 0 { cold } else { self.layers[i - 1] };
                self.layers[i] += share * (below - self.layers[i]);
            }
        }
        unmet
    }

    pub(super) fn cool(&mut self, hours: f64) {
        let per_kelvin = self.store.heat_loss.watts_per_kelvin() / 1_000.0 / LAYERS as f64;
        let around = self.store.surroundings.celsius();
        let capacity = self.layer_litres() * KWH_PER_LITRE_KELVIN;
        self.layers.iter_mut().for_each(|t| *t -= per_kelvin * (*t - around) * hours / capacity);
    }

    pub(super) fn plan(&self, unmet_kwh: f64, value: f64) -> StorePlan {
        let (cold, useful) = (self.store.mains.celsius(), self.store.use_temperature.celsius());
        let stored = self.layers.iter().map(|t| heat_kwh(self.layer_litres(), t - cold)).sum();
        let hot = self.layers.iter().filter(|&&t| t >= useful);
        StorePlan {
            stored: Energy::clamped(stored),
            top: Temperature::clamped(self.layers[LAYERS - 1]),
            bottom: Temperature::clamped(self.layers[0]),
            usable_litres: hot.map(|t| self.layer_litres() * (t - cold) / (useful - cold)).sum(),
            unmet_kwh,
            value: Price::clamped(value),
        }
    }
}
