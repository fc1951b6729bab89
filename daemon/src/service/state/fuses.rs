//! What may be on at once: a heater or source that would bring a phase above its fuse,
//! beside what is on already, stays off. Plans keep the fuses too; this holds where
//! something else than the plan switches, or switches late.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::schedule::BatteryMode;

use super::State;
use crate::service::commands::Feeder;

/// Loads of each phase.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Fuses {
    /// Fuse of each phase [kW].
    pub fuse: f64,
    /// The rest of the house at its highest, where that is known [kW].
    pub house: [f64; 3],
    /// Shares of a battery's power.
    pub battery: [f64; 3],
    /// Full power of each heater [kW].
    pub heaters: BTreeMap<HeaterId, [f64; 3]>,
    /// Most power of each source [kW].
    pub sources: BTreeMap<Feeder, [f64; 3]>,
}

/// Something that draws current.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Load {
    Heater(HeaterId),
    Source(Feeder),
}

impl State {
    /// Why something that is off may not go on now, if it may not.
    pub(super) fn over_fuse(&self, load: Load) -> Option<String> {
        let fuses = self.settings.plant_room.fuses.as_ref()?;
        let own = match load {
            Load::Heater(heater) if self.told.get(&heater).is_none_or(|w| *w == 0) => {
                fuses.heaters.get(&heater)
            }
            Load::Source(feeder) if !self.is_on(feeder) => fuses.sources.get(&feeder),
            // It is on already.
            _ => None,
        }?;
        let mut on = fuses.house;
        let mut add = |kw: &[f64; 3]| on.iter_mut().zip(kw).for_each(|(on, kw)| *on += kw);
        let told = self.told.iter().filter(|(_, power_w)| **power_w > 0);
        told.filter_map(|(heater, _)| fuses.heaters.get(heater)).for_each(&mut add);
        let sources = fuses.sources.iter().filter(|(feeder, _)| self.is_on(**feeder));
        sources.for_each(|(_, kw)| add(kw));
        if let Some(order) = self.battery_told.as_ref().filter(|o| o.mode == BatteryMode::Charge) {
            let kw = f64::from(order.power_w) / 1_000.0;
            add(&fuses.battery.map(|share| share * kw));
        }
        let full = (0..3).find(|&phase| own[phase] > 0.0 && on[phase] + own[phase] > fuses.fuse)?;
        Some(format!("phase {} carries no more beside what is on", full + 1))
    }

    fn is_on(&self, feeder: Feeder) -> bool {
        self.sources.told.get(&feeder).is_some_and(|(order, _)| order.sink.is_some())
    }
}
