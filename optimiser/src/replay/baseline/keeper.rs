//! The plant room as thermostats run it today: hot water before heating, the flow by
//! the weather, the pool last.
//!
//! A sensor in the middle of a store calls for heat five kelvin below its dial; heat
//! pumps go before the boiler, the better one first. The rooms get what holds their
//! lowest comfort, from two hours before it rises; that is better than a room
//! thermostat, which only sees that it is too cold. All of it is common practice, no
//! published source.

use std::collections::BTreeMap;

use super::super::View;
use super::super::timeline::SLOT_SECONDS;
use super::super::view::Read;
use crate::forecast::Knowledge;
use crate::physics::coil::{EXCHANGER_K, SPREAD_K};
use crate::physics::pool::PoolWeather;
use crate::physics::rooms::Network;
use crate::plant::JobCommand;
use crate::problem::Ambient;
use crate::site::{HeatSource, Route, Sink, Site, SolarPriority, Source};
use crate::time::Series;
use crate::units::{Fraction, Irradiance, Power, Temperature, WindSpeed};
use crate::water::KWH_PER_LITRE_KELVIN;

/// Length of a slot [h] and [min].
const HOURS: f64 = SLOT_SECONDS as f64 / 3_600.0;
const MINUTES: f64 = 60.0 * HOURS;

/// A store calls for heat so far below its dial [K].
const CALL_K: f64 = 5.0;

/// A source that can just reach a dial never gets there; it stops so far below [K].
const REACH_K: f64 = 1.5;

/// Half-hours by which the rooms are warmed before their comfort rises.
const LEAD: usize = 4;

/// At full power a source gives what it can, whatever was reckoned with.
const FREE: f64 = 1.5;

/// Less heat than this is not worth a run [kWh].
const NOTHING: f64 = 0.02;

/// The controls of a plant room.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Keeper {
    site: Site,
    network: Option<Network>,
    routes: Vec<Route>,
    dial: f64,
    /// The top of a store is kept at this whatever the clock or the price says [°C].
    floor: Option<f64>,
    /// So much warmer are rooms meanwhile that heat is cheap [K].
    pub(super) preheat: f64,
    /// Stores that call for heat.
    calls: Vec<bool>,
}

/// What is left of a slot.
struct Slot<'a> {
    view: &'a View<'a>,
    outdoor: f64,
    /// Minutes of each source that are not given away yet.
    left: BTreeMap<Source, f64>,
    jobs: Vec<JobCommand>,
}

impl Slot<'_> {
    /// Temperature of what a heat pump takes its heat from [°C].
    fn source(&self, from: HeatSource) -> f64 {
        match from {
            HeatSource::Air => self.outdoor,
            HeatSource::Ground => {
                self.view.sensed(|a| a.ground.as_ref()).map_or(0.0, Temperature::celsius)
            }
        }
    }
}

impl Keeper {
    /// The controls of a house, if it has sources to control.
    pub(in super::super) fn of(
        site: &Site,
        dial: Temperature,
        floor: Option<Temperature>,
    ) -> Option<Self> {
        let routes = site.plant_room.routes();
        let rooms = site.plant_room.rooms.as_ref();
        (!routes.is_empty()).then(|| Self {
            network: rooms.map(|rooms| Network::of(rooms, rooms.loss().watts_per_kelvin())),
            calls: vec![false; site.stores.len()],
            dial: dial.celsius(),
            floor: floor.map(Temperature::celsius),
            preheat: 0.0,
            site: site.clone(),
            routes,
        })
    }

    /// Whether a heat pump or boiler heats a store through a coil.
    pub(in super::super) fn heats(&self, store: usize) -> bool {
        self.routes.iter().any(|route| {
            is_machine(route.source)
                && matches!(route.sink, Sink::Coil { store: own, .. } if own == store)
        })
    }

