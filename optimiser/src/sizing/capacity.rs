//! Sizes of a plant room that somebody pays for.

use crate::problem::{HeaterId, State};
use crate::site::{Control, Site};
use crate::units::{Energy, Power, Temperature, Volume};

/// Layers of a starting profile whose store has grown.
const LAYERS: usize = 400;

/// A size that can be a little larger or smaller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Capacity {
    /// Power of an element [kW].
    Element(HeaterId),
    /// Volume of a store [L].
    Volume(usize),
    /// Capacity of the battery [kWh].
    Battery,
    /// Most power into and out of the battery, in step [kW].
    BatteryPower,
    /// Most import [kW].
    Import,
    /// Most export [kW].
    Export,
    /// The sun on the roof, as a multiple of what is there.
    Sun,
}

impl Capacity {
    /// Every capacity of a site.
    pub fn of(site: &Site) -> Vec<Self> {
        let elements = site.stores.iter().enumerate().flat_map(|(store, own)| {
            (0..own.elements.len()).map(move |element| Self::Element(HeaterId { store, element }))
        });
        let mut all: Vec<Self> = elements.collect();
        all.extend((0..site.stores.len()).map(Self::Volume));
        if site.battery.is_some() {
            all.extend([Self::Battery, Self::BatteryPower]);
        }
        all.extend([Self::Import, Self::Export, Self::Sun]);
        all
    }

    /// Its size in a site, in its own unit.
    pub fn size(self, site: &Site) -> f64 {
        match self {
            Self::Element(id) => site.stores[id.store].elements[id.element].power.kw(),
            Self::Volume(store) => site.stores[store].volume.litres(),
            Self::Battery => site.battery.map_or(0.0, |b| b.capacity.kwh()),
            Self::BatteryPower => site.battery.map_or(0.0, |b| b.charge_limit.kw()),
            Self::Import => site.grid.import_limit.kw(),
            Self::Export => site.grid.export_limit.kw(),
            Self::Sun => 1.0,
        }
    }

    /// The site with another size, and the state it starts in: what is stored
    /// at the start stays the same, and a larger store has more cold water. The
    /// sun is no part of the site.
    pub fn resized(self, site: &Site, start: &State, size: f64) -> (Site, State) {
        let (mut site, mut start) = (site.clone(), start.clone());
        match self {
            Self::Element(id) => {
                let element = &mut site.stores[id.store].elements[id.element];
                if let Control::Staged(powers) = &mut element.control {
                    let ratio = size / element.power.kw();
                    for power in powers {
                        *power = Power::clamped(power.kw() * ratio);
                    }
                }
                element.power = Power::clamped(size);
            }
            Self::Volume(index) => {
                let store = &mut site.stores[index];
                let share = store.volume.litres() / size;
                start.stores[index] = pushed_up(&start.stores[index], share, store.mains);
                store.volume = Volume::clamped(size);
            }
            Self::Battery => {
                if let Some(battery) = &mut site.battery {
                    battery.capacity = Energy::clamped(size);
                }
            }
            Self::BatteryPower => {
                if let Some(battery) = &mut site.battery {
                    let ratio = size / battery.charge_limit.kw();
                    battery.charge_limit = Power::clamped(size);
                    battery.discharge_limit = Power::clamped(battery.discharge_limit.kw() * ratio);
                }
            }
            Self::Import => site.grid.import_limit = Power::clamped(size),
            Self::Export => site.grid.export_limit = Power::clamped(size),
            Self::Sun => {}
        }
        (site, start)
    }
}

/// A profile squeezed into the upper share of a taller column, or the upper
/// part of it where the column has shrunk; the rest is at mains temperature.
fn pushed_up(profile: &[Temperature], share: f64, mains: Temperature) -> Vec<Temperature> {
    let layers = profile.len() as f64;
    // Heat up to a height of the old column, as a share of it.
    let below = |height: f64| -> f64 {
        let height = height.clamp(0.0, 1.0) * layers;
        let whole = height.floor() as usize;
        let full: f64 = profile[..whole].iter().map(|t| t.celsius()).sum();
        full + profile.get(whole).map_or(0.0, |t| t.celsius() * (height - whole as f64))
    };
    let old = |height: f64| 1.0 - (1.0 - height) / share;
    (0..LAYERS)
        .map(|layer| {
            let (low, high) = (layer as f64, (layer + 1) as f64);
            let (low, high) = (old(low / LAYERS as f64), old(high / LAYERS as f64));
            let cold = (high.min(0.0) - low.min(0.0)) * layers;
            let sum = below(high) - below(low) + cold * mains.celsius();
            Temperature::clamped(sum / ((high - low) * layers))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_larger_store_starts_with_the_same_heat() {
        let profile = [16.0, 30.0, 44.0, 50.0, 52.0].map(Temperature::constant);
        let mains = Temperature::constant(10.0);
        let heat = |profile: &[Temperature], litres: f64| {
            let sum: f64 = profile.iter().map(|t| t.above(mains)).sum();
            sum / profile.len() as f64 * litres
        };
        let grown = pushed_up(&profile, 200.0 / 263.0, mains);
        assert!((heat(&grown, 263.0) - heat(&profile, 200.0)).abs() < 1e-6);
        assert_eq!(grown[0], mains);
        let same = pushed_up(&profile, 1.0, mains);
        assert!((heat(&same, 200.0) - heat(&profile, 200.0)).abs() < 1e-6);
        // A smaller one keeps what is on top.
        let small = pushed_up(&profile, 2.0, mains);
        assert!((small[0].celsius() - 44.0).abs() < 1e-9, "{}", small[0]);
    }
}
