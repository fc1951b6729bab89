//! One step: sources, return loops, circuits.

use super::super::JobCommand;
use super::super::course::Course;
use super::super::scene::{PumpRun, SlotAmbient};
use super::super::store::{Bench, StorePlant};
use super::super::tank::Heat;
use super::super::trace::StoreTrace;
use super::machine::{self, Output, Rules};
use super::room_trace::draw_power;
use super::{Inner, JobRecord, PlantRoomSlot, Works};
use crate::physics::coil::SPREAD_K;
use crate::site::{HeatSource, Route, Sink, SolarPriority, Source};
use crate::water::{KWH_PER_LITRE_KELVIN, heat_kwh};

/// The pipe thermostat closes this far below its cut-off [K] (common practice,
/// no published source).
const PIPE_STAT_K: f64 = 5.0;

/// A heat pump stops charging the buffer so far above what the circuits need [K]
/// (common practice, no published source).
const BUFFER_STAT_K: f64 = 5.0;

/// Devices in [`super::super::Span::element`]: heat pumps and boiler come first.
const SOLAR_PUMP: usize = 1_000;
const LOOP_PUMPS: usize = 2_000;

/// Everything that a step works on.
pub(super) struct Moment<'m, 'c> {
    pub(super) works: &'m Works,
    pub(super) stores: &'m [StorePlant],
    pub(super) benches: &'m mut [Bench],
    pub(super) courses: &'m mut [Course<'c>],
    pub(super) traces: &'m mut [StoreTrace],
    pub(super) ambient: &'m SlotAmbient,
    pub(super) slot_start: f64,
    pub(super) jobs: &'m [JobCommand],
    pub(super) now: f64,
    pub(super) until: f64,
    pub(super) inner: &'m mut Inner,
    pub(super) record: &'m mut PlantRoomSlot,
}

impl Moment<'_, '_> {
    fn hours(&self) -> f64 {
        (self.until - self.now) / 3_600.0
    }

    /// The job that a source is told to do now; the first of several.
    fn job(&self, source: Source) -> Option<&JobCommand> {
        active(self.jobs, source, self.slot_start, 0.5 * (self.now + self.until)).next()
    }

    /// Lets the store of a sink run on until now: what touches it meets it as it is.
    fn meet(&mut self, sink: Sink) {
        if let Sink::Coil { store, .. } = sink {
            self.meet_store(store);
        }
    }

    fn meet_store(&mut self, store: usize) {
        let (bench, course) = (&mut self.benches[store], &mut self.courses[store]);
        self.stores[store].advance(bench, course, &mut self.traces[store], self.now);
    }

    fn port(&self, sink: Sink) -> super::port::Port {
        self.works.port(sink, self.stores, self.benches, self.inner, self.ambient, self.hours())
    }

    /// The same for a machine. The thermostat of a heat pump lets it charge the
    /// buffer to what the circuits need, and go on a little beyond.
    fn machine_port(&self, source: Source, sink: Sink, runs: bool) -> super::port::Port {
        let port = self.port(sink);
        let (Source::HeatPump(_), Sink::Buffer, Some(buffer)) =
            (source, sink, &self.works.site.plant_room.buffer)
        else {
            return port;
        };
        let needed = self.works.circuits_need(self.inner, self.ambient);
        let limit = needed + if runs { BUFFER_STAT_K } else { 0.0 };
        let capacity = buffer.volume.litres() * KWH_PER_LITRE_KELVIN;
        let room_left = capacity * (limit - self.inner.buffer) / self.hours();
        super::port::Port { most_kw: room_left.clamp(0.0, port.most_kw), ..port }
    }

