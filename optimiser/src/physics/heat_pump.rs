//! Capacity and COP of heat pumps by source and flow temperature.

use crate::site::{CapacityLine, HeatPump, HeatSource, Performance, RatingPoint};
use crate::units::Temperature;

/// Lifts within which a fit is evaluated [K]; it is clipped beyond them. Both
/// fits turn upward again near 90 K, so they must not be followed that far.
const LONGEST_LIFT_K: f64 = 60.0;

/// Quadratic fits of COP over the lift from source to flow [K]:
/// `a + b·ΔT + c·ΔT²`, from a shortest lift on.
struct Fit {
    a: f64,
    b: f64,
    c: f64,
    shortest_k: f64,
}

/// I. Staffell, D. Brett, N. Brandon and A. Hawkes, "A review of domestic heat
/// pumps", Energy & Environmental Science 5 (2012) 9291, doi:10.1039/c2ee22653g.
const STAFFELL_AIR: Fit = Fit { a: 6.81, b: -0.121, c: 0.000_630, shortest_k: 15.0 };
const STAFFELL_GROUND: Fit = Fit { a: 8.77, b: -0.150, c: 0.000_734, shortest_k: 20.0 };

/// O. Ruhnau, L. Hirth and A. Praktiknjo, "Time series of heat demand and heat
/// pump efficiency for energy system modeling", Scientific Data 6 (2019) 189,
/// doi:10.1038/s41597-019-0199-y.
const RUHNAU_AIR: Fit = Fit { a: 6.0801, b: -0.0941, c: 0.0005, shortest_k: 15.0 };
const RUHNAU_GROUND: Fit = Fit { a: 10.288, b: -0.2084, c: 0.0012, shortest_k: 15.0 };

impl Fit {
    fn cop(&self, lift: f64) -> f64 {
        let lift = lift.clamp(self.shortest_k, LONGEST_LIFT_K);
        self.a + self.b * lift + self.c * lift * lift
    }
}

/// What a heat pump can do at a pair of temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Operation {
    /// Most heat it makes [kW].
    pub capacity_kw: f64,
    /// Heat for each unit of electricity.
    pub cop: f64,
}

impl Performance {
    /// Capacity and COP with a source and a flow temperature [°C], without frost.
    pub fn at(&self, kind: HeatSource, source: f64, flow: f64) -> Operation {
        let lift = flow - source;
        match self {
            Self::Staffell2012(line) => {
                let fit = match kind {
                    HeatSource::Air => STAFFELL_AIR,
                    HeatSource::Ground => STAFFELL_GROUND,
                };
                Operation { capacity_kw: line.at(source, flow), cop: fit.cop(lift) }
            }
            Self::Ruhnau2019 { capacity, field } => {
                let fit = match kind {
                    HeatSource::Air => RUHNAU_AIR,
                    HeatSource::Ground => RUHNAU_GROUND,
                };
                let cop = (field.value() * fit.cop(lift)).max(1.0);
                Operation { capacity_kw: capacity.at(source, flow), cop }
            }
            Self::Points(points) => interpolated(points, source, flow),
        }
    }
}

impl CapacityLine {
    /// Capacity [kW] with a source and a flow temperature [°C].
    fn at(&self, source: f64, flow: f64) -> f64 {
        let change = self.per_source_k * (source - self.source.celsius())
            + self.per_flow_k * (flow - self.flow.celsius());
        self.rated.kw() * (1.0 + change).max(0.0)
    }
}

impl HeatPump {
    /// Capacity and COP as they reach the sink: with frost and defrosting
    /// where air is the source and colder than [`HeatPump::FROST_BELOW`]. The
    /// compressor works on meanwhile, so both fall by the same share.
    pub fn at(&self, source: f64, flow: f64) -> Operation {
        let clean = self.performance.at(self.source, source, flow);
        let kept = self.kept_from_frost(source);
        Operation { capacity_kw: clean.capacity_kw * kept, cop: clean.cop * kept }
    }

    /// Share of its heat that frost leaves at a source temperature [°C].
    pub fn kept_from_frost(&self, source: f64) -> f64 {
        match self.source {
            HeatSource::Air if source < Self::FROST_BELOW.celsius() => {
                1.0 - self.defrost_loss.value()
            }
            HeatSource::Air | HeatSource::Ground => 1.0,
        }
    }
}

/// Linear in the flow temperature between the points of one source
/// temperature, then linear between source temperatures; constant beyond.
fn interpolated(points: &[RatingPoint], source: f64, flow: f64) -> Operation {
    let nearest = |below: bool| {
        let on_side = points.iter().map(|p| p.source.celsius());
        let side = on_side.filter(|t| if below { *t <= source } else { *t >= source });
        side.reduce(if below { f64::max } else { f64::min })
    };
    match (nearest(true), nearest(false)) {
        (Some(low), Some(high)) => {
            let (a, b) = (row(points, low, flow), row(points, high, flow));
            let share = if high > low { (source - low) / (high - low) } else { 0.0 };
            between(a, b, share)
        }
        (Some(edge), None) | (None, Some(edge)) => row(points, edge, flow),
        (None, None) => Operation { capacity_kw: 0.0, cop: 1.0 },
    }
}

/// The points of one source temperature, interpolated in the flow temperature.
fn row(points: &[RatingPoint], source: f64, flow: f64) -> Operation {
    let of_row = || points.iter().filter(|p| (p.source.celsius() - source).abs() < 1e-9);
    let key = |p: &RatingPoint| p.flow.celsius();
    let below = of_row().filter(|p| key(p) <= flow).max_by(|a, b| key(a).total_cmp(&key(b)));
    let above = of_row().filter(|p| key(p) >= flow).min_by(|a, b| key(a).total_cmp(&key(b)));
    let operation = |p: &RatingPoint| Operation { capacity_kw: p.capacity.kw(), cop: p.cop };
    match (below, above) {
        (Some(low), Some(high)) if high.flow > low.flow => {
            let share = (flow - key(low)) / high.flow.above(low.flow);
            between(operation(low), operation(high), share)
        }
        (Some(edge), _) | (None, Some(edge)) => operation(edge),
        (None, None) => Operation { capacity_kw: 0.0, cop: 1.0 },
    }
}

fn between(a: Operation, b: Operation, share: f64) -> Operation {
    Operation {
        capacity_kw: a.capacity_kw + share * (b.capacity_kw - a.capacity_kw),
        cop: a.cop + share * (b.cop - a.cop),
    }
}

/// The most that thermodynamics allows, `T_h/(T_h − T_c)` in kelvin, with both
/// temperatures in °C (Carnot 1824).
pub fn carnot_limit(source: Temperature, flow: Temperature) -> f64 {
    (flow.celsius() + 273.15) / flow.above(source)
}

#[cfg(test)]
mod tests;
