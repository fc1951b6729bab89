//! One store over its slots: elements with thermostats, draws, pump, losses.

use std::ops::Range;

use super::Physics;
use super::course::{Course, Told};
use super::scene::Scene;
use super::tank::{Heat, STEP_LAYERS, STEP_SECONDS, Standings, Tank};
use super::tap::{DrawRecord, litres_drawn};
use super::trace::StoreTrace;
use super::water::Water;
use crate::problem::Watch;
use crate::site::Store;
use crate::units::Temperature;
use crate::water::heat_kwh;

/// A thermostat this close to its setting has reached it [K].
const REACHED_K: f64 = 1e-9;

/// While so many layers at the top are as warm as the tap wants, a whole layer may
/// leave in one step: the flow is exact whatever its length, and no part of it is
/// too cold.
const WHOLE_LAYER_DEPTH: usize = 5;

/// What comes from deeper than that while a whole layer leaves is six of ten thousand
/// parts (Poisson), so it cools a layer by less than this [K].
const LAST_KELVIN: f64 = 0.1;

/// How late a thermostat may close, and how long a tank owes its standing while water
/// runs [s].
const PATIENCE_SECONDS: f64 = 120.0;

/// Bit that marks a tripped cut-out, above those of the elements.
const TRIPPED: u64 = 1 << 63;

/// First of the bits of elements that stand guard.
const GUARDS: usize = 32;

/// An element as the tank sees it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ElementPlant {
    layer: usize,
    /// Its thermostat or the ceiling, whichever is lower [°C].
    limit: f64,
    /// Full power [kW].
    kw: f64,
}

/// Fixed coefficients of a store.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StorePlant {
    pub(super) tank: Tank,
    pub(super) elements: Vec<ElementPlant>,
    /// Position of its first element in [`crate::Problem::heaters`].
    pub(super) first_heater: usize,
    use_temperature: f64,
    hysteresis: f64,
    cut_out: f64,
    step_share: f64,
    /// Neither coil nor return loop may cool its layers between draws.
    alone: bool,
}

/// What a store works with while it runs; reused from run to run.
#[derive(Debug, Clone)]
pub(super) struct Bench {
    pub(super) water: Water,
    heats: Vec<Heat>,
    /// What it does in times in which it stood lately.
    standings: Standings,
}

impl StorePlant {
    pub(super) fn new(store: &Store, physics: &Physics, first_heater: usize) -> Self {
        let tank = Tank::of(store, physics.conductivity);
        let elements = store
            .elements
            .iter()
            .map(|element| ElementPlant {
                // As `Store::lowest_heated` has it: at the boundary of the
                // lowest layer an element warms that layer too.
                layer: if element.height.value() <= 1.0 / store.layers as f64 {
                    0
                } else {
                    tank.layer_at(element.height.value())
                },
                limit: store.reach(element).celsius(),
                kw: element.power.kw(),
            })
            .collect();
        Self {
            tank,
            elements,
            first_heater,
            use_temperature: store.use_temperature.celsius(),
            hysteresis: physics.hysteresis_k,
            step_share: physics.step_share,
            alone: store.coils.is_empty() && store.return_loop.is_none(),
            cut_out: store.cut_out.map_or(f64::INFINITY, Temperature::celsius),
        }
    }

    /// Positions of its elements in [`crate::Problem::heaters`].
    pub(super) fn heaters(&self) -> Range<usize> {
        self.first_heater..self.first_heater + self.elements.len()
    }

    pub(super) fn bench(&self) -> Bench {
        let heat =
            |e: &ElementPlant| Heat { layer: e.layer, kw: 0.0, limit: e.limit, given_kwh: 0.0 };
        Bench {
            water: Water::new(&[0.0], self.tank.layers()),
            heats: self.elements.iter().map(heat).collect(),
            standings: Standings::default(),
        }
    }

    /// Runs slots of the store at an index on from the state that the trace
    /// holds at the first of them.
    pub(super) fn run(
        &self,
        bench: &mut Bench,
        scene: &Scene,
        index: usize,
        told: Told<'_>,
        trace: &mut StoreTrace,
        slots: Range<usize>,
    ) {
        if slots.start >= scene.slots.len() {
            return;
        }
        let mut course = Course::take_up(bench, scene, index, told, trace, slots.start);
        for slot in slots {
            course.begin(scene.slots[slot], slot, told.pumps[slot], trace);
            self.advance(bench, &mut course, trace, scene.slots[slot].end);
            self.finish(bench, &mut course, trace);
        }
    }

