//! Sums over the slots of a plan.

use optimiser::schedule::{HeaterPlan, SlotPlan};
use optimiser::units::Energy;

/// Energy of heaters by where it came from [kWh].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Sources {
    /// From PV.
    pub(super) pv: f64,
    /// From the battery.
    pub(super) battery: f64,
    /// From the grid.
    pub(super) grid: f64,
}

impl Sources {
    /// Sum over heaters.
    pub(super) fn of<'a>(heaters: impl IntoIterator<Item = &'a HeaterPlan>) -> Self {
        heaters
            .into_iter()
            .fold(Self::default(), |sum, heater| sum.with(heater.pv, heater.battery, heater.grid))
    }

    /// With more of each.
    pub(super) fn with(self, pv: Energy, battery: Energy, grid: Energy) -> Self {
        Self {
            pv: self.pv + pv.kwh(),
            battery: self.battery + battery.kwh(),
            grid: self.grid + grid.kwh(),
        }
    }

    /// Sum of two.
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            pv: self.pv + other.pv,
            battery: self.battery + other.battery,
            grid: self.grid + other.grid,
        }
    }

    /// All of it.
    pub(super) fn total(self) -> f64 {
        self.pv + self.battery + self.grid
    }

    /// Each with its name, in the order in which they are always shown.
    pub(super) fn named(self) -> [(&'static str, f64); 3] {
        [("PV", self.pv), ("battery", self.battery), ("grid", self.grid)]
    }
}

/// Where the electricity of some slots came from and went [kWh].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Flows {
    pub(super) pv: f64,
    pub(super) discharge: f64,
    pub(super) import: f64,
    pub(super) house: f64,
    pub(super) heat: f64,
    pub(super) charge: f64,
    pub(super) export: f64,
    pub(super) curtailed: f64,
    pub(super) swing: f64,
}

impl Flows {
    /// Sum over slots.
    pub(super) fn of(slots: &[SlotPlan]) -> Self {
        slots.iter().fold(Self::default(), |sum, slot| Self {
            pv: sum.pv + slot.pv.kwh(),
            discharge: sum.discharge + slot.discharge.kwh(),
            import: sum.import + slot.import.kwh(),
            house: sum.house + slot.base_load.kwh(),
            heat: sum.heat
                + slot.heaters.iter().map(|h| h.energy.kwh()).sum::<f64>()
                + slot.jobs.iter().map(|job| job.electricity.kwh()).sum::<f64>(),
            charge: sum.charge + slot.charge.kwh(),
            export: sum.export + slot.export.kwh(),
            curtailed: sum.curtailed + slot.curtailed.kwh(),
            swing: sum.swing + slot.swing.kwh(),
        })
    }
}