    /// Jobs for the slot that begins now; `cheap` while clock or price lets stores and
    /// pool be heated, and stores that are `pasteurised` are heated as far as they go.
    pub(in super::super) fn jobs(
        &mut self,
        view: &View<'_>,
        cheap: bool,
        pasteurised: &[usize],
    ) -> Vec<JobCommand> {
        let celsius = |of: fn(&Ambient) -> Option<&Series<Temperature>>| {
            view.sensed(of).map_or(0.0, Temperature::celsius)
        };
        let mut slot = Slot {
            view,
            outdoor: celsius(|a| a.outdoor.as_ref()),
            left: self.routes.iter().map(|route| (route.source, MINUTES)).collect(),
            jobs: Vec::new(),
        };
        for store in 0..self.site.stores.len() {
            self.store(&mut slot, store, cheap, pasteurised.contains(&store));
        }
        self.rooms(&mut slot, cheap);
        self.pool(&mut slot, cheap);
        self.sun(&mut slot);
        slot.jobs
    }

    /// Hot water, if a store calls for it.
    fn store(&mut self, slot: &mut Slot<'_>, store: usize, cheap: bool, pasteurised: bool) {
        let coils: Vec<Sink> = self
            .routes
            .iter()
            .filter(|route| is_machine(route.source))
            .map(|route| route.sink)
            .filter(|sink| matches!(sink, Sink::Coil { store: own, .. } if *own == store))
            .collect();
        let Some(dial) = self.dial(store, cheap, pasteurised) else { return };
        let own = &self.site.stores[store];
        let lowest = |sink: &Sink| match sink {
            Sink::Coil { coil, .. } => own.coils[*coil].bottom.value(),
            _ => 1.0,
        };
        let bottom = coils.iter().map(lowest).fold(1.0, f64::min);
        let layers = &slot.view.state().stores[store];
        let from = ((bottom * layers.len() as f64) as usize).min(layers.len() - 1);
        let heated = &layers[from..];
        let mean = heated.iter().map(|t| t.celsius()).sum::<f64>() / heated.len() as f64;
        let top = heated.last().map_or(mean, |t| t.celsius());
        self.calls[store] = if self.calls[store] {
            mean < dial
        } else if cheap || pasteurised {
            mean < dial - CALL_K
        } else {
            top < dial
        };
        if !self.calls[store] {
            return;
        }
        let litres = own.volume.litres() * heated.len() as f64 / layers.len() as f64;
        let mut missing = litres * KWH_PER_LITRE_KELVIN * (dial - mean);
        for sink in coils {
            missing -= self.serve(slot, sink, missing, mean, true);
        }
    }

    /// To what temperature a store is heated now, if it is heated at all.
    fn dial(&self, store: usize, cheap: bool, pasteurised: bool) -> Option<f64> {
        let room = &self.site.plant_room;
        let reach = |route: &Route| match (route.source, &room.boiler) {
            (Source::HeatPump(index), _) => room.heat_pumps[index].flow_limit.celsius(),
            (Source::Boiler, Some(boiler)) => boiler.flow_limit.celsius(),
            _ => 0.0,
        };
        let own = self
            .routes
            .iter()
            .filter(|route| matches!(route.sink, Sink::Coil { store: own, .. } if own == store));
        let reach = own.map(reach).fold(0.0, f64::max) - 0.5 * SPREAD_K - REACH_K;
        let most = reach.min(self.site.stores[store].ceiling.celsius());
        let wished = match (pasteurised, cheap) {
            (true, _) => Some(most),
            (_, true) => Some(self.dial),
            _ => self.floor,
        };
        wished.map(|dial| dial.min(most)).filter(|_| reach > 0.0)
    }