    /// Runs on to an instant of the slot.
    pub(super) fn advance(
        &self,
        bench: &mut Bench,
        course: &mut Course<'_>,
        trace: &mut StoreTrace,
        until: f64,
    ) {
        course.until = until;
        while course.now < until {
            self.step(bench, course, trace);
        }
    }

    /// Books the end of a slot.
    pub(super) fn finish(
        &self,
        bench: &mut Bench,
        course: &mut Course<'_>,
        trace: &mut StoreTrace,
    ) {
        let slot = course.slot;
        for (index, element) in self.elements.iter().enumerate() {
            let temperature = bench.water.layers()[element.layer];
            self.thermostat(course, (index, element.limit), temperature);
        }
        let (layers, mains) = (bench.water.layers(), course.scene.mains);
        let wished: f64 = course.heaters.iter().map(|row| course.facts.energy(&row[slot])).sum();
        course.record.heat_kwh = trace.used(slot).iter().sum();
        course.record.refused_kwh = (wished - course.record.heat_kwh).max(0.0);
        course.record.stored_kwh = self.tank.content_kwh(layers, mains);
        course.record.usable_litres = self.usable_litres(&bench.water, course);
        course.record.v40_litres = self.tank.usable_litres(layers, 40.0, mains);
        trace.slots[slot] = course.record;
        trace.layers_mut(slot + 1).copy_from_slice(layers);
        trace.open[slot + 1] = course.open;
        trace.spans_before[slot + 1] = trace.spans.len();
        trace.running[slot + 1].clear();
        for (position, tap) in course.scene.taps_from(course.first_tap, course.now) {
            if tap.start < course.now && tap.end > course.now {
                trace.running[slot + 1].push((position, trace.draws[position]));
            }
        }
    }

    /// One step up to the next event, or shorter.
    fn step(&self, bench: &mut Bench, course: &mut Course<'_>, trace: &mut StoreTrace) {
        if course.pump {
            bench.water.mix();
        }
        let step = self.next_step(bench, course);
        let Bench { water, heats, standings } = bench;
        let (now, until, scene) = (course.now, step.until, course.scene);
        let hours = (until - now) / 3_600.0;
        course.record.coldest = course.record.coldest.min(water.layers()[0]);
        if step.heats {
            self.tank.heat_due(water, 0.5 * hours, heats, |_| 0.0);
        }
        if step.water_runs {
            let open = scene.taps_from(course.first_tap, now).filter(|(_, tap)| tap.runs_at(now));
            let taps = open.clone().map(|(_, tap)| tap);
            let litres = litres_drawn(&self.tank, water, &taps, hours, scene.mains);
            let outlet = self.tank.pass(water, 0, self.tank.layers() - 1, litres, scene.mains);
            course.record.drawn_kwh += heat_kwh(litres, outlet - scene.mains);
            for (position, tap) in open {
                let record = &mut trace.draws[position];
                if tap.start >= now {
                    *record = DrawRecord::new(record.draw);
                }
                course.record.unmet_kwh += tap.book(record, hours, outlet, scene.mains);
            }
        }
        // What a tank does by itself is slow beside a draw, so it may wait a little.
        course.owed += hours;
        let waits = step.water_runs && until < course.until && course.owed < step.waits;
        if !waits {
            if step.heats {
                self.tank.keep_warm(water, course.owed, heats);
            }
            let standing = standings.of(&self.tank, course.owed);
            course.record.lost_kwh += self.tank.stand_as(water, standing);
            course.owed = 0.0;
        }
        if step.heats {
            self.tank.heat_due(water, hours, heats, |_| 0.0);
        }
        if course.pump {
            water.mix();
        }
        course.record.coldest = course.record.coldest.min(water.layers()[0]);
        for (index, heat) in heats.iter().enumerate().filter(|(_, heat)| heat.kw > 0.0) {
            if heat.given_kwh < heat.kw * hours * (1.0 - 1e-12) {
                let guards = course.guarding & (1 << index) != 0;
                course.open |= 1 << if guards { GUARDS + index } else { index };
            }
            course.log(index, heat, until, trace);
        }
        course.now = until;
    }

