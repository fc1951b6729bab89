//! Draws through a mixing valve.

use super::tank::Tank;
use super::water::Water;
use crate::problem::Draw;
use crate::time::Instant;
use crate::water::heat_kwh;

/// Litres per minute assumed where a draw states no flow, as in [`Draw::end`].
const LEAST_FLOW: f64 = 0.1;

/// A draw as the plant meets it, in seconds since the start of the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tap {
    /// When the tap opens [s].
    pub(super) start: f64,
    /// When it closes [s].
    pub(super) end: f64,
    /// Flow at the tap [L/min].
    flow: f64,
    /// Temperature asked for [°C].
    wanted: f64,
}

/// What a draw asked for and what arrived.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawRecord {
    /// Index in the list of draws that was given.
    pub draw: usize,
    /// Heat asked for, above mains, as far as it was simulated [kWh].
    pub asked_kwh: f64,
    /// Heat that arrived, at most what was asked for [kWh].
    pub delivered_kwh: f64,
    /// Litres that arrived colder than asked.
    pub litres_cold: f64,
    /// Lowest temperature that left the store [°C]; infinite before the first litre.
    pub lowest_outlet: f64,
}

impl DrawRecord {
    pub(super) fn new(draw: usize) -> Self {
        Self {
            draw,
            asked_kwh: 0.0,
            delivered_kwh: 0.0,
            litres_cold: 0.0,
            lowest_outlet: f64::INFINITY,
        }
    }

    /// Heat that was asked for and did not arrive [kWh].
    pub fn unmet_kwh(&self) -> f64 {
        self.asked_kwh - self.delivered_kwh
    }
}

impl Tap {
    pub(super) fn new(draw: &Draw, origin: Instant) -> Self {
        let flow = draw.flow.litres_per_minute().max(LEAST_FLOW);
        let start = (draw.start - origin) as f64;
        let end = start + draw.volume.litres() / flow * 60.0;
        Self { start, end, flow, wanted: draw.temperature.celsius() }
    }

    /// Temperature asked for [°C].
    pub(super) fn wanted(&self) -> f64 {
        self.wanted
    }

    /// Flow from the store at an outlet temperature [L/min]: the hot share of
    /// the mixed flow, all of it when the store is colder than asked.
    pub(super) fn hot_flow(&self, outlet: f64, mains: f64) -> f64 {
        let rise = self.wanted - mains;
        if rise <= 0.0 {
            0.0
        } else if outlet > self.wanted {
            self.flow * rise / (outlet - mains)
        } else {
            self.flow
        }
    }

    /// Books a time [h] at an outlet temperature; returns the heat that did
    /// not arrive [kWh].
    pub(super) fn book(&self, record: &mut DrawRecord, hours: f64, outlet: f64, mains: f64) -> f64 {
        let rise = self.wanted - mains;
        if rise <= 0.0 {
            return 0.0;
        }
        let litres = self.flow * hours * 60.0;
        let asked = heat_kwh(litres, rise);
        let delivered = heat_kwh(litres, rise.min(outlet - mains).max(0.0));
        record.asked_kwh += asked;
        record.delivered_kwh += delivered;
        if outlet < self.wanted {
            record.litres_cold += litres;
        }
        record.lowest_outlet = record.lowest_outlet.min(outlet);
        asked - delivered
    }

    /// Whether water runs at an instant [s].
    pub(super) fn runs_at(&self, instant: f64) -> bool {
        self.start <= instant && instant < self.end
    }
}

/// Litres that leave the store in a time [h] while `taps` are open, solved so
/// that every valve mixes what leaves on average to what was asked for.
pub(super) fn litres_drawn<'a>(
    tank: &Tank,
    water: &Water,
    taps: &(impl Iterator<Item = &'a Tap> + Clone),
    hours: f64,
    mains: f64,
) -> f64 {
    let at = |outlet: f64| taps.clone().map(|t| t.hot_flow(outlet, mains)).sum::<f64>() * 60.0;
    let mut litres = at(water.top()) * hours;
    for _ in 0..ROUNDS {
        let leaving = tank.leaving(water, litres, mains);
        // The mean outlet falls towards the last as litres are drawn, and what is drawn
        // of hot water follows it inversely: so much is known for a step of Newton's.
        let (mut drawn, mut slope) = (0.0, 0.0);
        for tap in taps.clone() {
            let flow = tap.hot_flow(leaving.mean, mains) * 60.0 * hours;
            drawn += flow;
            if leaving.mean > tap.wanted() {
                slope += flow * (leaving.mean - leaving.last) / (leaving.mean - mains);
            }
        }
        if litres <= 0.0 {
            return drawn;
        }
        let step = (drawn - litres) / (1.0 - slope / litres);
        litres += step;
        // Each step squares the error, so the next would change some 1e-8 of it.
        if step.abs() <= NEAR * litres {
            break;
        }
    }
    litres
}

/// Relative change of the litres after which the next is none.
const NEAR: f64 = 1e-4;

/// Most steps of the valve's fixed point.
const ROUNDS: usize = 15;
