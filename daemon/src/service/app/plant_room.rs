//! Buffer, rooms, pool and sources: as they are thought to be, and as the schedule has
//! them do.

use optimiser::plan::flow_for;
use optimiser::problem::{Band, PlantRoomState, RoomsState};
use optimiser::schedule::PlantRoomPlan;
use optimiser::site::{Sink, Source};
use optimiser::time::{Instant, Series};
use optimiser::units::Temperature;

use super::App;
use super::view::View;
use crate::house::House;
use crate::present::document::Document;
use crate::service::commands::{Feeder, Plant};
use crate::service::planning::{Made, estimate};
use crate::service::state::{Feed, Role, Sight, SourceOrder};

/// Rooms, pool and buffer that depart from the schedule by more than this are planned
/// anew [K]. A buffer swings with its sources.
const ROOMS_K: f64 = 0.5;
const POOL_K: f64 = 0.2;
const BUFFER_K: f64 = 6.0;

/// Air that is not as the schedule expects speaks for walls and floors after so long
/// [s]: the model's air follows its heat at once, that of a house does not.
const WALLS_S: f64 = 7_200.0;

/// Flow temperatures are told in steps of this [K], and heat in steps of so much [W].
const FLOW_STEP_K: f64 = 0.5;
const HEAT_STEP_W: f64 = 10.0;

/// Buffer, rooms and pool as they are thought to be.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct RoomEstimate {
    /// Their temperatures now.
    pub(super) now: PlantRoomPlan,
    /// Those that are measured.
    measured: [bool; 3],
}

/// Buffer, rooms and pool in the order of their estimates, with their words.
const SINKS: [(Sink, &str); 3] =
    [(Sink::Buffer, "the buffer"), (Sink::Rooms, ROOMS_WORDS), (Sink::Pool, "the pool")];

const ROOMS_WORDS: &str = "the rooms";

impl RoomEstimate {
    /// As the site file has them.
    pub(super) fn initial(house: &House) -> Self {
        let PlantRoomState { buffer, pool, rooms, .. } = house.state.plant_room.clone();
        let now = PlantRoomPlan { buffer, pool, rooms, ..PlantRoomPlan::default() };
        Self { now, measured: [false; 3] }
    }

    /// The water, or the air of the rooms; `None` where there is none.
    pub(super) fn of(&self, sink: Sink) -> Option<Temperature> {
        match sink {
            Sink::Buffer => self.now.buffer,
            Sink::Rooms => self.now.rooms.map(|rooms| rooms.air),
            Sink::Pool => self.now.pool,
            Sink::Coil { .. } => None,
        }
    }

    /// Whether a sink is measured.
    pub(super) fn is_measured(&self, sink: Sink) -> bool {
        SINKS.iter().zip(self.measured).any(|((own, _), measured)| *own == sink && measured)
    }

    /// What is there and not measured, in words.
    pub(super) fn unmeasured(&self) -> Vec<&'static str> {
        let there = SINKS.iter().filter(|(sink, _)| self.of(*sink).is_some());
        there.filter(|(sink, _)| !self.is_measured(*sink)).map(|(_, words)| *words).collect()
    }

    /// Whether what is measured is not as a schedule has it.
    pub(super) fn departs_from(&self, expected: &PlantRoomPlan) -> bool {
        let expected = Self { now: *expected, measured: [false; 3] };
        [BUFFER_K, ROOMS_K, POOL_K].iter().zip(SINKS).any(|(most, (sink, _))| {
            let apart =
                self.of(sink).zip(expected.of(sink)).map(|(a, b)| a.celsius() - b.celsius());
            self.is_measured(sink) && apart.is_some_and(|apart| apart.abs() > *most)
        })
    }
}

impl App {
    /// The air outside as measured.
    pub(super) fn outside(&self, now: Instant) -> Option<Temperature> {
        match self.state.sight(Role::Outdoor, now) {
            Sight::Seen(celsius) => Temperature::new(celsius).ok(),
            Sight::Unmeasured | Sight::Lost => None,
        }
    }

