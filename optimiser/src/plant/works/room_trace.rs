//! What happened in the plant room, slot by slot.

use super::super::trace::Span;
use super::machine::Machine;
use crate::physics::rooms::Network;
use crate::problem::{PlantRoomState, RoomsState};
use crate::site::{PlantRoom, Route, Site};
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

/// A source that served a sink in a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobRecord {
    /// Which source served which sink.
    pub route: Route,
    /// Minutes after the start of the slot at which it first ran.
    pub delay_minutes: f64,
    /// For how long [min].
    pub minutes: f64,
    /// Heat that reached the sink; negative where it was cooled [kWh].
    pub heat_kwh: f64,
    /// Electricity used, with pumps and controls [kWh].
    pub electricity_kwh: f64,
    /// Fuel burnt [kWh].
    pub fuel_kwh: f64,
}

/// The plant room over one slot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoomSlot {
    /// What each source did, each route once, by its first step.
    pub jobs: Vec<JobRecord>,
    /// Heat that starts cost [kWh].
    pub start_kwh: f64,
    /// Starts of heat pumps and boiler.
    pub starts: usize,
    /// Minutes in which a source was told to run and did not.
    pub refused_minutes: f64,
    /// Heat that collectors took out of their sinks, a fault of the pump
    /// station [kWh].
    pub reverse_kwh: f64,
    /// Heat lost by the buffer [kWh].
    pub buffer_lost_kwh: f64,
    /// Heat lost by the pipes of the return loops [kWh].
    pub pipes_lost_kwh: f64,
    /// Heat lost by the pool, less what it took from the sun [kWh].
    pub pool_lost_kwh: f64,
    /// Heat lost by the rooms [kWh].
    pub rooms_lost_kwh: f64,
    /// Gains of the rooms [kWh].
    pub rooms_gain_kwh: f64,
    /// Air in the rooms, in the mean of the slot [°C].
    pub air: f64,
    /// Electricity of all but the buffer's element [kWh].
    pub electricity_kwh: f64,
    /// Spans of that electricity.
    pub spans: Vec<Span>,
    /// Spans of the buffer's element.
    pub immersion: Vec<Span>,
}

/// The plant room over a horizon, with its state at every boundary.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantRoomTrace {
    pub(in super::super) slots: Vec<PlantRoomSlot>,
    pub(in super::super) inner: Vec<Inner>,
    room: PlantRoom,
}

/// State between steps.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Inner {
    pub(super) buffer: f64,
    pub(super) pool: f64,
    pub(super) air: f64,
    pub(super) mass: f64,
    /// Heat pumps, then the boiler.
    pub(super) machines: Vec<Machine>,
    /// Water in the pipe of each store's return loop [°C].
    pub(super) pipes: Vec<f64>,
    /// Whether each pipe's thermostat has opened.
    pub(super) pipe_stats: Vec<bool>,
    /// Whether the pump of the collectors runs.
    pub(super) solar_runs: bool,
    /// Heat that reaches the air of the rooms in this step [kW].
    pub(super) rooms_heat: f64,
}

impl Inner {
    pub(in super::super) fn new(site: &Site, state: &PlantRoomState) -> Self {
        let celsius = |t: Option<Temperature>| t.map_or(0.0, Temperature::celsius);
        let pumps = (0..site.plant_room.heat_pumps.len())
            .map(|index| state.heat_pumps.get(index).copied().unwrap_or_default());
        Self {
            buffer: celsius(state.buffer),
            pool: celsius(state.pool),
            air: celsius(state.rooms.map(|rooms| rooms.air)),
            mass: celsius(state.rooms.map(|rooms| rooms.mass)),
            machines: pumps.chain([state.boiler]).map(Machine::from).collect(),
            pipes: site
                .stores
                .iter()
                .enumerate()
                .map(|(index, store)| {
                    let around = store.return_loop.map(|pipe| pipe.surroundings);
                    celsius(state.return_pipes.get(index).copied().or(around))
                })
                .collect(),
            pipe_stats: vec![false; site.stores.len()],
            solar_runs: false,
            rooms_heat: 0.0,
        }
    }

