//! The plant room by rule: thermostats. A store with a coil is heated whenever it
//! is colder than its thermostat, before the rooms, which are held at their lowest
//! comfort; heat pumps go before the boiler. The pool waits. The sun goes to the
//! first store of the collectors.

use std::collections::BTreeMap;

use crate::model::{Duties, Ladder, Response, circulation_kwh, start_mass};
use crate::physics::pool::PoolWeather;
use crate::problem::Problem;
use crate::site::{Route, Sink, Source};
use crate::solution::{PlantRoomFlows, RouteFlow};
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::{MixedStore, target_kwh};

/// Less heat than this is not worth a run [kWh].
const NOTHING: f64 = 1e-6;

/// What the plant room does in a slot.
pub(super) struct RoomSlot {
    pub(super) routes: Vec<RouteFlow>,
    pub(super) room: PlantRoomFlows,
    /// Heat through the coils of each store [kWh].
    pub(super) coils: Vec<f64>,
    pub(super) circulation: f64,
}

/// Whether a heat pump or boiler heats a store through a coil.
pub(super) fn has_machine(problem: &Problem, store: usize) -> bool {
    let machine = |route: &Route| {
        matches!(route.source, Source::HeatPump(_) | Source::Boiler)
            && matches!(route.sink, Sink::Coil { store: own, .. } if own == store)
    };
    problem.site.plant_room.routes().iter().any(machine)
}

/// The plant room from slot to slot.
pub(super) struct RoomRule<'a> {
    problem: &'a Problem,
    ladders: &'a [Ladder],
    duties: Duties,
    mass: f64,
    buffer: Option<f64>,
    pool: Option<f64>,
    /// Time that each source has left in the slot [h].
    left: BTreeMap<Source, f64>,
    /// Electricity that the import limit leaves in the slot [kWh].
    spare: f64,
}

impl<'a> RoomRule<'a> {
    pub(super) fn new(problem: &'a Problem, ladders: &'a [Ladder]) -> Self {
        let here = &problem.state.plant_room;
        Self {
            problem,
            ladders,
            duties: Duties::new(problem, ladders),
            mass: start_mass(problem),
            buffer: here.buffer.map(Temperature::celsius),
            pool: here.pool.map(Temperature::celsius),
            left: BTreeMap::new(),
            spare: 0.0,
        }
    }

    /// The routes in the order of the flows.
    pub(super) fn routes(&self) -> Vec<Route> {
        self.duties.routes.clone()
    }

    /// Moves on by a slot, with `spare` kWh left for the plant room.
    pub(super) fn step(&mut self, slot: usize, stores: &[MixedStore], spare: f64) -> RoomSlot {
        let hours = self.problem.horizon.slots()[slot].hours();
        self.left = self.duties.routes.iter().map(|route| (route.source, hours)).collect();
        self.spare = spare;
        let mut flows = vec![RouteFlow::default(); self.duties.routes.len()];
        let coils = stores.iter().map(|store| self.coils(slot, store, &mut flows)).collect();
        let rooms = self.rooms(slot, &mut flows);
        let pool = self.cooled_pool(slot);
        RoomSlot {
            routes: flows,
            room: PlantRoomFlows { buffer: self.buffer, rooms, pool, ..PlantRoomFlows::default() },
            coils,
            circulation: circulation_kwh(self.problem, slot),
        }
    }

    /// Heats a store to its thermostat; returns the heat.
    fn coils(&mut self, slot: usize, store: &MixedStore, flows: &mut [RouteFlow]) -> f64 {
        let missing = target_kwh(self.problem, store.store) - store.kwh;
        let now = store.celsius(self.problem);
        let mut given = 0.0;
        for index in 0..self.duties.routes.len() {
            let Route { source, sink: Sink::Coil { store: own, .. } } = self.duties.routes[index]
            else {
                continue;
            };
            if own == store.store && (source != Source::Collectors || given <= 0.0) {
                let rungs = &self.ladders[own].temperatures;
                let step = rungs.partition_point(|&t| t <= now).saturating_sub(1);
                given += self.give(slot, (index, step), missing - given, flows);
            }
        }
        given
    }