    /// Heat that holds the rooms at their lowest comfort.
    fn rooms(&self, slot: &mut Slot<'_>, cheap: bool) {
        let room = &self.site.plant_room;
        let (Some(rooms), Some(network), Some(here)) =
            (&room.rooms, &self.network, slot.view.state().plant_room.rooms)
        else {
            return;
        };
        let now = slot.view.now();
        let band = |slot_index: usize| slot.view.bands(&self.site, slot_index, |_| None).0;
        let coming = (now..=now + LEAD).filter_map(band).map(|band| band.low.celsius());
        let low = coming.fold(f64::NEG_INFINITY, f64::max);
        if !low.is_finite() {
            return;
        }
        let high = band(now).map_or(low, |band| band.high.celsius());
        let wish = (low + if cheap { self.preheat } else { 0.0 }).min(high.max(low));
        let gains = slot.view.agreed(|a| a.room_gains.as_ref(), now).unwrap_or(rooms.gains);
        let watts =
            network.heat_for(wish, here.mass.celsius(), HOURS, slot.outdoor, gains.kw() * 1_000.0);
        let flow = rooms.curve.flow(slot.outdoor);
        self.circuit(slot, Sink::Rooms, watts / 1_000.0 * HOURS, flow);
    }

    /// The pool, when stores and rooms have what they need.
    fn pool(&self, slot: &mut Slot<'_>, cheap: bool) {
        let (Some(pool), Some(here)) =
            (&self.site.plant_room.pool, slot.view.state().plant_room.pool)
        else {
            return;
        };
        // A pool that follows the air follows the mean of the last day.
        let (view, outdoor) = (slot.view, slot.outdoor);
        let day = (view.now().saturating_sub(48)..view.now())
            .filter_map(|k| view.weather(|a| a.outdoor.as_ref(), k))
            .map(Temperature::celsius);
        let (sum, count) = day.fold((0.0, 0.0), |(sum, count), air| (sum + air, count + 1.0));
        let mean = if count > 0.0 { sum / count } else { outdoor };
        let Some(band) = view.bands(&self.site, view.now(), |_| Some(mean)).1 else { return };
        let now = here.celsius();
        if !cheap && now > band.low.celsius() - 1.0 {
            return;
        }
        let fraction = |of: Read<Fraction>| view.sensed(of).map_or(0.0, Fraction::value);
        let weather = PoolWeather {
            air: outdoor,
            humidity: fraction(|a| a.humidity.as_ref()),
            wind: view.sensed(|a| a.wind.as_ref()).map_or(0.0, WindSpeed::metres_per_second),
            sun: view
                .sensed(|a| a.horizontal_irradiance.as_ref())
                .map_or(0.0, Irradiance::watts_per_m2),
            covered: fraction(|a| a.pool_cover.as_ref()),
        };
        let standing = pool.loss_kw(now, &weather).max(0.0) * HOURS;
        let missing = pool.capacity_kwh_per_k() * (band.low.celsius() - now);
        if missing > 0.0 {
            let wish = (missing + standing).min(pool.exchanger.kw() * HOURS);
            self.circuit(slot, Sink::Pool, wish, now + EXCHANGER_K + 0.5 * SPREAD_K);
        }
    }

    /// Heat for a circuit, straight from its sources and through the buffer, which is
    /// kept at the temperature of the flow.
    fn circuit(&self, slot: &mut Slot<'_>, sink: Sink, wish: f64, flow: f64) {
        if wish < NOTHING {
            return;
        }
        let rest = wish - self.serve(slot, sink, wish, flow - 0.5 * SPREAD_K, false);
        let route = Route { source: Source::Buffer, sink };
        let (Some(buffer), Some(here)) =
            (&self.site.plant_room.buffer, slot.view.state().plant_room.buffer)
        else {
            return;
        };
        if rest < NOTHING || !self.routes.contains(&route) {
            return;
        }
        let flow = flow.min(buffer.ceiling.celsius());
        let charge = buffer.volume.litres() * KWH_PER_LITRE_KELVIN * (flow - here.celsius());
        let given =
            self.serve(slot, Sink::Buffer, rest + charge.max(0.0), flow - 0.5 * SPREAD_K, false);
        // The pool leaves to the rooms what the buffer holds.
        let heat = if sink == Sink::Pool { rest.min(given) } else { rest };
        let heat = Power::clamped(heat / HOURS);
        slot.jobs.push(JobCommand { route, delay_minutes: 0.0, minutes: MINUTES, heat });
    }

