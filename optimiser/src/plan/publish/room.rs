//! The plant room in a schedule: jobs, and what buffer, rooms and pool are at.

use crate::plan::jobs::{Placed, job_commands, placed, wishes};
use crate::plan::reasons::{Reasoner, RouteSituation};
use crate::plan::sharing::{minutes, sources};
use crate::plant::{JobCommand, JobRecord};
use crate::problem::RoomsState;
use crate::schedule::{Job, PlantRoomPlan};
use crate::site::{Route, Sink, Source};
use crate::units::{Energy, Price, Temperature};

use super::{NOTHING, Publisher};

/// When a route works in a slot, and what it gives and takes.
#[derive(Debug, Clone, Copy)]
struct Work {
    route: Route,
    delay: f64,
    minutes: f64,
    heat: f64,
    electricity: f64,
    fuel: f64,
}

impl Publisher<'_> {
    /// The jobs of every slot as the program wishes them.
    pub(super) fn placed(&self) -> Vec<Vec<Placed>> {
        if self.judged.is_some() || self.solution.routes.is_empty() {
            return vec![Vec::new(); self.problem.horizon.len()];
        }
        placed(self.problem, &self.solution.routes, &wishes(self.solution))
    }

    /// The jobs of a slot: as the plant did them, or as the program wishes them.
    pub(super) fn jobs(
        &self,
        slot: usize,
        swing: f64,
        placed: &[Placed],
        reasoner: &Reasoner<'_>,
    ) -> Vec<Job> {
        let work = match self.judged {
            Some(candidate) => {
                let trace = candidate.outcome.plant_room.as_ref();
                let records = trace.map_or(&[][..], |trace| trace.slots()[slot].jobs.as_slice());
                let length = minutes(self.problem.horizon.slots()[slot]);
                done(records, length)
            }
            None => self.wished(slot, placed),
        };
        if work.is_empty() {
            return Vec::new();
        }
        let flows = &self.solution.slots[slot];
        let whole = sources(self.problem, slot, flows, swing);
        let total = whole.pv + whole.battery + whole.grid;
        work.into_iter()
            .map(|work| {
                let share = if total > NOTHING { work.electricity / total } else { 0.0 };
                let (pv, battery) = (whole.pv * share, whole.battery * share);
                let why = reasoner.why_job(&RouteSituation {
                    slot,
                    route: work.route,
                    electricity: work.electricity,
                    pv,
                    battery,
                });
                Job {
                    route: work.route,
                    delay_minutes: work.delay,
                    minutes: work.minutes,
                    heat: Energy::clamped(work.heat),
                    electricity: Energy::clamped(work.electricity),
                    pv: Energy::clamped(pv),
                    battery: Energy::clamped(battery),
                    grid: Energy::clamped((work.electricity - pv - battery).max(0.0)),
                    fuel: Energy::clamped(work.fuel),
                    why,
                }
            })
            .collect()
    }

    /// What sources are told in a slot.
    pub(super) fn told(&self, slot: usize, placed: &[Placed]) -> Vec<JobCommand> {
        match self.judged {
            Some(candidate) => candidate.commands.jobs[slot].clone(),
            None => job_commands(&self.solution.routes, placed),
        }
    }

    fn wished(&self, slot: usize, placed: &[Placed]) -> Vec<Work> {
        let flows = &self.solution.slots[slot].routes;
        placed
            .iter()
            .map(|job| Work {
                route: self.solution.routes[job.route],
                delay: job.delay,
                minutes: job.minutes,
                heat: job.heat,
                electricity: flows[job.route].electricity,
                fuel: flows[job.route].fuel,
            })
            .collect()
    }

    /// Worth of one more kWh through each coil of a store in a slot.
    pub(super) fn coil_values(&self, slot: usize, store: usize) -> impl Iterator<Item = f64> {
        let routes = self.solution.routes.iter().zip(&self.solution.slots[slot].routes);
        routes.filter_map(move |(route, flow)| match route.sink {
            Sink::Coil { store: own, .. } if own == store => Some(flow.value),
            _ => None,
        })
    }

    /// Buffer, rooms and pool at the end of a slot.
    pub(super) fn plant_room(&self, slot: usize) -> PlantRoomPlan {
        let room = &self.solution.slots[slot].plant_room;
        let worth = |exists: bool, value: f64| exists.then(|| Price::clamped(value));
        PlantRoomPlan {
            buffer: room.buffer.map(Temperature::clamped),
            rooms: room.rooms.map(|(air, mass)| RoomsState {
                air: Temperature::clamped(air),
                mass: Temperature::clamped(mass),
            }),
            pool: room.pool.map(Temperature::clamped),
            buffer_value: worth(room.buffer.is_some(), room.buffer_value),
            rooms_value: worth(room.rooms.is_some(), room.rooms_value),
            pool_value: worth(room.pool.is_some(), room.pool_value),
        }
    }
}

/// What the simulated plant did in a slot, each source's jobs one after the other
/// from where they began.
fn done(records: &[JobRecord], length: f64) -> Vec<Work> {
    let mut work: Vec<Work> = Vec::with_capacity(records.len());
    for record in records {
        let ends = work.iter().filter(|job| {
            job.route.source == record.route.source && record.route.source != Source::Buffer
        });
        let end = ends.map(|job| job.delay + job.minutes).fold(0.0, f64::max);
        work.push(Work {
            route: record.route,
            delay: record.delay_minutes.max(end),
            minutes: record.minutes.min(length),
            heat: record.heat_kwh,
            electricity: record.electricity_kwh,
            fuel: record.fuel_kwh,
        });
    }
    // A run with a break in it is told without the break.
    let mut latest: Vec<(Source, f64)> = Vec::new();
    for job in work.iter_mut().rev() {
        let own = latest.iter().position(|(source, _)| *source == job.route.source);
        let end = match own {
            Some(index) if job.route.source != Source::Buffer => latest[index].1,
            _ => length,
        };
        job.delay = job.delay.min(end - job.minutes).max(0.0);
        match own {
            Some(index) => latest[index].1 = job.delay,
            None => latest.push((job.route.source, job.delay)),
        }
    }
    work
}
