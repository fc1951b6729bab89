//! What happened in one store, slot by slot.

use super::store::StorePlant;
use super::tap::DrawRecord;
use crate::time::{Horizon, Instant};
use crate::units::Temperature;

/// One store over one slot.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StoreSlot {
    /// Heat that the elements gave [kWh].
    pub heat_kwh: f64,
    /// Heat that the coils gave; negative where they took heat out [kWh].
    pub coil_kwh: f64,
    /// Heat that left into the pipe of the return loop, less what came back [kWh].
    pub loop_kwh: f64,
    /// Commanded heat that a thermostat, the ceiling or the cut-out refused [kWh].
    pub refused_kwh: f64,
    /// Heat lost to the surroundings; negative where they are warmer [kWh].
    pub lost_kwh: f64,
    /// Heat drawn, above mains [kWh].
    pub drawn_kwh: f64,
    /// Heat asked for at the taps that did not arrive [kWh].
    pub unmet_kwh: f64,
    /// Heat above mains at the end [kWh].
    pub stored_kwh: f64,
    /// Litres at the use temperature that could be drawn at the end.
    pub usable_litres: f64,
    /// Litres at 40 °C that could be drawn at the end.
    pub v40_litres: f64,
    /// Lowest temperature of the coldest layer during the slot [°C].
    pub coldest: f64,
}

/// An element at one power for a time, in seconds from the start of the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Index of the element in its store.
    pub element: usize,
    /// When it goes on [s].
    pub start: f64,
    /// When it goes off [s].
    pub end: f64,
    /// Its power [kW].
    pub kw: f64,
}

/// One store over a horizon. Holds the state at every slot boundary, so a
/// simulation can go on from any of them.
#[derive(Debug, PartialEq)]
pub struct StoreTrace {
    layers: usize,
    elements: usize,
    /// Layers at every boundary, slot by slot.
    temperatures: Vec<f64>,
    /// Open thermostats at every boundary, a bit for each element.
    pub(super) open: Vec<u64>,
    pub(super) slots: Vec<StoreSlot>,
    used: Vec<f64>,
    pub(super) spans: Vec<Span>,
    /// For every boundary, spans that lie before it.
    pub(super) spans_before: Vec<usize>,
    pub(super) draws: Vec<DrawRecord>,
    /// For every boundary, positions and records of the draws that run across it.
    pub(super) running: Vec<Vec<(usize, DrawRecord)>>,
    start_kwh: f64,
}

/// Copied often, so into memory that is there.
impl Clone for StoreTrace {
    fn clone(&self) -> Self {
        Self {
            temperatures: self.temperatures.clone(),
            open: self.open.clone(),
            slots: self.slots.clone(),
            used: self.used.clone(),
            spans: self.spans.clone(),
            spans_before: self.spans_before.clone(),
            draws: self.draws.clone(),
            running: self.running.clone(),
            ..*self
        }
    }

    fn clone_from(&mut self, source: &Self) {
        let Self { layers, elements, temperatures, open, slots, start_kwh, .. } = self;
        (*layers, *elements, *start_kwh) = (source.layers, source.elements, source.start_kwh);
        temperatures.clone_from(&source.temperatures);
        open.clone_from(&source.open);
        slots.clone_from(&source.slots);
        let Self { used, spans, spans_before, draws, running, .. } = self;
        used.clone_from(&source.used);
        spans.clone_from(&source.spans);
        spans_before.clone_from(&source.spans_before);
        draws.clone_from(&source.draws);
        running.clone_from(&source.running);
    }
}

impl StoreTrace {
    pub(super) fn new(
        store: &StorePlant,
        slots: usize,
        start: &[f64],
        mains: f64,
        draws: Vec<DrawRecord>,
    ) -> Self {
        let (layers, elements) = (store.tank.layers(), store.elements.len());
        let mut temperatures = vec![0.0; (slots + 1) * layers];
        temperatures[..layers].copy_from_slice(start);
        Self {
            layers,
            elements,
            temperatures,
            open: vec![0; slots + 1],
            slots: vec![StoreSlot::default(); slots],
            used: vec![0.0; slots * elements],
            spans: Vec::new(),
            spans_before: vec![0; slots + 1],
            draws,
            running: vec![Vec::new(); slots + 1],
            start_kwh: store.tank.content_kwh(start, mains),
        }
    }

    /// Every slot.
    pub fn slots(&self) -> &[StoreSlot] {
        &self.slots
    }

    /// Layer temperatures from bottom to top [°C] at a boundary: 0 is the
    /// start, `k + 1` the end of slot `k`.
    pub fn layers(&self, boundary: usize) -> &[f64] {
        &self.temperatures[boundary * self.layers..(boundary + 1) * self.layers]
    }

    pub(super) fn layers_mut(&mut self, boundary: usize) -> &mut [f64] {
        &mut self.temperatures[boundary * self.layers..(boundary + 1) * self.layers]
    }

    /// Energy that each element used in a slot [kWh].
    pub fn used(&self, slot: usize) -> &[f64] {
        &self.used[slot * self.elements..(slot + 1) * self.elements]
    }

    pub(super) fn used_mut(&mut self, slot: usize) -> &mut [f64] {
        &mut self.used[slot * self.elements..(slot + 1) * self.elements]
    }

    /// When each element ran in a slot.
    pub fn spans(&self, slot: usize) -> &[Span] {
        &self.spans[self.spans_before[slot]..self.spans_before[slot + 1]]
    }

    /// Every draw of this store, by its start.
    pub fn draws(&self) -> &[DrawRecord] {
        &self.draws
    }

    /// Heat asked for at the taps that did not arrive, over all slots [kWh].
    pub fn unmet_kwh(&self) -> f64 {
        self.slots.iter().map(|s| s.unmet_kwh).sum()
    }

    /// Heat that the books do not explain [kWh]: what is stored less what was
    /// stored, heated, lost and drawn.
    pub fn residual_kwh(&self) -> f64 {
        let end = self.slots.last().map_or(self.start_kwh, |s| s.stored_kwh);
        let flows: f64 = self
            .slots
            .iter()
            .map(|s| s.heat_kwh + s.coil_kwh - s.lost_kwh - s.drawn_kwh - s.loop_kwh)
            .sum();
        end - self.start_kwh - flows
    }

    /// Start of the first run of whole slots in which the coldest layer held a
    /// temperature for a time [s], if there is one. Heat that rises from a
    /// boost element never counts: the water below it stays cold.
    pub fn pasteurised(
        &self,
        horizon: &Horizon,
        temperature: Temperature,
        hold_seconds: i64,
    ) -> Option<Instant> {
        let mut since = None;
        for (record, slot) in self.slots.iter().zip(horizon.slots()) {
            if record.coldest < temperature.celsius() {
                since = None;
                continue;
            }
            let start = *since.get_or_insert(slot.start());
            if slot.end() - start >= hold_seconds {
                return Some(start);
            }
        }
        None
    }
}
