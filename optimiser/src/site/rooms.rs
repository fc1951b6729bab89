//! The heated rooms of the house, seen as one.

use super::{SiteFault, expect_within, fault};
use crate::units::{Conductance, Fraction, HeatLoss, Power, Temperature};

/// The rooms and the circuit that heats them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rooms {
    /// Heat-loss coefficient as calculated room by room.
    pub heat_loss: HeatLoss,
    /// Heat-loss coefficient as measured, if it was.
    pub measured_loss: Option<HeatLoss>,
    /// Part of the loss that passes windows and doors, which hold no heat.
    pub window_share: Fraction,
    /// Part of the loss that leaves with the air.
    pub ventilation_share: Fraction,
    /// Conditioned floor [m²].
    pub floor_m2: f64,
    /// Heat that warms the inner mass by one kelvin [kWh/K]. ISO 13790 counts
    /// 165 kJ/(m²·K) of floor for a medium house.
    pub capacity_kwh_per_k: f64,
    /// Heat of people, appliances and sun where nothing better is known.
    pub gains: Power,
    /// Heat that the emitters give for each kelvin between their mean
    /// temperature and the air.
    pub emitters: Conductance,
    /// Flow temperature by outdoor temperature.
    pub curve: HeatingCurve,
    /// The room thermostats close at this air temperature.
    pub limit: Temperature,
}

/// Weather compensation: a flow temperature that falls linearly from a design
/// day to a mild one and is constant beyond both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatingCurve {
    /// Outdoor temperature of the design day.
    pub cold: Temperature,
    /// Flow temperature on the design day.
    pub flow_when_cold: Temperature,
    /// Outdoor temperature of the mild day.
    pub mild: Temperature,
    /// Flow temperature on the mild day.
    pub flow_when_mild: Temperature,
}

impl HeatingCurve {
    /// Flow temperature at an outdoor temperature [°C].
    pub fn flow(&self, outdoor: f64) -> f64 {
        let share = (outdoor - self.cold.celsius()) / self.mild.above(self.cold);
        self.flow_when_cold.celsius()
            + share.clamp(0.0, 1.0) * self.flow_when_mild.above(self.flow_when_cold)
    }
}

impl Rooms {
    /// The heat-loss coefficient to plan with: measured where it was.
    pub fn loss(&self) -> HeatLoss {
        self.measured_loss.unwrap_or(self.heat_loss)
    }
}

/// Every contradiction in the rooms.
pub(super) fn faults(rooms: &Rooms, faults: &mut Vec<SiteFault>) {
    expect_within(faults, "rooms", "floor_m2", rooms.floor_m2, (5.0, 10_000.0, "m²"));
    let range = (0.05, 5_000.0, "kWh/K");
    expect_within(faults, "rooms", "capacity_kwh_per_k", rooms.capacity_kwh_per_k, range);
    let mut add = |field, rule: &str| faults.push(fault("rooms", field, rule));
    if rooms.loss().watts_per_kelvin() <= 0.0 {
        add("heat_loss", "a house without heat loss needs no heating; give its coefficient");
    }
    if rooms.window_share.value() + rooms.ventilation_share.value() >= 1.0 {
        add("window_share", "windows and air together lose all the heat; leave a part for walls");
    }
    if rooms.emitters.watts_per_kelvin() <= 0.0 {
        add("emitters", "the emitters give no heat; give their output at a known difference");
    }
    if rooms.curve.mild <= rooms.curve.cold {
        add("curve", "the mild day must be warmer than the design day");
    }
    if rooms.curve.flow_when_mild > rooms.curve.flow_when_cold {
        add("curve", "the flow must not be warmer on the mild day than on the design day");
    }
}