    /// What is in buffer, rooms and pool now: measured, else as the schedule has it.
    /// Nobody measures walls and floors; they are moved with the air, at once where no
    /// schedule knew the air, else the more the longer the schedule is out.
    pub(super) fn estimate_room(&mut self, now: Instant) {
        let model = self.made.as_deref().and_then(|made| estimate::expected_room(made, now));
        let model = model.unwrap_or(self.room.now);
        let seen = |sink| match self.state.sight(Role::Sink(sink), now) {
            Sight::Seen(celsius) => Some(Temperature::clamped(celsius)),
            Sight::Unmeasured | Sight::Lost => None,
        };
        let (buffer, air, pool) = (seen(Sink::Buffer), seen(Sink::Rooms), seen(Sink::Pool));
        let knew = |made: &&Made| !made.unmeasured.contains(&ROOMS_WORDS);
        let share = self
            .made
            .as_deref()
            .filter(knew)
            .map_or(1.0, |made| ((now - made.issued_at) as f64 / WALLS_S).clamp(0.0, 1.0));
        let moved = |rooms: RoomsState| match air {
            Some(air) => {
                let apart = air.celsius() - rooms.air.celsius();
                let mass = rooms.mass.celsius() + share * apart;
                RoomsState { air, mass: Temperature::clamped(mass) }
            }
            None => rooms,
        };
        self.room = RoomEstimate {
            now: PlantRoomPlan {
                buffer: model.buffer.map(|model| buffer.unwrap_or(model)),
                rooms: model.rooms.map(moved),
                pool: model.pool.map(|model| pool.unwrap_or(model)),
                ..PlantRoomPlan::default()
            },
            measured: [buffer.is_some(), air.is_some(), pool.is_some()],
        };
    }

    /// The same with the machines, for the planner.
    pub(super) fn plant_room_state(&self) -> PlantRoomState {
        let now = self.now();
        let PlantRoomPlan { buffer, rooms, pool, .. } = self.room.now;
        let pumps = 0..self.house.site.plant_room.heat_pumps.len();
        PlantRoomState {
            buffer,
            pool,
            rooms,
            heat_pumps: pumps.map(|i| self.state.run_state(now, Source::HeatPump(i))).collect(),
            boiler: self.state.run_state(now, Source::Boiler),
            return_pipes: self.house.state.plant_room.return_pipes.clone(),
        }
    }
}

/// What sources and circuits are told in each slot of a schedule.
pub(super) fn feeds(made: &Made, document: &Document) -> Vec<Vec<Feed>> {
    let seconds = |minutes: f64| (minutes * 60.0).round() as i64;
    let slots = made.schedule.slots.iter().zip(&document.slots).enumerate();
    slots
        .map(|(index, (plan, shown))| {
            let jobs = plan.jobs.iter().zip(&shown.jobs);
            jobs.map(|(job, shown)| {
                let flow = flow_for(&made.problem, index, plan, job);
                // What it is told gives what is planned of it, and not a little less.
                let told = plan.told.iter().find(|told| told.route == job.route);
                let (delay, minutes, watts) = told.map_or_else(
                    || {
                        let watts = 60_000.0 * job.heat.kwh() / job.minutes.max(1e-3);
                        (job.delay_minutes, job.minutes, watts)
                    },
                    |told| (told.delay_minutes, told.minutes, 1_000.0 * told.heat.kw()),
                );
                Feed {
                    feeder: Feeder::of(job.route),
                    delay_s: seconds(delay),
                    run_s: seconds(minutes),
                    order: SourceOrder {
                        sink: Some(job.route.sink),
                        heat_w: ((watts / HEAT_STEP_W).round() * HEAT_STEP_W) as u32,
                        flow: flow.map(|flow| {
                            let steps = (flow.celsius() / FLOW_STEP_K).round();
                            Temperature::clamped(steps * FLOW_STEP_K)
                        }),
                        request: None,
                    },
                    reason: shown.why.clone(),
                }
            })
            .collect()
        })
        .collect()
}

/// The comfort that is asked of a sink now.
pub(super) fn comfort(view: &View<'_>, sink: Sink) -> Option<Band> {
    let problem = &view.made?.problem;
    let slot = problem.horizon.index_at(view.now)?;
    let bands: Option<&Series<Band>> = match sink {
        Sink::Rooms => problem.comfort.rooms.as_ref(),
        Sink::Pool => problem.comfort.pool.as_ref(),
        Sink::Buffer | Sink::Coil { .. } => None,
    };
    bands.map(|bands| bands[slot])
}

/// Buffer, rooms and pool of a house, with their names.
pub fn sinks(house: &House) -> Vec<(Sink, String)> {
    let room = &house.site.plant_room;
    let there = SINKS.iter().filter(|(sink, _)| room.has_sink(*sink, &house.site.stores));
    there.map(|(sink, _)| (*sink, house.sink_name(*sink))).collect()
}

/// The name of a source or circuit.
pub(super) fn feeder_name(plant: &Plant, feeder: Feeder) -> &str {
    let own = plant.feeders.iter().find(|own| own.feeder == feeder);
    own.map_or("", |own| own.name.as_str())
}
