//! The simulated plant: the judge of every plan.
//!
//! It shares the facts of the site and the constants of water with the linear
//! program and nothing else. Given the same commands it gives the same record,
//! to the last bit.
//!
//! [`Plant`] holds what follows from the site. [`Scene`] holds what the house
//! meets: draws, sun, load, prices. [`Plant::simulate`] runs [`Commands`]
//! through it into an [`Outcome`], which holds the state at every slot
//! boundary: after a change of the commands of slot `k`, [`Plant::resume`]
//! runs from `k` on. A search that moves heat only needs one store without its
//! electricity: [`Plant::heat`] and [`Plant::reheat`]. A replay makes one
//! scene of the whole period and resumes slot by slot.
//!
//! The number of layers is the mixing of a tank: N stirred layers in series
//! smear a thermocline as a real inlet does (10 layers leave 89 %, 20 leave
//! 93 % of the volume usable).

mod battery;
mod command;
mod course;
mod house;
mod outcome;
mod probe;
mod scene;
mod store;
mod tank;
mod tap;
mod trace;
mod water;
mod works;

use std::ops::Range;

pub use command::{BatteryCommand, Commands, HeaterCommand, JobCommand, PvUse};
pub(crate) use house::Balance;
pub use house::HouseSlot;
pub use outcome::Outcome;
pub use probe::{Probe, ProbeReader};
pub use scene::{Conditions, Scene};
pub use tank::{Heat, Outflow, Stream, Tank};
pub use tap::DrawRecord;
pub use trace::{Span, StoreSlot, StoreTrace};
pub use water::Water;
pub use works::{JobRecord, PlantRoomSlot, PlantRoomTrace};

use crate::problem::ProblemError;
use crate::site::Site;
use crate::units::Temperature;
use store::{Bench, StorePlant};
use works::Works;

/// Properties of real tanks and thermostats that no data sheet states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Physics {
    /// Effective vertical conductivity [W/(m·K)]: still water conducts 0.64,
    /// a metal wall raises it to 1 or 2.
    pub conductivity: f64,
    /// A thermostat closes this far below where it opened [K].
    pub hysteresis_k: f64,
    /// The pump station of the collectors does not run while they are colder
    /// than their sink; `false` simulates one with a fault.
    pub solar_guard: bool,
    /// Steps of the stores are this share of their usual length.
    pub step_share: f64,
}

impl Default for Physics {
    /// Still water at 50 °C (IAPWS), and a rod thermostat's differential
    /// (common practice, no published source).
    fn default() -> Self {
        Self { conductivity: 0.64, hysteresis_k: 4.0, solar_guard: true, step_share: 1.0 }
    }
}

/// Levels of the battery that differ by less are the same [kWh].
const SAME_KWH: f64 = 1e-9;

/// The plant room, ready to simulate.
#[derive(Debug, Clone)]
pub struct Plant {
    site: Site,
    stores: Vec<StorePlant>,
    benches: Vec<Bench>,
    works: Option<Works>,
    instants: Vec<f64>,
    spans: Vec<Span>,
}

impl Plant {
    /// A plant with usual [`Physics`].
    pub fn new(site: &Site) -> Self {
        Self::with_physics(site, Physics::default())
    }

    /// A plant with given physics.
    pub fn with_physics(site: &Site, physics: Physics) -> Self {
        let mut first_heater = 0;
        let stores: Vec<StorePlant> = site
            .stores
            .iter()
            .map(|store| {
                let plant = StorePlant::new(store, &physics, first_heater);
                first_heater += store.elements.len();
                plant
            })
            .collect();
        let benches = stores.iter().map(StorePlant::bench).collect();
        let works = Works::of(site, &stores, physics.solar_guard);
        Self { site: site.clone(), stores, benches, works, instants: Vec::new(), spans: Vec::new() }
    }

    /// Whether it is more than stores with elements: then nothing runs by itself.
    pub fn has_works(&self) -> bool {
        self.works.is_some()
    }

    /// The tank of a store.
    pub fn tank(&self, store: usize) -> &Tank {
        &self.stores[store].tank
    }