    /// Holds the lowest comfort of the rooms; returns air and mass.
    fn rooms(&mut self, slot: usize, flows: &mut [RouteFlow]) -> Option<(f64, f64)> {
        let rooms = self.problem.site.plant_room.rooms.as_ref()?;
        let Response { mass, air } = Response::new(self.problem, rooms, slot);
        let low = self.problem.comfort.rooms_aim(slot).map(|band| band.low.celsius());
        let cold = air[0] * self.mass + air[2];
        let wish = low.map_or(0.0, |low| ((low - cold) / air[1]).max(0.0));
        let mut given = self.serve(slot, Sink::Rooms, wish, flows);
        let circuit = Route { source: Source::Buffer, sink: Sink::Rooms };
        let circuit = self.duties.routes.iter().position(|route| *route == circuit);
        let through = self.through_buffer(slot, circuit.map(|_| wish - given), flows);
        if let Some(index) = circuit {
            flows[index].heat = through;
            flows[index].hours = self.problem.horizon.slots()[slot].hours();
        }
        given += through;
        let before = self.mass;
        self.mass = mass[0] * before + mass[1] * given + mass[2];
        Some((air[0] * before + air[1] * given + air[2], self.mass))
    }

    /// Passes heat through the buffer, which keeps its temperature meanwhile and
    /// cools otherwise; returns what comes out.
    fn through_buffer(&mut self, slot: usize, wish: Option<f64>, flows: &mut [RouteFlow]) -> f64 {
        let (Some(buffer), Some(now)) = (&self.problem.site.plant_room.buffer, self.buffer) else {
            return 0.0;
        };
        let hours = self.problem.horizon.slots()[slot].hours();
        let (around, capacity) =
            (buffer.surroundings.celsius(), buffer.volume.litres() * KWH_PER_LITRE_KELVIN);
        let rate = buffer.heat_loss.watts_per_kelvin() / 1_000.0;
        let kept = (-rate * hours / capacity).exp();
        let standing = (rate * hours * (now - around)).max(0.0);
        let wish = wish.unwrap_or(0.0);
        let given = if wish > NOTHING {
            self.serve(slot, Sink::Buffer, wish + standing, flows)
        } else {
            0.0
        };
        if given > standing {
            return given - standing;
        }
        self.buffer = Some(around + (now - around) * kept + given / capacity);
        0.0
    }

    /// Gives heat to a sink from one source after the other; returns what it got.
    fn serve(&mut self, slot: usize, sink: Sink, wish: f64, flows: &mut [RouteFlow]) -> f64 {
        let mut given = 0.0;
        for index in 0..self.duties.routes.len() {
            let Route { source, sink: own } = self.duties.routes[index];
            if own != sink || matches!(source, Source::Buffer | Source::Collectors) {
                continue;
            }
            for step in 0..self.duties.steps[slot][index].len() {
                given += self.give(slot, (index, step), wish - given, flows);
            }
        }
        given
    }

    /// Gives heat by one step of a route, as much as its source has time for and the
    /// meter has room for.
    fn give(
        &mut self,
        slot: usize,
        (index, step): (usize, usize),
        wish: f64,
        flows: &mut [RouteFlow],
    ) -> f64 {
        let hours = self.problem.horizon.slots()[slot].hours();
        let source = self.duties.routes[index].source;
        let Some(step) = self.duties.steps[slot][index].get(step) else { return 0.0 };
        let Some(left) = self.left.get_mut(&source).filter(|_| step.kw > 0.0) else { return 0.0 };
        let metered = if step.electricity > 0.0 { self.spare / step.electricity } else { wish };
        let heat = wish.min(step.kw * *left).min(step.most_kw * hours).min(metered);
        if heat <= NOTHING {
            return 0.0;
        }
        *left -= heat / step.kw;
        self.spare -= heat * step.electricity;
        let flow = &mut flows[index];
        flow.heat += heat;
        flow.hours += heat / step.kw;
        flow.electricity += heat * step.electricity;
        flow.fuel += heat * step.fuel;
        flow.value = self.problem.import_price[slot].per_kwh() * step.electricity;
        heat
    }

    /// The pool after a slot without heating [°C].
    fn cooled_pool(&mut self, slot: usize) -> Option<f64> {
        let pool = self.problem.site.plant_room.pool.as_ref()?;
        let now = self.pool?;
        let weather = PoolWeather::of(&self.problem.ambient, slot);
        let hours = self.problem.horizon.slots()[slot].hours();
        self.pool = Some(now - pool.loss_kw(now, &weather) * hours / pool.capacity_kwh_per_k());
        self.pool
    }
}
