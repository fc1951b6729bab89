//! The ladder of one store: zones by height, rungs by temperature.
//!
//! Zones are numbered from the bottom and cut at the height of every element.
//! Rungs are fixed temperatures `θ_1 < … < θ_K` above the mains temperature
//! `θ_0`. The state `H[z,k]` is the volume of zone `z` at or above `θ_k`.

use crate::site::Store;
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

/// Geometry and constants of one store's ladder.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ladder {
    /// Volume of each zone `V_z` [L].
    pub(crate) volumes: Vec<f64>,
    /// Loss of each zone `UA_z` [W/K].
    pub(crate) losses: Vec<f64>,
    /// `θ_0, θ_1, …, θ_K` [°C].
    pub(crate) temperatures: Vec<f64>,
    /// Temperature around the store [°C].
    surroundings: f64,
    /// Lowest zone that each element heats.
    pub(crate) element_zone: Vec<usize>,
    /// Highest rung that each element reaches.
    pub(crate) element_rung: Vec<usize>,
    /// Lowest zone that each coil heats.
    pub(crate) coil_zone: Vec<usize>,
    /// Zone that the water of the return loop comes back to.
    pub(crate) return_zone: usize,
    /// Rung of the use temperature.
    pub(crate) use_rung: usize,
}

impl Ladder {
    pub(crate) fn new(store: &Store) -> Self {
        let mut cuts = vec![0.0];
        let elements = store.elements.iter().map(|e| e.height.value());
        let coils = store.coils.iter().map(|coil| coil.bottom.value());
        let mut heights: Vec<f64> = elements.chain(coils).collect();
        heights.sort_by(f64::total_cmp);
        let lowest_layer = 1.0 / store.layers as f64;
        for height in heights {
            let above_last = height - cuts.last().copied().unwrap_or(0.0);
            if height > lowest_layer && above_last > 1e-6 {
                cuts.push(height);
            }
        }
        let zone_of = |height: f64| cuts.iter().rposition(|&cut| cut <= height + 1e-6).unwrap_or(0);
        let tops = cuts.iter().skip(1).copied().chain([1.0]);
        let shares: Vec<f64> = cuts.iter().zip(tops).map(|(bottom, top)| top - bottom).collect();
        let mut temperatures = vec![store.mains.celsius()];
        temperatures.extend(store.rungs().iter().map(|t| t.celsius()));
        let rung_below =
            |limit: f64| temperatures.iter().rposition(|&t| t <= limit + 1e-6).unwrap_or(0);
        Self {
            volumes: shares.iter().map(|share| share * store.volume.litres()).collect(),
            losses: surface_shares(store, &shares)
                .into_iter()
                .map(|share| share * store.heat_loss.watts_per_kelvin())
                .collect(),
            surroundings: store.surroundings.celsius(),
            element_zone: store.elements.iter().map(|e| zone_of(e.height.value())).collect(),
            element_rung: store
                .elements
                .iter()
                .map(|e| rung_below(store.reach(e).celsius()))
                .collect(),
            coil_zone: store.coils.iter().map(|coil| zone_of(coil.bottom.value())).collect(),
            return_zone: store.return_loop.map_or(0, |own| zone_of(own.return_height.value())),
            use_rung: rung_below(store.use_temperature.celsius()),
            temperatures,
        }
    }

    pub(crate) fn zones(&self) -> usize {
        self.volumes.len()
    }

    /// Number of rungs `K` above the mains temperature.
    pub(crate) fn rungs(&self) -> usize {
        self.temperatures.len() - 1
    }

    /// Heat to lift one litre from rung `k−1` to `k` [kWh].
    pub(crate) fn step_kwh(&self, rung: usize) -> f64 {
        KWH_PER_LITRE_KELVIN * (self.temperatures[rung] - self.temperatures[rung - 1])
    }

    /// Heat of one litre at a rung above mains [kWh].
    pub(crate) fn litre_kwh(&self, rung: usize) -> f64 {
        KWH_PER_LITRE_KELVIN * (self.temperatures[rung] - self.temperatures[0])
    }

    /// Share of the litres at rung `k` of zone `z` that fall to rung `k−1` in
    /// a number of hours:
    /// `d = UA_z·(θ_k − T_a)·Δt / (V_z·c·(θ_k − θ_{k−1}))`, energy-exact.
    pub(crate) fn decay(&self, zone: usize, rung: usize, hours: f64) -> f64 {
        let warmer = (self.temperatures[rung] - self.surroundings).max(0.0);
        let lost_kwh = self.losses[zone] * warmer * hours / 1_000.0;
        (lost_kwh / (self.volumes[zone] * self.step_kwh(rung))).min(1.0)
    }

    /// Lowest rung at or above a temperature, if there is one.
    pub(crate) fn rung_for(&self, temperature: Temperature) -> Option<usize> {
        (1..=self.rungs()).find(|&k| self.temperatures[k] >= temperature.celsius() - 1e-6)
    }