    /// Prepares conditions, once for many runs.
    ///
    /// # Errors
    /// If a series does not fit the horizon, or the state or a draw does not
    /// fit the stores.
    pub fn scene(&self, conditions: &Conditions<'_>) -> Result<Scene, ProblemError> {
        conditions.ambient.fits(&self.site, conditions.horizon)?;
        conditions.state.fits(&self.site)?;
        let mains: Vec<Temperature> = self.site.stores.iter().map(|s| s.mains).collect();
        Scene::new(conditions, &mains)
    }

    /// An outcome of which only the start is known, for [`Plant::resume`].
    pub fn outset(&self, scene: &Scene) -> Outcome {
        Outcome {
            stores: (0..self.stores.len()).map(|store| self.trace(scene, store)).collect(),
            house: vec![HouseSlot::default(); scene.len()],
            plant_room: self
                .works
                .as_ref()
                .map(|_| PlantRoomTrace::new(&self.site, &scene.plant_room, scene.len())),
            battery_start: scene.battery,
        }
    }

    /// Runs all slots.
    pub fn simulate(&mut self, scene: &Scene, commands: &Commands) -> Outcome {
        let mut outcome = self.outset(scene);
        self.resume(scene, commands, &mut outcome, 0..scene.len());
        outcome
    }

    /// Runs some slots again, from the state that the outcome holds at the
    /// first of them. What lies before is kept; what lies behind is stale
    /// unless the range reaches the end.
    pub fn resume(
        &mut self,
        scene: &Scene,
        commands: &Commands,
        outcome: &mut Outcome,
        slots: Range<usize>,
    ) {
        self.resume_heat(scene, commands, outcome, slots.clone());
        self.resume_house(scene, commands, outcome, slots);
    }

    /// The part of [`Plant::resume`] before the meter: all heat.
    pub(crate) fn resume_heat(
        &mut self,
        scene: &Scene,
        commands: &Commands,
        outcome: &mut Outcome,
        slots: Range<usize>,
    ) {
        if let (Some(works), Some(room)) = (&self.works, &mut outcome.plant_room) {
            let traces = (outcome.stores.as_mut_slice(), room);
            works.run(&self.stores, &mut self.benches, scene, commands, traces, slots);
        } else {
            for (store, trace) in outcome.stores.iter_mut().enumerate() {
                self.reheat(scene, commands, store, trace, slots.clone());
            }
        }
    }

    /// The rest of [`Plant::resume`]: battery and meter, once all heat is known.
    pub(crate) fn resume_house(
        &mut self,
        scene: &Scene,
        commands: &Commands,
        outcome: &mut Outcome,
        slots: Range<usize>,
    ) {
        for slot in slots {
            self.meter(scene, commands, outcome, slot);
        }
    }

    /// What a slot leaves to the battery, once all heat is known.
    pub(crate) fn balance(
        &mut self,
        scene: &Scene,
        outcome: &Outcome,
        slot: usize,
        pv: PvUse,
    ) -> Balance {
        let (spans, sources) = outcome.spans(slot);
        let facts = &scene.slots[slot];
        house::balance(&self.site, facts, pv, &spans, sources, &mut self.instants)
    }

    /// [`Plant::balance`] of a slot of an outcome, where that of another may be known and
    /// nothing differs.
    pub(crate) fn leaves_alike(&self, outcome: &Outcome, other: &Outcome, slot: usize) -> bool {
        let stores = outcome.stores.iter().zip(&other.stores);
        self.works.is_none()
            && stores.into_iter().all(|(own, other)| own.spans(slot) == other.spans(slot))
    }

    /// Heats again what a change of commands reaches, in an outcome that is a copy of
    /// the one before; stores that are told nothing else stay as they were. Which
    /// stores were heated.
    pub(crate) fn vary_heat(
        &mut self,
        scene: &Scene,
        (before, commands): (&Commands, &Commands),
        outcome: &mut Outcome,
        changed: &[usize],
    ) -> Vec<bool> {
        let Some(&first) = changed.iter().min() else { return vec![false; self.stores.len()] };
        let slots = first..scene.len();
        if self.works.is_some() {
            self.resume_heat(scene, commands, outcome, slots);
            return vec![true; self.stores.len()];
        }
        let mut reheated = vec![false; self.stores.len()];
        for (store, reheated) in reheated.iter_mut().enumerate() {
            let plant = &self.stores[store];
            let rows = plant.heaters();
            *reheated = changed.iter().any(|&slot| {
                commands.pumps[store][slot] != before.pumps[store][slot]
                    || rows.clone().any(|h| commands.heaters[h][slot] != before.heaters[h][slot])
            });
            if *reheated {
                self.reheat(scene, commands, store, &mut outcome.stores[store], slots.clone());
            }
        }
        reheated
    }

