//! The plant room beyond elements, stepped in minutes: sources that serve one
//! sink at a time, coils, return loops, buffer and circuits, rooms and pool.
//!
//! In each step every source gives heat at the temperatures that its sink has, then
//! the circuits take theirs. A store runs on by itself, with that heat in it, up to
//! the next step in which something touches it. Heat is booked where it moves, so that
//! the books close.

mod machine;
mod port;
mod room_trace;
mod step;

use std::ops::Range;

use super::command::Commands;
use super::course::{Course, Told};
use super::scene::{PumpRun, Scene};
use super::store::{Bench, StorePlant};
use super::trace::StoreTrace;
use crate::physics::rooms::Network;
use crate::site::{Site, Source};
pub(super) use room_trace::Inner;
pub use room_trace::{JobRecord, PlantRoomSlot, PlantRoomTrace};

/// Length of a step while a machine, a circuit or a pump of a return loop runs [s].
const STEP_SECONDS: f64 = 60.0;

/// Length of a step while only the sun may give heat, which is little and slow [s].
const SUNNY_SECONDS: f64 = 180.0;

/// Length of a step while nothing but time acts [s].
const STILL_SECONDS: f64 = 300.0;

/// Edges closer than this are one [s].
const LEAST_SECONDS: f64 = 1e-3;

/// Light below this starts no collector [W/m²].
const DIM: f64 = 20.0;

/// What follows from the site, fixed.
#[derive(Debug, Clone)]
pub(super) struct Works {
    site: Site,
    network: Option<Network>,
    /// For each store and coil, the layers around it.
    coils: Vec<Vec<Range<usize>>>,
    /// For each store, the layer that its return loop enters.
    returns: Vec<usize>,
    /// Whether the pump station refuses to run with a colder collector.
    guarded: bool,
}

impl Works {
    /// The works of a site, unless it has only stores and elements.
    pub(super) fn of(site: &Site, stores: &[StorePlant], guarded: bool) -> Option<Self> {
        let plain = site.plant_room.is_empty()
            && site.stores.iter().all(|s| s.coils.is_empty() && s.return_loop.is_none());
        if plain {
            return None;
        }
        let band = |store: &StorePlant, coil: &crate::site::Coil| {
            let low = store.tank.layer_at(coil.bottom.value());
            low..store.tank.layer_at(coil.top.value()).max(low) + 1
        };
        Some(Self {
            network: site
                .plant_room
                .rooms
                .as_ref()
                .map(|rooms| Network::of(rooms, rooms.loss().watts_per_kelvin())),
            coils: site
                .stores
                .iter()
                .zip(stores)
                .map(|(s, plant)| s.coils.iter().map(|coil| band(plant, coil)).collect())
                .collect(),
            returns: site
                .stores
                .iter()
                .zip(stores)
                .map(|(s, plant)| {
                    s.return_loop.map_or(0, |pipe| plant.tank.layer_at(pipe.return_height.value()))
                })
                .collect(),
            site: site.clone(),
            guarded,
        })
    }

    /// Runs slots of everything from the state that the traces hold.
    pub(super) fn run(
        &self,
        stores: &[StorePlant],
        benches: &mut [Bench],
        scene: &Scene,
        commands: &Commands,
        (traces, room): (&mut [StoreTrace], &mut PlantRoomTrace),
        slots: Range<usize>,
    ) {
        if slots.start >= scene.len() {
            return;
        }
        let told = |index: usize| Told {
            heaters: &commands.heaters[stores[index].heaters()],
            guards: &commands.guards[stores[index].heaters()],
            pumps: &commands.pumps[index],
        };
        let mut courses: Vec<Course<'_>> = stores
            .iter()
            .zip(benches.iter_mut())
            .zip(traces.iter_mut())
            .enumerate()
            .map(|(index, ((_, bench), trace))| {
                Course::take_up(bench, scene, index, told(index), trace, slots.start)
            })
            .collect();
        let mut inner = room.inner[slots.start].clone();
        for slot in slots {
            let facts = scene.slots[slot];
            for (index, (course, trace)) in courses.iter_mut().zip(traces.iter_mut()).enumerate() {
                course.begin(facts, slot, commands.pumps[index][slot], trace);
            }
            let mut record = PlantRoomSlot::default();
            let jobs = &commands.jobs[slot];
            let runs: Vec<PumpRun> = scene.loop_runs_in(facts).collect();
            let mut now = facts.start;
            while now < facts.end {
                let until = self.next(scene, slot, (jobs, &runs), &inner, now);
                let mut moment = step::Moment {
                    works: self,
                    stores,
                    benches: &mut *benches,
                    courses: &mut courses,
                    traces: &mut *traces,
                    ambient: &scene.ambient[slot],
                    slot_start: facts.start,
                    jobs,
                    now,
                    until,
                    inner: &mut inner,
                    record: &mut record,
                };
                moment.sources();
                moment.loops(&runs);
                step::circuits(
                    self,
                    &scene.ambient[slot],
                    jobs,
                    (facts.start, facts.end, now, until),
                    &mut inner,
                    &mut record,
                );
                now = until;
            }
            for (index, store) in stores.iter().enumerate() {
                let (bench, course) = (&mut benches[index], &mut courses[index]);
                store.advance(bench, course, &mut traces[index], facts.end);
                store.finish(&mut benches[index], &mut courses[index], &mut traces[index]);
            }
            room.slots[slot] = record;
            room.inner[slot + 1] = inner.clone();
        }
    }

    /// End of the step that begins now.
    fn next(
        &self,
        scene: &Scene,
        slot: usize,
        (jobs, runs): (&[super::JobCommand], &[PumpRun]),
        inner: &Inner,
        now: f64,
    ) -> f64 {
        let facts = &scene.slots[slot];
        let sunny =
            self.site.plant_room.collectors.is_some() && scene.ambient[slot].collectors > DIM;
        let soon = now + LEAST_SECONDS;
        let runs = runs.iter().filter(|run| run.end > now);
        let at_work = |job: &super::JobCommand| {
            job.route.source != Source::Collectors && step::runs(job, facts.start, soon)
        };
        let busy = jobs.iter().any(at_work)
            || inner.machines.iter().any(|machine| machine.serves.is_some())
            || runs.clone().any(|run| run.start <= soon);
        let longest = match (busy, sunny) {
            (true, _) => STEP_SECONDS,
            (false, true) => SUNNY_SECONDS,
            (false, false) => STILL_SECONDS,
        };
        let edges = jobs.iter().flat_map(|job| {
            let start = facts.start + 60.0 * job.delay_minutes;
            [start, start + 60.0 * job.minutes]
        });
        let edges = edges.chain(runs.flat_map(|run| [run.start, run.end]));
        edges.filter(|edge| *edge > soon).fold((now + longest).min(facts.end), f64::min)
    }
}
