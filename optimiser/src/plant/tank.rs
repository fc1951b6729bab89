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
//! - conduction between equal layers, and a loss that is the same for each, are a
//!   constant linear operator with a closed exponential: Bessel weights, mirrored at
//!   both ends. What the caps lose beyond that is taken half before and half after
//!   ([`Tank::stand`]);
//! - heat rises until nothing warmer lies below anything colder; where it ends
//!   depends only on how much there is ([`Tank::heat`]).
//!
//! Node model as in Duffie and Beckman, *Solar Engineering of Thermal
//! Processes* (storage chapter, from memory). Heat sources and flows arrive as
//! plain lists, so coils, loops and heat pumps join without a change here.

mod standing;

use std::f64::consts::PI;

pub(in crate::plant) use standing::Standings;

use super::water::{Leaving, Water};
use crate::site::Store;
use crate::water::{KWH_PER_LITRE_KELVIN, heat_kwh};

/// Most layer volumes that one pass of the closed solution moves.
const LONGEST_PASS: f64 = 2.0;

/// Most of a layer that flows through in one step together with other terms.
pub(super) const STEP_LAYERS: f64 = 0.25;

/// Longest step while heat and flow act together [s]: the layer at the source
/// is then short of its share by a step's flow at most.
pub(super) const STEP_SECONDS: f64 = 10.0;

/// Longest step while heat acts alone [s].
const HEATING_SECONDS: f64 = 600.0;

/// Most that a layer may equalise with its neighbour in such a step.
const HEATING_EXCHANGE: f64 = 0.03;

/// A layer that is colder than the one above it by no more is kept warm by its source [K].
const KEPT_K: f64 = 1e-6;

/// Fixed coefficients of a tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Tank {
    layer_litres: f64,
    /// Heat capacity of a layer [kWh/K].
    capacity: f64,
    /// Exchange between neighbours [1/h].
    exchange: f64,
    /// Number of layers.
    layers: usize,
    /// Loss of each layer through the side [1/h].
    side_loss: f64,
    /// Loss of the lowest and the highest layer through their caps [1/h].
    cap_loss: f64,
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
        Self {
            layer_litres,
            capacity,
            exchange,
            layers,
            side_loss: per_surface * side / n / capacity,
            cap_loss: per_surface * section / capacity,
            surroundings,
        }
    }

    /// Number of layers.
    pub fn layers(&self) -> usize {
        self.layers
    }

    /// Water content of a layer [L].
    pub fn layer_litres(&self) -> f64 {
        self.layer_litres
    }

    /// Longest step while heat acts alone [s].
    pub(super) fn heating_seconds(&self) -> f64 {
        // Parts of a second that add up without rounding, so that steps are equal.
        let seconds = HEATING_SECONDS.min(HEATING_EXCHANGE / self.exchange * 3_600.0);
        (seconds * 64.0).floor() / 64.0
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
        (sum(layers) - layers.len() as f64 * reference) * self.capacity
    }

    /// Litres mixed at `wanted` that could be drawn now, from the top down
    /// while the water is at least as warm as `wanted`.
    pub fn usable_litres(&self, layers: &[f64], wanted: f64, mains: f64) -> f64 {
        let hot = layers.iter().rev().take_while(|t| **t >= wanted).count();
        let hot = &layers[layers.len() - hot..];
        let mean = sum(hot) / hot.len().max(1) as f64;
        let litres = hot.len() as f64 * self.layer_litres;
        litres * crate::water::mixed_litres_per_litre(mean, wanted, mains)
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
        let mut active = heats.iter_mut().enumerate().filter(|(_, heat)| heat.kw != 0.0);
        let Some((index, heat)) = active.next() else { return };
        if active.next().is_none() {
            let left = heat.kw * hours - (heat.given_kwh - before(index));
            return self.give(water, heat, left);
        }
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

    /// Moves the heat [K] that conducts downward from a layer because its source keeps it as
    /// warm as the water above it: while the tank stands for a time [h] it only cools, by
    /// `a·ΔT` for an exchange `a`, and so conducts `½·a²·ΔT` too little.
    pub(super) fn keep_warm(&self, water: &mut Water, hours: f64, heats: &[Heat]) {
        let exchanged = self.exchange * hours;
        for heat in heats.iter().filter(|heat| heat.kw > 0.0 && heat.layer > 0) {
            let (layer, t) = (heat.layer, water.layers());
            if t.get(layer + 1).is_none_or(|above| above - t[layer] <= KEPT_K) {
                let kelvin = 0.5 * exchanged * exchanged * (t[layer] - t[layer - 1]);
                water.sink(layer, kelvin);
            }
        }
    }

    /// Lets a source give an amount [kWh], as far as there is room.
    fn give(&self, water: &mut Water, heat: &mut Heat, kwh: f64) {
        let wished = kwh / self.capacity;
        let mut room = 0.0;
        for t in &water.layers()[heat.layer..] {
            if room >= wished || *t >= heat.limit {
                break;
            }
            room += heat.limit - t;
        }
        let kelvin = wished.min(room);
        heat.given_kwh += kelvin * self.capacity;
        water.warm(heat.layer, kelvin);
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

    /// Temperature [°C] that a draw of some litres from the top would have, in the mean
    /// and at its end, with water of a temperature entering at the bottom.
    pub(super) fn leaving(&self, water: &Water, litres: f64, temperature: f64) -> Leaving {
        water.leaving((litres / self.layer_litres).min(LONGEST_PASS), temperature)
    }

    /// Lets the tank stand for a time [h] and returns the heat lost [kWh].
    pub fn stand(&self, water: &mut Water, hours: f64) -> f64 {
        self.stand_as(water, &self.standing(hours))
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
            self.keep_warm(water, hours, heats);
            out.lost_kwh += self.stand(water, hours);
            self.heat_due(water, hours, heats, |index| before[index]);
        }
        out
    }
}

/// Sum of layers, in lanes that need not wait for each other.
fn sum(layers: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let blocks = layers.chunks_exact(4);
    let rest: f64 = blocks.remainder().iter().sum();
    for block in blocks {
        for (lane, t) in lanes.iter_mut().zip(block) {
            *lane += t;
        }
    }
    lanes.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests;
