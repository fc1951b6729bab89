//! A vertical tank as N equal layers, bottom to top.
//!
//! Between two events the layers obey, for capacity `C` of a layer, conductance
//! `G = k_eff·A/Δx` between neighbours and loss `UA_i`,
//!
//! `C·dT_i/dt = Q_i + F·c·(T_{i−1} − T_i) + G·(T_{i−1} − 2T_i + T_{i+1}) − UA_i·(T_i − T_a)`
//!
//! and no layer is warmer than the one above it. Each term is carried out
//! exactly on its own, so that a step may be long:
//!
//! - flow through N stirred layers has a closed solution with Poisson weights
//!   in the litres moved, whatever the time ([`Tank::pass`]); N sets the mixing;
//! - loss and conduction are a constant linear operator, applied as its
//!   exponential series ([`Tank::stand`]);
//! - heat rises until nothing warmer lies below anything colder; where it ends
//!   depends only on how much there is ([`Tank::heat`]).
//!
//! Node model as in Duffie and Beckman, *Solar Engineering of Thermal
//! Processes* (storage chapter, from memory). Heat sources and flows arrive as
//! plain lists, so coils, loops and heat pumps join without a change here.

use std::f64::consts::PI;

use super::water::{MAX_WEIGHTS, Water};
use crate::site::Store;
use crate::water::{KWH_PER_LITRE_KELVIN, heat_kwh};

/// Most layer volumes that one pass of the closed solution moves.
const LONGEST_PASS: f64 = 2.0;

/// Largest product of operator norm and time in one exponential series.
const LONGEST_SERIES: f64 = 1.0;

/// Size of the first neglected term of the series, relative to the temperatures.
const SERIES_TOLERANCE: f64 = 1e-10;

/// Most of a layer that flows through in one step together with other terms.
pub(super) const STEP_LAYERS: f64 = 0.25;

/// Longest step while heat and flow act together [s]: the layer at the source
/// is then short of its share by a step's flow at most.
pub(super) const STEP_SECONDS: f64 = 10.0;

/// Longest step while heat acts alone [s].
const HEATING_SECONDS: f64 = 300.0;

/// Most that a layer may equalise with its neighbour in such a step: the layer
/// at the source conducts downward all the while that it is kept warm.
const HEATING_EXCHANGE: f64 = 0.006;

/// Fixed coefficients of a tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Tank {
    layer_litres: f64,
    /// Heat capacity of a layer [kWh/K].
    capacity: f64,
    /// Exchange between neighbours [1/h].
    exchange: f64,
    /// Loss of each layer [1/h].
    loss: Vec<f64>,
    /// Diagonal of the operator of loss and conduction [1/h].
    diagonal: Vec<f64>,
    /// Bound of the norm of that operator [1/h].
    norm: f64,
    surroundings: f64,
}

/// Heat into one layer at constant power, up to a temperature of that layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heat {
    /// Layer that the source stands in, from 0 at the bottom.
    pub layer: usize,
    /// Power; negative where heat is taken out [kW].
    pub kw: f64,
    /// The layer is not heated beyond this temperature [°C].
    pub limit: f64,
    /// What it gave so far [kWh]; [`Tank::heat`] adds to it.
    pub given_kwh: f64,
}

/// Water that enters one layer, passes all between and leaves another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stream {
    /// Layer it enters.
    pub inlet: usize,
    /// Layer it leaves; may lie above or below.
    pub outlet: usize,
    /// Flow [L/min].
    pub litres_per_minute: f64,
    /// Temperature at which it enters [°C].
    pub temperature: f64,
}

/// Heat that left a tank in one advance [kWh].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Outflow {
    /// To the surroundings.
    pub lost_kwh: f64,
    /// With the streams: what left minus what entered.
    pub carried_kwh: f64,
}

impl Tank {
    /// The tank of a store, with an effective vertical conductivity [W/(m·K)].
    pub fn of(store: &Store, conductivity: f64) -> Self {
        Self::new(
            store.volume.litres(),
            store.height_m,
            store.layers,
            store.heat_loss.watts_per_kelvin(),
            store.surroundings.celsius(),
            conductivity,
        )
    }