    /// Litres at or above each rung, `[z][k−1]`, of a profile of equal layers
    /// from bottom to top. Water between two rungs is split so that its heat
    /// is kept; water above the last rung counts as at the last rung.
    pub(crate) fn litres(&self, profile: &[Temperature]) -> Vec<Vec<f64>> {
        let layers = profile.len() as f64;
        let total: f64 = self.volumes.iter().sum();
        let mut bottom = 0.0;
        self.volumes
            .iter()
            .map(|volume| {
                let top = bottom + volume / total;
                let mut litres = vec![0.0; self.rungs()];
                for (index, temperature) in profile.iter().enumerate() {
                    let low = (index as f64 / layers).max(bottom);
                    let high = ((index + 1) as f64 / layers).min(top);
                    if high > low {
                        self.spread(temperature.celsius(), (high - low) * total, &mut litres);
                    }
                }
                // Rounding must not put more water into a zone than it holds.
                for own in &mut litres {
                    *own = own.min(*volume);
                }
                bottom = top;
                litres
            })
            .collect()
    }

    fn spread(&self, temperature: f64, volume: f64, litres: &mut [f64]) {
        for k in 1..=self.rungs() {
            let (low, high) = (self.temperatures[k - 1], self.temperatures[k]);
            litres[k - 1] += volume * ((temperature - low) / (high - low)).clamp(0.0, 1.0);
        }
    }
}

/// Shares of the surface of an upright cylinder that horizontal slices have,
/// bottom and top included.
fn surface_shares(store: &Store, heights: &[f64]) -> Vec<f64> {
    let area = store.volume.litres() / 1_000.0 / store.height_m;
    let side = 2.0 * (std::f64::consts::PI * area).sqrt() * store.height_m;
    let whole = side + 2.0 * area;
    let last = heights.len() - 1;
    heights
        .iter()
        .enumerate()
        .map(|(index, height)| {
            let caps = usize::from(index == 0) + usize::from(index == last);
            (side * height + area * caps as f64) / whole
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{Control, Element};
    use crate::units::{Fraction, HeatLoss, Power, Volume};

    fn store() -> Store {
        let element = |name: &str, height| Element {
            name: name.to_owned(),
            power: Power::constant(3.0),
            height: Fraction::constant(height),
            control: Control::OnOff,
            thermostat: Temperature::constant(70.0),
        };
        Store {
            name: "cylinder".to_owned(),
            volume: Volume::constant(240.0),
            height_m: 1.5,
            heat_loss: HeatLoss::constant(2.0),
            surroundings: Temperature::constant(18.0),
            mains: Temperature::constant(10.0),
            use_temperature: Temperature::constant(40.0),
            ceiling: Temperature::constant(75.0),
            cut_out: None,
            held_back: Volume::constant(0.0),
            destratification_pump: false,
            layers: 20,
            elements: vec![element("low", 0.1), element("high", 0.63)],
            coils: Vec::new(),
            return_loop: None,
        }
    }

    fn heat(ladder: &Ladder, litres: &[Vec<f64>]) -> f64 {
        let zone_heat = |zone: &Vec<f64>| -> f64 {
            zone.iter().enumerate().map(|(k, l)| l * ladder.step_kwh(k + 1)).sum()
        };
        litres.iter().map(zone_heat).sum()
    }

    // From the definition of heat content; the layers do not match the zones.
    #[test]
    fn the_initial_split_keeps_the_heat() {
        let ladder = Ladder::new(&store());
        let celsius = [11.0, 25.0, 39.0, 44.0, 58.0, 61.5, 70.0];
        let profile: Vec<Temperature> =
            celsius.iter().map(|&t| Temperature::new(t).expect("a temperature")).collect();
        let litres = ladder.litres(&profile);
        let layer = 240.0 / 7.0;
        let held: f64 = celsius.iter().map(|t| crate::water::heat_kwh(layer, t - 10.0)).sum();
        assert!((heat(&ladder, &litres) - held).abs() < 1e-9);
        for (zone, volume) in litres.iter().zip(&ladder.volumes) {
            assert!(zone[0] <= volume + 1e-9);
            assert!(zone.windows(2).all(|pair| pair[1] <= pair[0] + 1e-9));
        }
    }

    // A store full at one rung loses UA·(θ − T_a)·Δt, whatever its zones.
    #[test]
    fn what_falls_in_an_hour_is_the_standing_loss() {
        let ladder = Ladder::new(&store());
        for rung in 1..=ladder.rungs() {
            let lost: f64 = (0..ladder.zones())
                .map(|z| ladder.decay(z, rung, 1.0) * ladder.volumes[z] * ladder.step_kwh(rung))
                .sum();
            let expected = 2.0 * (ladder.temperatures[rung] - 18.0) / 1_000.0;
            assert!((lost - expected).abs() < 1e-12, "{lost} is not {expected}");
        }
    }
}
