//! The pool.

use super::{SiteFault, expect_within};
use crate::units::{Fraction, HeatLoss, Power, Temperature};
use crate::water::KWH_PER_LITRE_KELVIN;

/// A swimming pool, taken as mixed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pool {
    /// Surface of the water [m²].
    pub surface_m2: f64,
    /// Mean depth [m].
    pub depth_m: f64,
    /// What its surface is exposed to.
    pub exposure: Exposure,
    /// Loss through walls and floor.
    pub ground_loss: HeatLoss,
    /// Temperature of the ground around it.
    pub ground: Temperature,
    /// Most heat that its exchanger passes.
    pub exchanger: Power,
    /// It is not heated beyond this.
    pub limit: Temperature,
}

/// What the surface of a pool is exposed to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Exposure {
    /// The weather, but for the hours under its cover.
    Outdoor {
        /// Equation of evaporation; its name belongs into every output.
        evaporation: Evaporation,
        /// Wind at the surface as a share of the wind that the weather states.
        wind_share: Fraction,
        /// Loss through the cover [W/(m²·K)].
        cover_w_per_m2k: f64,
        /// Share of the sunlight that open water keeps.
        absorbed_open: Fraction,
        /// Share of the sunlight that passes the cover and is kept.
        absorbed_covered: Fraction,
    },
    /// Indoors: a steady loss of its surface [W/m²].
    Indoor {
        /// Loss [W/m²].
        loss_w_per_m2: f64,
    },
}

/// Equation of evaporation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evaporation {
    /// Smith, Löf and Jones 1994, measured on an unoccupied outdoor pool.
    SmithLofJones,
    /// ASHRAE, after Carrier.
    Ashrae,
}

impl Evaporation {
    /// The name of the equation, for outputs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SmithLofJones => "Smith, Löf and Jones 1994",
            Self::Ashrae => "ASHRAE",
        }
    }
}

impl Pool {
    /// Heat to warm it by one kelvin [kWh/K].
    pub fn capacity_kwh_per_k(&self) -> f64 {
        self.surface_m2 * self.depth_m * 1_000.0 * KWH_PER_LITRE_KELVIN
    }
}

/// Every contradiction in a pool.
pub(super) fn faults(pool: &Pool, faults: &mut Vec<SiteFault>) {
    expect_within(faults, "pool", "surface_m2", pool.surface_m2, (0.5, 2_000.0, "m²"));
    expect_within(faults, "pool", "depth_m", pool.depth_m, (0.2, 6.0, "m"));
    expect_within(faults, "pool", "limit", pool.limit.celsius(), (5.0, 42.0, "°C"));
    match pool.exposure {
        Exposure::Outdoor { cover_w_per_m2k, .. } => {
            let range = (0.1, 30.0, "W/(m²·K)");
            expect_within(faults, "pool", "cover_w_per_m2k", cover_w_per_m2k, range);
        }
        Exposure::Indoor { loss_w_per_m2 } => {
            expect_within(faults, "pool", "loss_w_per_m2", loss_w_per_m2, (0.0, 1_000.0, "W/m²"));
        }
    }
}