    /// Heat for a sink from one machine after the other, and last from the buffer's
    /// element; returns what they will give. At full power the run is short, else the
    /// source has all the time that is left.
    fn serve(
        &self,
        slot: &mut Slot<'_>,
        sink: Sink,
        wish: f64,
        water: f64,
        full_power: bool,
    ) -> f64 {
        let room = &self.site.plant_room;
        let mut offers: Vec<(Source, f64, f64, f64)> = Vec::new();
        for route in self.routes.iter().filter(|route| route.sink == sink) {
            match (route.source, &room.boiler, room.buffer.as_ref().and_then(|b| b.immersion)) {
                (Source::HeatPump(index), ..) => {
                    let pump = &room.heat_pumps[index];
                    let source = slot.source(pump.source);
                    let flow = match sink {
                        Sink::Coil { store, coil } => {
                            let coil = &self.site.stores[store].coils[coil];
                            coil.flow_for(pump.performance.rated_kw(), water)
                        }
                        _ => water + 0.5 * SPREAD_K,
                    };
                    let at = pump.at(source, flow.min(pump.flow_limit.celsius()));
                    let least = pump.least_share.value() * at.capacity_kw;
                    offers.push((route.source, at.capacity_kw, least, at.cop));
                }
                (Source::Boiler, Some(boiler), _) => {
                    let least = boiler.least_share.value() * boiler.power.kw();
                    offers.push((route.source, boiler.power.kw(), least, 0.0));
                }
                (Source::Immersion, _, Some(element)) => {
                    offers.push((route.source, element.kw(), 0.0, -1.0));
                }
                _ => {}
            }
        }
        offers.sort_by(|a, b| b.3.total_cmp(&a.3));
        let mut given = 0.0;
        for (source, capacity, least, _) in offers {
            let Some(left) = slot.left.get_mut(&source) else { continue };
            let missing = wish - given;
            if missing < NOTHING || *left <= 0.0 || capacity <= 0.0 {
                continue;
            }
            let mean = 60.0 * missing / *left;
            let power = if full_power { capacity } else { mean.clamp(least, capacity) };
            let minutes = (60.0 * missing / power).min(*left);
            slot.jobs.push(JobCommand {
                route: Route { source, sink },
                delay_minutes: MINUTES - *left,
                minutes,
                heat: Power::clamped(if full_power { FREE * power } else { power }),
            });
            *left -= minutes;
            given += power * minutes / 60.0;
        }
        given
    }

    /// Collectors whose sink somebody must choose: the first that they are warm
    /// enough for. A pump station that chooses by itself is left alone.
    fn sun(&self, slot: &mut Slot<'_>) {
        let Some(collectors) = &self.site.plant_room.collectors else { return };
        if collectors.priority != SolarPriority::Optimiser {
            return;
        }
        let light = slot.view.sensed(|a| a.collector_irradiance.as_ref());
        let still =
            collectors.stagnation(slot.outdoor, light.map_or(0.0, Irradiance::watts_per_m2));
        let state = slot.view.state();
        let room = &state.plant_room;
        let water = |sink: &Sink| match *sink {
            Sink::Coil { store, coil } => {
                let (layers, own) = (&state.stores[store], &self.site.stores[store].coils[coil]);
                let at = (own.bottom.value() * layers.len() as f64) as usize;
                layers[at.min(layers.len() - 1)].celsius()
            }
            Sink::Buffer => room.buffer.map_or(f64::INFINITY, Temperature::celsius),
            Sink::Rooms => room.rooms.map_or(f64::INFINITY, |rooms| rooms.air.celsius()),
            Sink::Pool => room.pool.map_or(f64::INFINITY, Temperature::celsius),
        };
        let warm = |sink: &&Sink| {
            let water = water(sink);
            water < collectors.limit.celsius() && still - water >= collectors.start_difference_k
        };
        if let Some(sink) = collectors.serves.iter().find(warm) {
            slot.jobs.push(JobCommand {
                route: Route { source: Source::Collectors, sink: *sink },
                delay_minutes: 0.0,
                minutes: MINUTES,
                heat: Power::constant(1_000.0),
            });
        }
    }
}

fn is_machine(source: Source) -> bool {
    matches!(source, Source::HeatPump(_) | Source::Boiler)
}
