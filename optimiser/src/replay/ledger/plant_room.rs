//! What came of a plant room: heat by source and sink, fuel, comfort, losses.

use std::ops::Range;

use super::super::{Run, Stage};
use super::StoredWorth;
use crate::plant::PlantRoomSlot;
use crate::problem::Band;
use crate::site::{HeatSource, Route, Sink, Source};
use crate::units::Temperature;

/// Temperatures at which heat pumps are taken to make what is left over [°C].
const COIL_FLOW: f64 = 50.0;
const CIRCUIT_FLOW: f64 = 35.0;

/// Sums over some slots of a plant room.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoomSums {
    /// Heat, time, electricity and fuel of each route that the site has.
    pub routes: Vec<RouteSums>,
    /// Paid for fuel [minor].
    pub fuel_cost: f64,
    /// Starts of heat pumps and boiler.
    pub starts: usize,
    /// Heat that these starts cost [kWh].
    pub start_kwh: f64,
    /// Hours in which a source was told to run and did not [h].
    pub refused_hours: f64,
    /// Heat through the coils into the stores [kWh].
    pub coils_kwh: f64,
    /// Heat that the return loops took out of the stores [kWh].
    pub loops_kwh: f64,
    /// Heat lost by their pipes [kWh].
    pub pipes_lost_kwh: f64,
    /// Heat lost by the buffer [kWh].
    pub buffer_lost_kwh: f64,
    /// Heat lost by the rooms [kWh].
    pub rooms_lost_kwh: f64,
    /// Gains of the rooms [kWh].
    pub rooms_gain_kwh: f64,
    /// Heat lost by the pool, less what it took from the sun [kWh].
    pub pool_lost_kwh: f64,
    /// Air in the rooms against its comfort.
    pub rooms: Option<BandSums>,
    /// Water of the pool against its comfort.
    pub pool: Option<BandSums>,
    /// Heat in buffer, rooms, pool and pipes, at the end beyond that at the start [kWh].
    pub gained_kwh: f64,
}

/// One source and one sink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RouteSums {
    /// Which.
    pub route: Route,
    /// Heat that reached the sink [kWh].
    pub heat_kwh: f64,
    /// Electricity used, with pumps and controls [kWh].
    pub electricity_kwh: f64,
    /// Fuel burnt [kWh].
    pub fuel_kwh: f64,
    /// Time that it ran [h].
    pub hours: f64,
}

/// A temperature against a band of comfort.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandSums {
    /// Kelvins below the band, times hours [K·h].
    pub below: f64,
    /// Kelvins above it, times hours [K·h].
    pub above: f64,
    /// Hours in which it was below by more than a tenth of a kelvin [h].
    pub hours_below: f64,
    /// Lowest temperature [°C].
    pub lowest: f64,
    /// Highest temperature [°C].
    pub highest: f64,
    /// Hours counted [h].
    pub hours: f64,
}

/// How much colder than asked rooms and pool may be in the mean of a period.
#[derive(Debug, Clone, Copy)]
pub struct RoomsAndPool;

impl RoomsAndPool {
    /// Rooms [K].
    pub const ROOMS_K: f64 = 0.05;

    /// Pool, which may wait [K].
    pub const POOL_K: f64 = 0.25;
}

/// Colder than the band by less is not noticed [K].
const NOTICED_K: f64 = 0.1;

impl Default for BandSums {
    fn default() -> Self {
        Self {
            below: 0.0,
            above: 0.0,
            hours_below: 0.0,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            hours: 0.0,
        }
    }
}

impl BandSums {
    /// Kelvins below the band in the mean of all hours [K].
    pub fn mean_below(&self) -> f64 {
        if self.hours > 0.0 { self.below / self.hours } else { 0.0 }
    }

    fn add(&mut self, celsius: f64, band: Option<Band>, hours: f64) {
        self.lowest = self.lowest.min(celsius);
        self.highest = self.highest.max(celsius);
        self.hours += hours;
        let Some(band) = band else { return };
        let below = (band.low.celsius() - celsius).max(0.0);
        self.below += below * hours;
        self.above += (celsius - band.high.celsius()).max(0.0) * hours;
        if below > NOTICED_K {
            self.hours_below += hours;
        }
    }
}

impl PlantRoomSums {
    /// Counts some slots of a run; `None` for a house without a plant room.
    pub(super) fn of(stage: &Stage<'_>, run: &Run, slots: Range<usize>) -> Option<Self> {
        let trace = run.outcome.plant_room.as_ref()?;
        let site = stage.site();
        let stored = |boundary: usize| trace.stored_kwh(site, boundary);
        let mut sums = Self {
            routes: site.plant_room.routes().into_iter().map(RouteSums::new).collect(),
            rooms: site.plant_room.rooms.map(|_| BandSums::default()),
            pool: site.plant_room.pool.map(|_| BandSums::default()),
            gained_kwh: stored(slots.end) - stored(slots.start),
            ..Self::default()
        };
        let first = stage.timeline().judged().start;
        for slot in slots {
            let record = &trace.slots()[slot];
            let hours = stage.horizon().slots()[slot].hours();
            sums.add(record);
            let bands = stage.timeline().bands(site, first + slot);
            if let Some(rooms) = &mut sums.rooms {
                rooms.add(record.air, bands.0, hours);
            }
            if let Some(pool) = &mut sums.pool {
                pool.add(trace.pool(slot + 1), bands.1, hours);
            }
            for store in &run.outcome.stores {
                sums.coils_kwh += store.slots()[slot].coil_kwh;
                sums.loops_kwh += store.slots()[slot].loop_kwh;
            }
        }
        let price = site.plant_room.boiler.as_ref().map_or(0.0, |b| b.fuel_price.per_kwh());
        sums.fuel_cost = sums.fuel_kwh() * price;
        Some(sums)
    }