    /// Sets the elements for the next step. Nothing switches within it.
    fn next_step(&self, bench: &mut Bench, course: &mut Course<'_>) -> Step {
        let water = &bench.water;
        let mut next = course.until;
        let mut heating = false;
        // Longest step in which no open thermostat would close while the tank stands [s],
        // and whether one might while water runs.
        let (mut waiting, mut alert) = (f64::INFINITY, false);
        course.guarding = 0;
        for (index, (row, heat)) in course.heaters.iter().zip(&mut bench.heats).enumerate() {
            let command = &row[course.slot];
            let (on, off) = course.facts.stretch(command);
            // While the pump runs, an element at any height heats all the water.
            let element = &self.elements[index];
            let layer = if course.pump { 0 } else { element.layer };
            let temperature = water.layers()[layer];
            *heat = Heat { layer, kw: 0.0, given_kwh: 0.0, limit: element.limit };
            if on <= course.now && course.now < off {
                next = next.min(off);
                if self.thermostat(course, (index, heat.limit), temperature) {
                    heat.kw = command.power.kw();
                    heating = true;
                } else if !self.alone {
                    heating = true;
                } else {
                    let closes = heat.limit - self.hysteresis;
                    waiting = waiting.min(self.stays_warm(water, layer, closes));
                    alert |= !water.is_deeper(layer, closes + LAST_KELVIN, WHOLE_LAYER_DEPTH);
                }
                continue;
            }
            next = if course.now < on { next.min(on) } else { next };
            if let Some(watch) = course.guards[index][course.slot] {
                let (wakes, limit) = match watch {
                    Watch::Dial(dial) => (true, element.limit.min(dial.celsius())),
                    Watch::Litres(litres) => {
                        (self.usable_litres(water, course) < litres.litres(), element.limit)
                    }
                };
                heat.limit = limit;
                if wakes && self.thermostat(course, (GUARDS + index, limit), temperature) {
                    heating = true;
                    heat.kw = element.kw;
                    course.guarding |= 1 << index;
                }
            }
        }
        while course.scene.taps.get(course.first_tap).is_some_and(|t| t.end <= course.now) {
            course.first_tap += 1;
        }
        let mut flow = 0.0;
        let mut warmest = f64::NEG_INFINITY;
        for (_, tap) in course.scene.taps_from(course.first_tap, next) {
            if tap.start > course.now {
                next = next.min(tap.start);
                break;
            }
            if tap.end > course.now {
                next = next.min(tap.end);
                flow += tap.hot_flow(water.top(), course.scene.mains);
                warmest = warmest.max(tap.wanted());
            }
        }
        let longest = if flow > 0.0 {
            let seconds = self.tank.layer_litres() / flow * 60.0;
            if heating || alert {
                STEP_SECONDS.min(STEP_LAYERS * seconds)
            } else if water.stays_above(warmest, WHOLE_LAYER_DEPTH) {
                seconds.min(self.tank.heating_seconds())
            } else {
                (STEP_LAYERS * seconds).min(self.tank.heating_seconds())
            }
        } else if heating || course.pump {
            self.tank.heating_seconds()
        } else {
            waiting
        };
        Step {
            until: next.min(course.now + self.step_share * longest),
            water_runs: flow > 0.0,
            heats: heating,
            waits: self.step_share * PATIENCE_SECONDS / 3_600.0,
        }
    }

    /// How long a layer certainly stays above a temperature while the tank stands, but no
    /// shorter than a thermostat may be late [s].
    fn stays_warm(&self, water: &Water, layer: usize, temperature: f64) -> f64 {
        let margin = water.layers()[layer] - temperature;
        let hours = margin / self.tank.fastest_fall(water, layer);
        (hours * 3_600.0).max(PATIENCE_SECONDS)
    }

    fn usable_litres(&self, water: &Water, course: &Course<'_>) -> f64 {
        self.tank.usable_litres(water.layers(), self.use_temperature, course.scene.mains)
    }

    /// Lets the thermostat of a bit open or close at the temperature of its layer;
    /// true if its element may heat.
    fn thermostat(
        &self,
        course: &mut Course<'_>,
        (bit, limit): (usize, f64),
        temperature: f64,
    ) -> bool {
        if temperature >= self.cut_out {
            course.open |= TRIPPED;
        }
        // Without a differential the element only makes good the losses, and closes
        // whenever there are any: the limit of its heat says when, within a step too.
        if self.hysteresis <= 0.0 {
            return course.open & TRIPPED == 0;
        }
        if temperature <= limit - self.hysteresis + REACHED_K {
            course.open &= !(1 << bit);
        } else if temperature >= limit - REACHED_K {
            course.open |= 1 << bit;
        }
        course.open & (TRIPPED | 1 << bit) == 0
    }
}

/// What happens from now until some instant.
struct Step {
    until: f64,
    water_runs: bool,
    heats: bool,
    /// How long the tank may owe its standing [h].
    waits: f64,
}