    /// A tank of a volume [L], height [m], loss [W/K], temperature around it
    /// [°C] and effective vertical conductivity [W/(m·K)]. The loss is spread
    /// by surface, so the lowest and highest layer bear their caps.
    pub fn new(
        litres: f64,
        height_m: f64,
        layers: usize,
        watts_per_kelvin: f64,
        surroundings: f64,
        conductivity: f64,
    ) -> Self {
        let n = layers as f64;
        let layer_litres = litres / n;
        let capacity = layer_litres * KWH_PER_LITRE_KELVIN;
        let section = litres / 1_000.0 / height_m;
        let side = 2.0 * (PI * section).sqrt() * height_m;
        let per_surface = watts_per_kelvin / 1_000.0 / (side + 2.0 * section);
        let exchange = conductivity / 1_000.0 * section / (height_m / n) / capacity;
        let mut loss = vec![per_surface * side / n / capacity; layers];
        loss[0] += per_surface * section / capacity;
        loss[layers - 1] += per_surface * section / capacity;
        let diagonal: Vec<f64> = (0..layers)
            .map(|i| {
                let neighbours = f64::from(u8::from(i > 0)) + f64::from(u8::from(i + 1 < layers));
                -neighbours * exchange - loss[i]
            })
            .collect();
        let norm = diagonal.iter().fold(0.0_f64, |norm, d| norm.max(-d)) * 2.0;
        Self { layer_litres, capacity, exchange, loss, diagonal, norm, surroundings }
    }

    /// Number of layers.
    pub fn layers(&self) -> usize {
        self.loss.len()
    }

    /// Water content of a layer [L].
    pub fn layer_litres(&self) -> f64 {
        self.layer_litres
    }

    /// Longest step while heat acts alone [s].
    pub(super) fn heating_seconds(&self) -> f64 {
        HEATING_SECONDS.min(HEATING_EXCHANGE / self.exchange * 3_600.0)
    }

    /// Layer at a height given as a share of the whole. An element at the top of
    /// the lowest layer still counts as in it, as [`Store::lowest_heated`] says.
    ///
    /// [`Store::lowest_heated`]: crate::site::Store::lowest_heated
    pub fn layer_at(&self, height: f64) -> usize {
        if height * self.layers() as f64 <= 1.0 + 1e-9 {
            return 0;
        }
        // A height on a boundary belongs to the layer above it, in spite of rounding.
        ((height * self.layers() as f64 + 1e-9) as usize).min(self.layers() - 1)
    }

    /// Heat above a reference temperature [kWh].
    pub fn content_kwh(&self, layers: &[f64], reference: f64) -> f64 {
        layers.iter().map(|t| t - reference).sum::<f64>() * self.capacity
    }

    /// Litres mixed at `wanted` that could be drawn now, from the top down
    /// while the water is at least as warm as `wanted`.
    pub fn usable_litres(&self, layers: &[f64], wanted: f64, mains: f64) -> f64 {
        layers
            .iter()
            .rev()
            .take_while(|t| **t >= wanted)
            .map(|t| crate::water::mixed_litres_per_litre(*t, wanted, mains))
            .sum::<f64>()
            * self.layer_litres
    }

    /// Heat that brings a layer, and all above it that is colder, to a
    /// temperature [kWh].
    pub fn headroom_kwh(&self, layers: &[f64], layer: usize, limit: f64) -> f64 {
        layers[layer..].iter().map_while(|t| (*t < limit).then_some(limit - t)).sum::<f64>()
            * self.capacity
    }

    /// Runs heat sources for a time [h], one after the other; the heat rises.
    pub fn heat(&self, water: &mut Water, hours: f64, heats: &mut [Heat]) {
        for heat in heats.iter_mut().filter(|heat| heat.kw != 0.0) {
            self.give(water, heat, heat.kw * hours);
        }
    }

    /// Brings sources to what is due a time [h] after a step began, with what they
    /// found no room for before. `before` is what each had given when the step
    /// began [kWh]. The upper ones come first: what a lower one gives then rises
    /// into water as warm as it will be, as if both had given all along.
    pub(super) fn heat_due(
        &self,
        water: &mut Water,
        hours: f64,
        heats: &mut [Heat],
        before: impl Fn(usize) -> f64,
    ) {
        let mut above = usize::MAX;
        while let Some(layer) =
            heats.iter().filter(|h| h.kw != 0.0 && h.layer < above).map(|h| h.layer).max()
        {
            above = layer;
            for (index, heat) in heats.iter_mut().enumerate() {
                if heat.kw != 0.0 && heat.layer == layer {
                    let left = heat.kw * hours - (heat.given_kwh - before(index));
                    self.give(water, heat, left);
                }
            }
        }
    }

