//! A store on its way through a slot.

use super::command::HeaterCommand;
use super::scene::{Scene, SlotFacts, StoreScene};
use super::store::Bench;
use super::tank::Heat;
use super::tap::DrawRecord;
use super::trace::{Span, StoreSlot, StoreTrace};
use crate::problem::Watch;

/// What the devices of one store are told: rows of slots.
#[derive(Clone, Copy)]
pub(super) struct Told<'a> {
    pub(super) heaters: &'a [Vec<HeaterCommand>],
    pub(super) guards: &'a [Vec<Option<Watch>>],
    pub(super) pumps: &'a [bool],
}

/// The instant reached, and what stays fixed during a slot.
pub(super) struct Course<'a> {
    pub(super) scene: &'a StoreScene,
    pub(super) facts: SlotFacts,
    pub(super) heaters: &'a [Vec<HeaterCommand>],
    pub(super) guards: &'a [Vec<Option<Watch>>],
    pub(super) slot: usize,
    pub(super) pump: bool,
    pub(super) now: f64,
    /// No step goes beyond this instant.
    pub(super) until: f64,
    /// First draw that has not ended.
    pub(super) first_tap: usize,
    /// Time that the tank still has to stand for [h].
    pub(super) owed: f64,
    /// Open thermostats, a bit for each element, one for each that stands guard, and
    /// [`TRIPPED`].
    pub(super) open: u64,
    /// Elements that heat because they stand guard, a bit for each.
    pub(super) guarding: u64,
    pub(super) record: StoreSlot,
}

impl<'a> Course<'a> {
    /// Takes up the state that the trace holds at the start of a slot.
    pub(super) fn take_up(
        bench: &mut Bench,
        scene: &'a Scene,
        index: usize,
        told: Told<'a>,
        trace: &mut StoreTrace,
        slot: usize,
    ) -> Self {
        let (facts, scene) = (scene.slots[slot], &scene.stores[index]);
        let begin = facts.start;
        bench.water.restore(trace.layers(slot));
        trace.spans.truncate(trace.spans_before[slot]);
        let first_tap = scene.first_tap(begin);
        // Draws that begin later are counted anew when they do, see `StorePlant::step`.
        for (position, tap) in scene.taps_from(first_tap, begin) {
            if tap.end > begin {
                trace.draws[position] = DrawRecord::new(trace.draws[position].draw);
            }
        }
        for (position, record) in &trace.running[slot] {
            trace.draws[*position] = *record;
        }
        Self {
            scene,
            facts,
            heaters: told.heaters,
            guards: told.guards,
            slot,
            pump: false,
            now: begin,
            until: begin,
            first_tap,
            owed: 0.0,
            open: trace.open[slot],
            guarding: 0,
            record: StoreSlot::default(),
        }
    }

    /// Begins a slot.
    pub(super) fn begin(
        &mut self,
        facts: SlotFacts,
        slot: usize,
        pump: bool,
        trace: &mut StoreTrace,
    ) {
        self.facts = facts;
        self.slot = slot;
        self.pump = pump;
        self.now = facts.start;
        self.record = StoreSlot { coldest: f64::INFINITY, ..StoreSlot::default() };
        trace.used_mut(slot).fill(0.0);
    }

    /// Books what an element used until an instant; a stretch that continues
    /// the one before stays one span.
    pub(super) fn log(&self, element: usize, heat: &Heat, until: f64, trace: &mut StoreTrace) {
        if heat.given_kwh <= 0.0 {
            return;
        }
        trace.used_mut(self.slot)[element] += heat.given_kwh;
        let end = until.min(self.now + heat.given_kwh / heat.kw * 3_600.0);
        let from = trace.spans_before[self.slot];
        let last = trace.spans[from..].iter_mut().rev().find(|span| span.element == element);
        match last {
            Some(span) if span.end >= self.now && (span.kw - heat.kw).abs() < 1e-9 => {
                span.end = end;
            }
            _ => trace.spans.push(Span { element, start: self.now, end, kw: heat.kw }),
        }
    }
}