    /// Heat pumps, boiler, collectors, the buffer's element.
    pub(super) fn sources(&mut self) {
        self.inner.rooms_heat = 0.0;
        for index in 0..self.works.site.plant_room.heat_pumps.len() {
            let pump = &self.works.site.plant_room.heat_pumps[index];
            let source = match pump.source {
                HeatSource::Air => self.ambient.outdoor,
                HeatSource::Ground => self.ambient.ground,
            };
            let rules = Rules {
                least_run: pump.least_run_seconds as f64,
                least_rest: pump.least_rest_seconds as f64,
                start_loss: pump.start_loss.kwh(),
            };
            self.machine(Source::HeatPump(index), index, &rules, |port, wish| {
                machine::heat_pump(pump, source, port, wish)
            });
        }
        if let Some(boiler) = &self.works.site.plant_room.boiler {
            let rules = Rules {
                least_run: boiler.least_run_seconds as f64,
                least_rest: 0.0,
                start_loss: 0.0,
            };
            let index = self.works.site.plant_room.heat_pumps.len();
            self.machine(Source::Boiler, index, &rules, |port, wish| {
                machine::boiler(boiler, port, wish)
            });
        }
        self.solar();
        self.immersion();
    }

    fn machine(
        &mut self,
        source: Source,
        index: usize,
        rules: &Rules,
        output: impl Fn(&super::port::Port, f64) -> Option<Output>,
    ) {
        let told = self.job(source).map(|job| (job.route.sink, job.heat.kw()));
        let state = self.inner.machines[index];
        let (serves, starts) = state.choose(told.map(|(sink, _)| sink), rules);
        let wish = told.map_or(0.0, |(_, kw)| kw);
        if let Some(sink) = serves {
            self.meet(sink);
        }
        let port = |sink| self.machine_port(source, sink, state.serves.is_some());
        let given = serves.and_then(|sink| output(&port(sink), wish).map(|o| (sink, o)));
        let seconds = self.until - self.now;
        if told.is_some() && given.is_none() {
            self.record.refused_minutes += seconds / 60.0;
        }
        let Some((sink, output)) = given else {
            self.inner.machines[index].pass(None, seconds);
            return;
        };
        self.inner.machines[index].pass(Some(sink), seconds);
        if starts {
            self.inner.machines[index].owed_kwh = rules.start_loss;
            self.record.starts += 1;
        }
        let made = output.heat * self.hours();
        let owed = self.inner.machines[index].owed_kwh.min(made);
        self.inner.machines[index].owed_kwh -= owed;
        self.record.start_kwh += owed;
        let reached = self.give(sink, made - owed);
        self.draw(index, output.electricity);
        self.book(Route { source, sink }, reached, output.electricity, output.fuel);
    }

    /// The collectors into the sink that the pump station or the plan chooses.
    fn solar(&mut self) {
        let Some(collectors) = &self.works.site.plant_room.collectors else { return };
        let (air, light) = (self.ambient.outdoor, self.ambient.collectors);
        let still = collectors.stagnation(air, light);
        let needed = if self.inner.solar_runs {
            collectors.stop_difference_k
        } else {
            collectors.start_difference_k
        };
        let told = self.job(Source::Collectors).map(|job| job.route.sink);
        let guarded = self.works.guarded;
        let mut chosen = None;
        let sinks = match collectors.priority {
            SolarPriority::Optimiser => told.as_slice(),
            SolarPriority::Absolute | SolarPriority::Relative => collectors.serves.as_slice(),
        };
        for &sink in sinks {
            self.meet(sink);
            let port = self.port(sink);
            let open = port.most_kw > 0.0 && port.water < collectors.limit.celsius();
            let warm = still - port.water >= needed;
            if open && (warm || collectors.priority != SolarPriority::Relative) {
                chosen = Some((sink, port)).filter(|_| warm || !guarded);
                break;
            }
        }
        self.inner.solar_runs = false;
        let Some((sink, port)) = chosen else { return };
        let through = 2.0 * collectors.flow.litres_per_minute() * 60.0 * KWH_PER_LITRE_KELVIN;
        let heat = collectors.heat_kw(port.water, port.conductance.min(through), air, light);
        if guarded && heat <= 0.0 {
            return;
        }
        self.inner.solar_runs = true;
        let reached = self.give(sink, heat.min(port.most_kw) * self.hours());
        self.record.reverse_kwh += (-reached).max(0.0);
        self.draw(SOLAR_PUMP, collectors.pump.kw());
        self.book(Route { source: Source::Collectors, sink }, reached, collectors.pump.kw(), 0.0);
    }