    /// Meters from a slot on what [`Plant::vary_heat`] and other orders for the
    /// battery have changed: slots whose spans or whose battery's level or orders
    /// are not those of `base`.
    pub(crate) fn vary_house(
        &mut self,
        scene: &Scene,
        (before, commands): (&Commands, &Commands),
        (base, outcome): (&Outcome, &mut Outcome),
        reheated: &[bool],
        first: usize,
    ) {
        for slot in first..scene.len() {
            let told = |commands: &Commands| (commands.battery[slot], commands.pv[slot]);
            let same_spans = self.works.is_none()
                && reheated.iter().enumerate().all(|(store, reheated)| {
                    !reheated || outcome.stores[store].spans(slot) == base.stores[store].spans(slot)
                });
            let off = outcome.battery_before(slot) - base.battery_before(slot);
            let same_level = off.abs() <= SAME_KWH;
            if same_spans && same_level && told(before) == told(commands) {
                // What a slot before changed may have been changed back.
                outcome.house[slot] = base.house[slot];
            } else {
                self.meter(scene, commands, outcome, slot);
            }
        }
    }

    /// Runs the meter and the battery through a slot whose heat is known.
    fn meter(&mut self, scene: &Scene, commands: &Commands, outcome: &mut Outcome, slot: usize) {
        let level = outcome.battery_before(slot);
        let told = (&commands.battery[slot], commands.pv[slot]);
        let record = {
            let (spans, sources) = outcome.spans(slot);
            let facts = &scene.slots[slot];
            house::run_slot(&self.site, facts, told, level, &spans, sources, &mut self.instants)
        };
        outcome.house[slot] = record;
    }

    /// The meter and the battery over one slot alone, from a level [kWh], if no
    /// thermostat stops what the elements are told.
    pub(crate) fn meter_slot(
        &mut self,
        scene: &Scene,
        slot: usize,
        heaters: &[HeaterCommand],
        told: (&BatteryCommand, PvUse),
        level: f64,
    ) -> HouseSlot {
        let facts = &scene.slots[slot];
        self.spans.clear();
        self.spans.extend(heaters.iter().enumerate().filter_map(|(element, command)| {
            let (start, end) = facts.stretch(command);
            (end > start).then(|| Span { element, start, end, kw: command.power.kw() })
        }));
        let spans = std::iter::once(self.spans.as_slice());
        house::run_slot(&self.site, facts, told, level, &spans, &[], &mut self.instants)
    }

    /// Runs all slots of one store, without electricity and without the sources
    /// of the plant room.
    pub fn heat(&mut self, scene: &Scene, commands: &Commands, store: usize) -> StoreTrace {
        let mut trace = self.trace(scene, store);
        self.reheat(scene, commands, store, &mut trace, 0..scene.len());
        trace
    }

    /// Runs some slots of one store again, from the state that the trace holds
    /// at the first of them.
    pub fn reheat(
        &mut self,
        scene: &Scene,
        commands: &Commands,
        store: usize,
        trace: &mut StoreTrace,
        slots: Range<usize>,
    ) {
        let plant = &self.stores[store];
        let told = course::Told {
            heaters: &commands.heaters[plant.heaters()],
            guards: &commands.guards[plant.heaters()],
            pumps: &commands.pumps[store],
        };
        plant.run(&mut self.benches[store], scene, store, told, trace, slots);
    }

    fn trace(&self, scene: &Scene, store: usize) -> StoreTrace {
        let facts = &scene.stores[store];
        let tank = &self.stores[store].tank;
        let start: Vec<f64> = facts.start.iter().map(|t| t.celsius()).collect();
        let water = Water::new(&start, tank.layers());
        let draws = facts.draws.iter().map(|draw| DrawRecord::new(*draw)).collect();
        StoreTrace::new(&self.stores[store], scene.len(), water.layers(), facts.mains, draws)
    }
}

#[cfg(test)]
mod tests;