    /// The same as the start of another horizon.
    fn state(&self, room: &PlantRoom) -> PlantRoomState {
        let (boiler, pumps) = match self.machines.split_last() {
            Some((boiler, pumps)) => (boiler.state(), pumps),
            None => (crate::problem::RunState::default(), [].as_slice()),
        };
        PlantRoomState {
            buffer: room.buffer.as_ref().map(|_| Temperature::clamped(self.buffer)),
            pool: room.pool.map(|_| Temperature::clamped(self.pool)),
            rooms: room.rooms.map(|_| RoomsState {
                air: Temperature::clamped(self.air),
                mass: Temperature::clamped(self.mass),
            }),
            heat_pumps: pumps.iter().map(Machine::state).collect(),
            boiler,
            return_pipes: self.pipes.iter().map(|t| Temperature::clamped(*t)).collect(),
        }
    }

    /// Heat in buffer, pool, rooms and pipes above 0 °C [kWh].
    pub(super) fn stored_kwh(&self, site: &Site) -> f64 {
        let room = &site.plant_room;
        let water = |litres: f64, celsius: f64| litres * KWH_PER_LITRE_KELVIN * celsius;
        let buffer = room.buffer.as_ref().map_or(0.0, |b| water(b.volume.litres(), self.buffer));
        let pool = room.pool.map_or(0.0, |pool| pool.capacity_kwh_per_k() * self.pool);
        let rooms = room.rooms.map_or(0.0, |rooms| {
            Network::of(&rooms, rooms.loss().watts_per_kelvin()).stored_kwh(0.0, self.mass)
        });
        let pipes = site.stores.iter().zip(&self.pipes).map(|(store, celsius)| {
            store.return_loop.map_or(0.0, |pipe| water(pipe.content.litres(), *celsius))
        });
        buffer + pool + rooms + pipes.sum::<f64>()
    }
}

impl PlantRoomTrace {
    pub(in super::super) fn new(site: &Site, state: &PlantRoomState, slots: usize) -> Self {
        Self {
            slots: vec![PlantRoomSlot::default(); slots],
            inner: vec![Inner::new(site, state); slots + 1],
            room: site.plant_room.clone(),
        }
    }

    /// State at a boundary: 0 is the start, `k + 1` the end of slot `k`.
    pub fn state(&self, boundary: usize) -> PlantRoomState {
        self.inner[boundary].state(&self.room)
    }

    /// Every slot.
    pub fn slots(&self) -> &[PlantRoomSlot] {
        &self.slots
    }

    /// Water in the buffer [°C] at a boundary: 0 is the start.
    pub fn buffer(&self, boundary: usize) -> f64 {
        self.inner[boundary].buffer
    }

    /// Water in the pool [°C] at a boundary.
    pub fn pool(&self, boundary: usize) -> f64 {
        self.inner[boundary].pool
    }

    /// Air and mass of the rooms [°C] at a boundary.
    pub fn rooms(&self, boundary: usize) -> (f64, f64) {
        (self.inner[boundary].air, self.inner[boundary].mass)
    }

    /// Heat in buffer, pool, rooms and pipes above 0 °C [kWh] at a boundary.
    pub fn stored_kwh(&self, site: &Site, boundary: usize) -> f64 {
        self.inner[boundary].stored_kwh(site)
    }
}

impl PlantRoomSlot {
    /// Fuel burnt [kWh].
    pub fn fuel_kwh(&self) -> f64 {
        self.jobs.iter().map(|job| job.fuel_kwh).sum()
    }

    /// Books a step of a route.
    pub(super) fn book(&mut self, step: JobRecord) {
        match self.jobs.iter_mut().find(|job| job.route == step.route) {
            Some(job) => {
                job.minutes += step.minutes;
                job.heat_kwh += step.heat_kwh;
                job.electricity_kwh += step.electricity_kwh;
                job.fuel_kwh += step.fuel_kwh;
            }
            None => self.jobs.push(step),
        }
    }
}

/// Adds a stretch of power; one that goes on from the last of its device makes
/// it longer, with their mean power.
pub(super) fn draw_power(spans: &mut Vec<Span>, device: usize, start: f64, end: f64, kw: f64) {
    if kw <= 0.0 {
        return;
    }
    let last = spans.iter_mut().rev().find(|span| span.element == device);
    match last {
        Some(span) if span.end >= start => {
            let energy = span.kw * (span.end - span.start) + kw * (end - start);
            span.end = end;
            span.kw = energy / (span.end - span.start);
        }
        _ => spans.push(Span { element: device, start, end, kw }),
    }
}