    fn add(&mut self, record: &PlantRoomSlot) {
        for job in &record.jobs {
            if let Some(own) = self.routes.iter_mut().find(|own| own.route == job.route) {
                own.heat_kwh += job.heat_kwh;
                own.electricity_kwh += job.electricity_kwh;
                own.fuel_kwh += job.fuel_kwh;
                own.hours += job.minutes / 60.0;
            }
        }
        self.starts += record.starts;
        self.start_kwh += record.start_kwh;
        self.refused_hours += record.refused_minutes / 60.0;
        self.pipes_lost_kwh += record.pipes_lost_kwh;
        self.buffer_lost_kwh += record.buffer_lost_kwh;
        self.rooms_lost_kwh += record.rooms_lost_kwh;
        self.rooms_gain_kwh += record.rooms_gain_kwh;
        self.pool_lost_kwh += record.pool_lost_kwh;
    }

    /// Whether rooms and pool were warm enough.
    pub(super) fn is_comfortable(&self) -> bool {
        let within = |sums: Option<BandSums>, kelvin: f64| {
            sums.is_none_or(|sums| sums.mean_below() <= kelvin)
        };
        within(self.rooms, RoomsAndPool::ROOMS_K) && within(self.pool, RoomsAndPool::POOL_K)
    }

    /// Cold rooms and pool as unmet draws would weigh [kWh], by the weights of plans.
    pub(super) fn discomfort(&self) -> f64 {
        let below = |sums: Option<BandSums>| sums.map_or(0.0, |sums| sums.below);
        3.0 * below(self.rooms) + 0.3 * below(self.pool)
    }

    /// Fuel burnt [kWh].
    pub fn fuel_kwh(&self) -> f64 {
        self.routes.iter().map(|own| own.fuel_kwh).sum()
    }

    /// Heat that buffer, rooms and pool got from sources, and that the books of both
    /// ends, losses and gains do not explain [kWh].
    pub fn residual_kwh(&self) -> f64 {
        let into = |own: &RouteSums| match (own.route.source, own.route.sink) {
            (Source::Buffer, _) | (_, Sink::Coil { .. }) => 0.0,
            _ => own.heat_kwh,
        };
        let given: f64 = self.routes.iter().map(into).sum();
        given + self.loops_kwh + self.rooms_gain_kwh
            - self.pipes_lost_kwh
            - self.buffer_lost_kwh
            - self.rooms_lost_kwh
            - self.pool_lost_kwh
            - self.gained_kwh
    }

    /// Heat that reached rooms and pool [kWh].
    pub fn circuits_kwh(&self) -> f64 {
        let own =
            self.routes.iter().filter(|own| matches!(own.route.sink, Sink::Rooms | Sink::Pool));
        own.map(|own| own.heat_kwh).sum()
    }

    /// Heat that moved, to measure the rest by [kWh].
    pub fn throughput_kwh(&self) -> f64 {
        self.routes.iter().map(|own| own.heat_kwh.abs()).sum::<f64>() + self.rooms_gain_kwh
    }
}

impl RouteSums {
    fn new(route: Route) -> Self {
        Self { route, heat_kwh: 0.0, electricity_kwh: 0.0, fuel_kwh: 0.0, hours: 0.0 }
    }
}

/// What a kWh of heat costs in stores and elsewhere where a kWh of electricity costs
/// so much [minor/kWh]: by the cheapest machine that serves there, else by elements.
pub(super) fn worth_of_heat(stage: &Stage<'_>, electricity: f64) -> StoredWorth {
    let room = &stage.site().plant_room;
    let around = &stage.timeline().surroundings.ambient;
    let judged = stage.timeline().judged();
    let mean = |series: Option<&crate::time::Series<Temperature>>| {
        let own = series.map_or(&[][..], |all| &all.values()[judged.clone()]);
        own.iter().map(|t| t.celsius()).sum::<f64>() / own.len().max(1) as f64
    };
    let (air, ground) = (mean(around.outdoor.as_ref()), mean(around.ground.as_ref()));
    let cost = |route: &Route, flow: f64| match route.source {
        Source::HeatPump(index) => {
            let pump = &room.heat_pumps[index];
            let source = match pump.source {
                HeatSource::Air => air,
                HeatSource::Ground => ground,
            };
            electricity / pump.at(source, flow.min(pump.flow_limit.celsius())).cop
        }
        Source::Boiler => room
            .boiler
            .as_ref()
            .filter(|boiler| !boiler.back_up_only)
            .map_or(f64::INFINITY, crate::site::Boiler::heat_price),
        Source::Immersion => electricity,
        Source::Collectors | Source::Buffer => f64::INFINITY,
    };
    let least = |coils: bool, flow: f64| {
        let own = room.routes();
        let own = own.iter().filter(|r| matches!(r.sink, Sink::Coil { .. }) == coils);
        own.map(|route| cost(route, flow)).fold(electricity, f64::min)
    };
    StoredWorth {
        heat: least(true, COIL_FLOW),
        elsewhere: least(false, CIRCUIT_FLOW),
        battery: electricity,
    }
}
