//! Heat pumps.

use super::{Sink, SiteFault, expect_within, fault};
use crate::units::{Energy, Fraction, Power, Temperature};

/// A heat pump that does one job at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatPump {
    /// Name used in the schedule and on the wire.
    pub name: String,
    /// Where it takes its heat from.
    pub source: HeatSource,
    /// Capacity and COP by source and flow temperature.
    pub performance: Performance,
    /// Hottest flow that it makes.
    pub flow_limit: Temperature,
    /// Lowest part of its capacity that it runs at; one for a unit that is only
    /// on or off.
    pub least_share: Fraction,
    /// Share of its heat that frost and defrosting cost while the air is
    /// colder than [`HeatPump::FROST_BELOW`]; zero for other sources.
    pub defrost_loss: Fraction,
    /// Heat that warms up the machine at every start and serves nothing.
    pub start_loss: Energy,
    /// Once started it runs this long [s].
    pub least_run_seconds: i64,
    /// Once stopped it rests this long [s].
    pub least_rest_seconds: i64,
    /// Power of its controls and circulation pumps while it runs, beyond what
    /// the COP counts.
    pub auxiliary: Power,
    /// What it may serve, hot water first where that has priority.
    pub serves: Vec<Sink>,
}

/// Where a heat pump takes its heat from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeatSource {
    /// Outdoor air.
    Air,
    /// Brine from the ground.
    Ground,
}

/// How capacity and COP follow from source and flow temperature. Its name
/// belongs into every output.
#[derive(Debug, Clone, PartialEq)]
pub enum Performance {
    /// COP after Staffell et al. 2012.
    Staffell2012(CapacityLine),
    /// COP after Ruhnau, Hirth and Praktiknjo 2019, times a factor for what
    /// field measurements fall short of data sheets (the authors: 0.85).
    Ruhnau2019 {
        /// Capacity.
        capacity: CapacityLine,
        /// Factor on the COP.
        field: Fraction,
    },
    /// The maker's rating points, interpolated, and kept at the edge beyond
    /// them.
    Points(Vec<RatingPoint>),
}

/// Heating capacity that changes linearly with source and flow temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CapacityLine {
    /// Capacity at the two temperatures below.
    pub rated: Power,
    /// Source temperature of the rating.
    pub source: Temperature,
    /// Flow temperature of the rating.
    pub flow: Temperature,
    /// Change for each kelvin of source, as a share of `rated` [1/K].
    pub per_source_k: f64,
    /// Change for each kelvin of flow, as a share of `rated` [1/K].
    pub per_flow_k: f64,
}

/// One point of a data sheet, such as A7/W35.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatingPoint {
    /// Temperature of air or brine.
    pub source: Temperature,
    /// Flow temperature.
    pub flow: Temperature,
    /// Heating capacity.
    pub capacity: Power,
    /// Heat for each unit of electricity.
    pub cop: f64,
}

impl HeatPump {
    /// Air colder than this lets frost grow on the evaporator (common
    /// practice, no published source).
    pub const FROST_BELOW: Temperature = Temperature::constant(5.0);
}

impl Performance {
    /// Rated capacity, the largest of several points [kW].
    pub fn rated_kw(&self) -> f64 {
        match self {
            Self::Staffell2012(line) | Self::Ruhnau2019 { capacity: line, .. } => line.rated.kw(),
            Self::Points(points) => points.iter().map(|p| p.capacity.kw()).fold(0.0, f64::max),
        }
    }

    /// The name of the model, for outputs.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Staffell2012(_) => "Staffell et al. 2012",
            Self::Ruhnau2019 { .. } => "Ruhnau et al. 2019",
            Self::Points(_) => "rating points",
        }
    }
}

/// The words for a heat pump in a fault.
pub(super) fn place(pump: &HeatPump) -> String {
    format!("heat pump `{}`", pump.name)
}

/// Every contradiction in a heat pump.
pub(super) fn faults(pump: &HeatPump, faults: &mut Vec<SiteFault>) {
    let place = place(pump);
    match &pump.performance {
        Performance::Staffell2012(line) | Performance::Ruhnau2019 { capacity: line, .. } => {
            if line.rated.kw() <= 0.0 {
                faults.push(fault(&place, "rated", "its capacity is zero; give the rated power"));
            }
            for (field, value) in
                [("per_source_k", line.per_source_k), ("per_flow_k", line.per_flow_k)]
            {
                expect_within(faults, &place, field, value, (-0.1, 0.1, "per kelvin"));
            }
        }
        Performance::Points(points) => {
            if points.is_empty() {
                faults.push(fault(&place, "points", "there is no rating point; give at least one"));
            }
            for point in points {
                expect_within(faults, &place, "cop", point.cop, (1.0, 12.0, "(COP)"));
                if point.capacity.kw() <= 0.0 {
                    faults.push(fault(&place, "capacity", "a rating point has no capacity"));
                }
            }
        }
    }
    if let Performance::Ruhnau2019 { field, .. } = &pump.performance
        && field.value() < 0.3
    {
        faults.push(fault(
            &place,
            "field",
            "a field factor below 0.3 is no heat pump; 0.85 is usual",
        ));
    }
    if pump.least_share.value() <= 0.0 {
        let rule = "its least share is zero; give one for a unit that is only on or off";
        faults.push(fault(&place, "least_share", rule));
    }
    if pump.defrost_loss.value() > 0.5 {
        faults.push(fault(
            &place,
            "defrost_loss",
            "defrosting never costs more than half the heat",
        ));
    }
    if !(0..=86_400).contains(&pump.least_run_seconds) {
        faults.push(fault(&place, "least_run_seconds", "a minimum run is 0 s to a day"));
    }
    if !(0..=86_400).contains(&pump.least_rest_seconds) {
        faults.push(fault(&place, "least_rest_seconds", "a minimum rest is 0 s to a day"));
    }
    if pump.flow_limit.celsius() < 25.0 {
        faults.push(fault(
            &place,
            "flow_limit",
            "below 25 °C it heats nothing; 55 to 65 °C is usual",
        ));
    }
}