    /// Lets a source give an amount [kWh], as far as there is room.
    fn give(&self, water: &mut Water, heat: &mut Heat, kwh: f64) {
        let given = kwh.min(self.headroom_kwh(water.layers(), heat.layer, heat.limit));
        heat.given_kwh += given;
        water.warm(heat.layer, given / self.capacity);
    }

    /// Moves water through the tank and returns the mean temperature at which
    /// it left [°C].
    ///
    /// For `a` layer volumes through stirred layers in series, with `y` the
    /// excess over the entering water: `y_i ← Σ_j e^{−a}·a^j/j!·y_{i−j}`.
    pub fn pass(
        &self,
        water: &mut Water,
        inlet: usize,
        outlet: usize,
        litres: f64,
        temperature: f64,
    ) -> f64 {
        if litres <= 0.0 {
            return water.layers()[outlet];
        }
        let volumes = litres / self.layer_litres;
        let parts = (volumes / LONGEST_PASS).ceil().max(1.0);
        let mut left = 0.0;
        for _ in 0..parts as usize {
            left += water.push(inlet, outlet, volumes / parts, temperature);
        }
        water.settle();
        left / parts
    }

    /// Mean temperature [°C] that a draw of some litres from the top would
    /// have, with water of a temperature entering at the bottom.
    pub fn outlet_mean(&self, water: &Water, litres: f64, temperature: f64) -> f64 {
        water.outlet_mean((litres / self.layer_litres).min(LONGEST_PASS), temperature)
    }

    /// Lets the tank stand for a time [h] and returns the heat lost [kWh].
    pub fn stand(&self, water: &mut Water, hours: f64) -> f64 {
        let parts = (self.norm * hours / LONGEST_SERIES).ceil().max(1.0);
        let hours = hours / parts;
        let reach = self.norm * hours;
        let mut terms: usize = 1;
        let mut size = reach;
        while size > SERIES_TOLERANCE && terms < MAX_WEIGHTS {
            terms += 1;
            size *= reach / terms as f64;
        }
        let mut lost = 0.0;
        for _ in 0..parts as usize {
            lost += water.relax(
                &self.diagonal,
                self.exchange,
                &self.loss,
                self.surroundings,
                hours,
                terms,
            );
        }
        water.settle();
        lost * self.capacity
    }

    /// Advances by a time [s] with heat sources and streams of constant flow.
    pub fn advance(
        &self,
        water: &mut Water,
        seconds: f64,
        heats: &mut [Heat],
        streams: &[Stream],
    ) -> Outflow {
        let flow: f64 = streams.iter().map(|s| s.litres_per_minute).sum();
        let by_flow = flow * seconds / 60.0 / self.layer_litres / STEP_LAYERS;
        let by_time = match (heats.is_empty(), flow > 0.0) {
            (true, _) => 0.0,
            (false, false) => seconds / self.heating_seconds(),
            (false, true) => seconds / STEP_SECONDS,
        };
        let steps = by_flow.max(by_time).ceil().max(1.0);
        let hours = seconds / 3_600.0 / steps;
        let mut out = Outflow::default();
        let mut before = vec![0.0; heats.len()];
        for _ in 0..steps as usize {
            for (given, heat) in before.iter_mut().zip(heats.iter()) {
                *given = heat.given_kwh;
            }
            self.heat(water, 0.5 * hours, heats);
            for stream in streams {
                let litres = stream.litres_per_minute * hours * 60.0;
                let left =
                    self.pass(water, stream.inlet, stream.outlet, litres, stream.temperature);
                out.carried_kwh += heat_kwh(litres, left - stream.temperature);
            }
            out.lost_kwh += self.stand(water, hours);
            self.heat_due(water, hours, heats, |index| before[index]);
        }
        out
    }
}

#[cfg(test)]
mod tests;
