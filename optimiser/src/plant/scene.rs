//! What the house meets during a simulation, prepared once for many runs.

use super::command::HeaterCommand;
use super::tap::Tap;
use crate::physics::pool::{PoolAir, PoolWeather};
use crate::problem::{Ambient, Draw, PlantRoomState, Problem, ProblemError, State};
use crate::time::{Horizon, Series, TimeError};
use crate::units::{Energy, Irradiance, Price, Temperature};

/// What the house meets: forecast when a plan is judged, truth in a replay.
#[derive(Debug, Clone, Copy)]
pub struct Conditions<'a> {
    /// The slots.
    pub horizon: &'a Horizon,
    /// Unit rate of import.
    pub import_price: &'a Series<Price>,
    /// Unit rate of export.
    pub export_price: &'a Series<Price>,
    /// Energy the PV could give in each slot, spread evenly over it.
    pub pv: &'a Series<Energy>,
    /// Energy the rest of the house takes, spread evenly.
    pub base_load: &'a Series<Energy>,
    /// Draws, in any order.
    pub draws: &'a [Draw],
    /// Mains temperature of each store where it differs from the site's, as
    /// it does with the season; empty to keep the site's.
    pub mains: &'a [Temperature],
    /// Weather and habits around the plant room.
    pub ambient: &'a Ambient,
    /// State at the start.
    pub state: &'a State,
}

impl<'a> From<&'a Problem> for Conditions<'a> {
    fn from(problem: &'a Problem) -> Self {
        Self {
            horizon: &problem.horizon,
            import_price: &problem.import_price,
            export_price: &problem.export_price,
            pv: &problem.pv,
            base_load: &problem.base_load,
            draws: &problem.draws,
            mains: &[],
            ambient: &problem.ambient,
            state: &problem.state,
        }
    }
}

/// Conditions in the form that a simulation reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    pub(super) slots: Vec<SlotFacts>,
    pub(super) stores: Vec<StoreScene>,
    /// Weather and habits of each slot.
    pub(super) ambient: Vec<SlotAmbient>,
    /// Runs of the return loops' pumps.
    pub(super) loop_runs: Vec<PumpRun>,
    /// The plant room at the start.
    pub(super) plant_room: PlantRoomState,
    /// Battery level at the start [kWh].
    pub(super) battery: f64,
}

/// One slot, in seconds from the start of the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SlotFacts {
    pub(super) start: f64,
    pub(super) end: f64,
    pub(super) pv_kw: f64,
    pub(super) base_kw: f64,
    pub(super) import_price: f64,
    pub(super) export_price: f64,
}

/// Weather and habits of one slot; what the site does not need is zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SlotAmbient {
    /// Outdoor air [°C].
    pub(super) outdoor: f64,
    /// Brine [°C].
    pub(super) ground: f64,
    /// On the plane of the collectors [W/m²].
    pub(super) collectors: f64,
    /// At the pool.
    pub(super) pool: PoolAir,
    /// In the rooms [W]; `None` for the site's mean.
    pub(super) gains: Option<f64>,
}

/// A run of a return loop's pump, in seconds from the start of the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PumpRun {
    pub(super) store: usize,
    pub(super) start: f64,
    pub(super) end: f64,
}

/// What one store meets.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StoreScene {
    pub(super) mains: f64,
    pub(super) start: Vec<Temperature>,
    /// Draws by their start.
    pub(super) taps: Vec<Tap>,
    /// Position of each of them in the list that was given.
    pub(super) draws: Vec<usize>,
    /// Length of the longest draw [s].
    longest: f64,
}

impl SlotFacts {
    /// When a command is on, inside the slot [s].
    pub(super) fn stretch(&self, command: &HeaterCommand) -> (f64, f64) {
        let on = self.start + command.delay_minutes.max(0.0) * 60.0;
        (on, self.end.min(on + command.minutes.max(0.0) * 60.0))
    }

    /// Energy that a command asks for inside the slot [kWh].
    pub(super) fn energy(&self, command: &HeaterCommand) -> f64 {
        let (on, off) = self.stretch(command);
        command.power.kw() * (off - on).max(0.0) / 3_600.0
    }
}

impl StoreScene {
    /// First draw that may still run at an instant [s].
    pub(super) fn first_tap(&self, instant: f64) -> usize {
        self.taps.partition_point(|tap| tap.start + self.longest <= instant)
    }

