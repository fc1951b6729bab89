//! Solar thermal collectors and their pump station.

use super::{Sink, SiteFault, expect_within, fault};
use crate::units::{Angle, Flow, Fraction, Power, Temperature};

/// Collectors of one orientation and the pump that empties them into one sink
/// at a time. Efficiency after EN ISO 9806: `η₀ − a₁·ΔT/G − a₂·ΔT²/G`.
#[derive(Debug, Clone, PartialEq)]
pub struct Collectors {
    /// Area that the coefficients refer to, gross or aperture [m²].
    pub area_m2: f64,
    /// Efficiency without a temperature difference.
    pub eta0: Fraction,
    /// Linear loss [W/(m²·K)].
    pub a1: f64,
    /// Quadratic loss [W/(m²·K²)].
    pub a2: f64,
    /// Angle to the horizontal, 0 flat, 90 upright.
    pub tilt: Angle,
    /// Direction it faces, clockwise from north: 180 is south.
    pub azimuth: Angle,
    /// Flow while the pump runs.
    pub flow: Flow,
    /// Electrical power of the pump station while it runs.
    pub pump: Power,
    /// The pump starts when the collector is this much warmer than the sink [K].
    pub start_difference_k: f64,
    /// The pump stops when the collector is less than this much warmer [K].
    pub stop_difference_k: f64,
    /// A sink is not charged beyond this by the sun.
    pub limit: Temperature,
    /// Who chooses the sink.
    pub priority: SolarPriority,
    /// Sinks in their order of priority.
    pub serves: Vec<Sink>,
}

/// Who chooses the sink of the collectors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SolarPriority {
    /// The pump station: the first sink in the order until it is full, the
    /// next only then.
    Absolute,
    /// The pump station: the first sink in the order that the collector is
    /// warm enough for at the moment.
    Relative,
    /// The optimiser, slot by slot.
    Optimiser,
}

/// Every contradiction in collectors.
pub(super) fn faults(collectors: &Collectors, faults: &mut Vec<SiteFault>) {
    for (field, value, range) in [
        ("area_m2", collectors.area_m2, (0.1, 1_000.0, "m²")),
        ("a1", collectors.a1, (0.0, 50.0, "W/(m²·K)")),
        ("a2", collectors.a2, (0.0, 1.0, "W/(m²·K²)")),
        ("start_difference_k", collectors.start_difference_k, (0.0, 40.0, "K")),
        ("stop_difference_k", collectors.stop_difference_k, (0.0, 40.0, "K")),
    ] {
        expect_within(faults, "collectors", field, value, range);
    }
    if collectors.stop_difference_k > collectors.start_difference_k {
        let rule = "the pump would stop before it starts; the stop difference must be the smaller";
        faults.push(fault("collectors", "stop_difference_k", rule));
    }
    if collectors.eta0.value() < 0.2 {
        faults.push(fault("collectors", "eta0", "an efficiency below 0.2 is no collector's"));
    }
    if collectors.flow.litres_per_minute() <= 0.0 {
        faults.push(fault(
            "collectors",
            "flow",
            "its flow is zero; give the flow with the pump on",
        ));
    }
}