    fn immersion(&mut self) {
        let element = self.works.site.plant_room.buffer.as_ref().and_then(|b| b.immersion);
        let (Some(element), Some(job)) = (element, self.job(Source::Immersion)) else { return };
        let route = job.route;
        let kw = job.heat.kw().min(element.kw()).min(self.port(route.sink).most_kw);
        let reached = self.give(route.sink, kw * self.hours());
        draw_power(&mut self.record.immersion, 0, self.now, self.until, kw);
        self.book(route, reached, kw, 0.0);
    }

    /// Gives heat [kWh] to a sink and returns what it took.
    fn give(&mut self, sink: Sink, kwh: f64) -> f64 {
        let room = &self.works.site.plant_room;
        match sink {
            Sink::Coil { store, coil } => {
                let band = self.works.coils[store][coil].clone();
                let hours = self.hours();
                let kw = kwh / band.len() as f64 / hours;
                let limit = self.works.site.stores[store].ceiling.celsius();
                let (tank, water) = (&self.stores[store].tank, &mut self.benches[store].water);
                let mut given = 0.0;
                let lowest = band.start;
                for layer in band {
                    let mut heat = [Heat { layer, kw, limit, given_kwh: 0.0 }];
                    tank.heat(water, hours, &mut heat);
                    given += heat[0].given_kwh;
                }
                // What layers that are hot already leave over goes where it is colder.
                let kw = (kwh - given) / hours;
                if kw > 0.0 {
                    let mut heat = [Heat { layer: lowest, kw, limit, given_kwh: 0.0 }];
                    tank.heat(water, hours, &mut heat);
                    given += heat[0].given_kwh;
                }
                self.courses[store].record.coil_kwh += given;
                given
            }
            Sink::Buffer => {
                let litres = room.buffer.as_ref().map_or(1.0, |b| b.volume.litres());
                self.inner.buffer += kwh / (litres * KWH_PER_LITRE_KELVIN);
                kwh
            }
            Sink::Rooms => {
                self.inner.rooms_heat += kwh / self.hours();
                kwh
            }
            Sink::Pool => {
                self.inner.pool += kwh / room.pool.map_or(1.0, |p| p.capacity_kwh_per_k());
                kwh
            }
        }
    }

    fn draw(&mut self, device: usize, kw: f64) {
        self.record.electricity_kwh += kw * self.hours();
        draw_power(&mut self.record.spans, device, self.now, self.until, kw);
    }

    fn book(&mut self, route: Route, heat_kwh: f64, electricity: f64, fuel: f64) {
        let hours = self.hours();
        self.record.book(JobRecord {
            route,
            delay_minutes: (self.now - self.slot_start) / 60.0,
            minutes: 60.0 * hours,
            heat_kwh,
            electricity_kwh: electricity * hours,
            fuel_kwh: fuel * hours,
        });
    }

    /// Return loops: water from the top into the pipe, and back from it.
    pub(super) fn loops(&mut self, runs: &[PumpRun]) {
        let (hours, middle) = (self.hours(), 0.5 * (self.now + self.until));
        for store in 0..self.stores.len() {
            let Some(pipe) = self.works.site.stores[store].return_loop else { continue };
            let here = self.inner.pipes[store];
            let cut_off = pipe.cut_off.celsius();
            if here >= cut_off {
                self.inner.pipe_stats[store] = true;
            } else if here <= cut_off - PIPE_STAT_K {
                self.inner.pipe_stats[store] = false;
            }
            let due = |run: &PumpRun| run.store == store && run.start <= middle && middle < run.end;
            let on = !self.inner.pipe_stats[store] && runs.iter().any(due);
            let capacity = pipe.content.litres() * KWH_PER_LITRE_KELVIN;
            let loss = pipe.heat_loss() / 1_000.0;
            let litres = if on { pipe.flow.litres_per_minute() * 60.0 * hours } else { 0.0 };
            let flow = litres * KWH_PER_LITRE_KELVIN / hours;
            let around = pipe.surroundings.celsius();
            if on {
                self.meet_store(store);
            }
            let top = self.benches[store].water.top();
            // The mean of a stirred pipe over the step, in closed form.
            let settled = (flow * top + loss * around) / (flow + loss);
            let reach = (flow + loss) * hours / capacity;
            let mean = settled + (here - settled) * (1.0 - (-reach).exp()) / reach;
            let mut taken = 0.0;
            if on {
                let tank = &self.stores[store].tank;
                let water = &mut self.benches[store].water;
                let outlet = tank.layers() - 1;
                let left = tank.pass(water, self.works.returns[store], outlet, litres, mean);
                taken = heat_kwh(litres, left - mean);
                self.courses[store].record.loop_kwh += taken;
                self.draw(LOOP_PUMPS + store, pipe.pump.kw());
            }
            let lost = loss * (mean - around) * hours;
            self.record.pipes_lost_kwh += lost;
            self.inner.pipes[store] += (taken - lost) / capacity;
        }
    }
}