    /// Draws from a position on, up to the first that begins after an instant.
    pub(super) fn taps_from(
        &self,
        first: usize,
        until: f64,
    ) -> impl Iterator<Item = (usize, &Tap)> + Clone {
        self.taps.iter().enumerate().skip(first).take_while(move |(_, tap)| tap.start <= until)
    }
}

impl Scene {
    /// Prepares conditions for a site with `stores` stores and their mains
    /// temperatures.
    pub(super) fn new(
        conditions: &Conditions<'_>,
        mains: &[Temperature],
    ) -> Result<Self, ProblemError> {
        let stores = mains.len();
        let slots = conditions.horizon.len();
        for (what, values) in [
            ("the import price", conditions.import_price.values().len()),
            ("the export price", conditions.export_price.values().len()),
            ("the PV", conditions.pv.values().len()),
            ("the base load", conditions.base_load.values().len()),
        ] {
            if values != slots {
                return Err(TimeError::Length { what, values, slots }.into());
            }
        }
        let given = conditions.state.stores.len();
        if given != stores || conditions.state.stores.iter().any(Vec::is_empty) {
            return Err(ProblemError::State { given, stores });
        }
        if let Some(draw) = conditions.draws.iter().find(|draw| draw.store >= stores) {
            return Err(ProblemError::Store { what: "a draw", store: draw.store, stores });
        }
        let origin = conditions.horizon.start();
        let facts = conditions.horizon.slots().iter().enumerate().map(|(index, slot)| SlotFacts {
            start: (slot.start() - origin) as f64,
            end: (slot.end() - origin) as f64,
            pv_kw: conditions.pv[index].kwh() / slot.hours(),
            base_kw: conditions.base_load[index].kwh() / slot.hours(),
            import_price: conditions.import_price[index].per_kwh(),
            export_price: conditions.export_price[index].per_kwh(),
        });
        let store_scene = |store: usize| {
            let mut order: Vec<usize> = (0..conditions.draws.len())
                .filter(|index| conditions.draws[*index].store == store)
                .collect();
            order.sort_by_key(|index| conditions.draws[*index].start);
            let taps: Vec<Tap> =
                order.iter().map(|index| Tap::new(&conditions.draws[*index], origin)).collect();
            StoreScene {
                mains: conditions.mains.get(store).unwrap_or(&mains[store]).celsius(),
                start: conditions.state.stores[store].clone(),
                longest: taps.iter().map(|tap| tap.end - tap.start).fold(0.0, f64::max),
                taps,
                draws: order,
            }
        };
        Ok(Self {
            slots: facts.collect(),
            stores: (0..stores).map(store_scene).collect(),
            ambient: (0..slots).map(|slot| slot_ambient(conditions.ambient, slot)).collect(),
            loop_runs: conditions
                .ambient
                .loop_runs
                .iter()
                .map(|run| {
                    let start = (run.start - origin) as f64;
                    PumpRun { store: run.store, start, end: start + run.seconds as f64 }
                })
                .collect(),
            plant_room: conditions.state.plant_room.clone(),
            battery: conditions.state.battery.kwh(),
        })
    }

    /// Runs of loops that reach into a slot.
    pub(super) fn loop_runs_in(&self, slot: SlotFacts) -> impl Iterator<Item = PumpRun> {
        self.loop_runs
            .iter()
            .filter(move |run| run.start < slot.end && run.end > slot.start)
            .copied()
    }

    /// Number of slots.
    pub fn len(&self) -> usize {
        self.slots.len()
    }

    /// Whether there is no slot; never so for a horizon.
    pub fn is_empty(&self) -> bool {
        self.slots.is_empty()
    }
}

fn slot_ambient(ambient: &Ambient, slot: usize) -> SlotAmbient {
    fn at<T: Copy>(series: Option<&Series<T>>, slot: usize, read: fn(T) -> f64) -> f64 {
        series.map_or(0.0, |values| read(values[slot]))
    }
    SlotAmbient {
        outdoor: at(ambient.outdoor.as_ref(), slot, Temperature::celsius),
        ground: at(ambient.ground.as_ref(), slot, Temperature::celsius),
        collectors: at(ambient.collector_irradiance.as_ref(), slot, Irradiance::watts_per_m2),
        pool: PoolWeather::of(ambient, slot).into(),
        gains: ambient.room_gains.as_ref().map(|gains| gains[slot].kw() * 1_000.0),
    }
}