/// Whether a job is to run at an instant.
pub(super) fn runs(job: &JobCommand, slot_start: f64, instant: f64) -> bool {
    let start = slot_start + 60.0 * job.delay_minutes;
    start <= instant && instant < start + 60.0 * job.minutes
}

/// Jobs of a source that are to run at an instant.
fn active(
    jobs: &[JobCommand],
    source: Source,
    slot_start: f64,
    instant: f64,
) -> impl Iterator<Item = &JobCommand> {
    jobs.iter().filter(move |job| job.route.source == source && runs(job, slot_start, instant))
}

/// Circuits take from the buffer; buffer, rooms and pool stand for the step
/// from `now` to `until` of a slot [s].
pub(super) fn circuits(
    works: &Works,
    ambient: &SlotAmbient,
    jobs: &[JobCommand],
    (slot_start, slot_end, now, until): (f64, f64, f64, f64),
    inner: &mut Inner,
    record: &mut PlantRoomSlot,
) {
    let room = &works.site.plant_room;
    let hours = (until - now) / 3_600.0;
    let slot_hours = (slot_end - slot_start) / 3_600.0;
    if let Some(buffer) = &room.buffer {
        let capacity = buffer.volume.litres() * KWH_PER_LITRE_KELVIN;
        for job in active(jobs, Source::Buffer, slot_start, 0.5 * (now + until)) {
            let sink = job.route.sink;
            let port = works.port(sink, &[], &[], inner, ambient, hours);
            // No circuit draws the buffer below its own temperature.
            let held = (capacity * (inner.buffer - port.water - 0.5 * SPREAD_K) / hours).max(0.0);
            let kw = job.heat.kw().min(port.heat_at(inner.buffer.min(port.hottest))).min(held);
            inner.buffer -= kw * hours / capacity;
            match sink {
                Sink::Rooms => inner.rooms_heat += kw,
                _ => inner.pool += kw * hours / room.pool.map_or(1.0, |p| p.capacity_kwh_per_k()),
            }
            record.book(JobRecord {
                route: job.route,
                delay_minutes: (now - slot_start) / 60.0,
                minutes: 60.0 * hours,
                heat_kwh: kw * hours,
                electricity_kwh: 0.0,
                fuel_kwh: 0.0,
            });
        }
        let around = buffer.surroundings.celsius();
        let decay = (-buffer.heat_loss.watts_per_kelvin() / 1_000.0 * hours / capacity).exp();
        let lost = capacity * (inner.buffer - around) * (1.0 - decay);
        inner.buffer -= lost / capacity;
        record.buffer_lost_kwh += lost;
    }
    if let (Some(rooms), Some(network)) = (&room.rooms, &works.network) {
        let gains = ambient.gains.unwrap_or(rooms.gains.kw() * 1_000.0);
        let step =
            network.step(inner.mass, hours, ambient.outdoor, inner.rooms_heat * 1_000.0, gains);
        inner.mass = step.mass;
        inner.air = step.air;
        record.air += step.air * hours / slot_hours;
        record.rooms_lost_kwh += step.lost_w / 1_000.0 * hours;
        record.rooms_gain_kwh += gains / 1_000.0 * hours;
    }
    if let Some(pool) = &room.pool {
        let lost = pool.loss_to(inner.pool, &ambient.pool) * hours;
        inner.pool -= lost / pool.capacity_kwh_per_k();
        record.pool_lost_kwh += lost;
    }
}
