//! Everything beyond elements that makes, holds and uses heat, and which source
//! may serve which sink.

use super::{
    Boiler, Buffer, Collectors, HeatPump, Phases, Pool, Rooms, SiteFault, Store, boiler, buffer,
    collectors, fault, heat_pump, phases, pool, rooms,
};

/// Sources, circuits and sinks of a plant room; empty for a house of stores
/// and elements.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantRoom {
    /// Buffer vessel or low-loss header.
    pub buffer: Option<Buffer>,
    /// Heat pumps.
    pub heat_pumps: Vec<HeatPump>,
    /// Boiler for oil or gas.
    pub boiler: Option<Boiler>,
    /// Solar thermal collectors with their pump station.
    pub collectors: Option<Collectors>,
    /// The heated rooms.
    pub rooms: Option<Rooms>,
    /// The pool.
    pub pool: Option<Pool>,
    /// The phases, where the connection has three or they matter.
    pub phases: Option<Phases>,
}

/// Where heat comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// The heat pump with this index.
    HeatPump(usize),
    /// The boiler.
    Boiler,
    /// The collectors.
    Collectors,
    /// The immersion element of the buffer.
    Immersion,
    /// The buffer, which gives to its circuits what others gave it.
    Buffer,
}

/// Where heat goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sink {
    /// A store, through one of its coils.
    Coil {
        /// Index of the store.
        store: usize,
        /// Index of the coil in the store.
        coil: usize,
    },
    /// The buffer.
    Buffer,
    /// The rooms, through their emitters.
    Rooms,
    /// The pool, through its heat exchanger.
    Pool,
}

/// A source together with a sink that it may serve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Route {
    /// Where the heat comes from.
    pub source: Source,
    /// Where it goes.
    pub sink: Sink,
}

impl PlantRoom {
    /// Whether there is nothing beyond stores, elements, battery and grid.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Every route, source by source in the order of [`Source`], and for each
    /// source in the order that the site gives. Jobs of a schedule keep it.
    pub fn routes(&self) -> Vec<Route> {
        let pumps = self
            .heat_pumps
            .iter()
            .enumerate()
            .map(|(index, pump)| (Source::HeatPump(index), pump.serves.as_slice()));
        let boiler = self.boiler.iter().map(|b| (Source::Boiler, b.serves.as_slice()));
        let sun = self.collectors.iter().map(|c| (Source::Collectors, c.serves.as_slice()));
        let element = self
            .buffer
            .iter()
            .filter(|buffer| buffer.immersion.is_some())
            .map(|_| (Source::Immersion, [Sink::Buffer].as_slice()));
        let circuits = self.buffer.iter().map(|b| (Source::Buffer, b.feeds.as_slice()));
        pumps
            .chain(boiler)
            .chain(sun)
            .chain(element)
            .chain(circuits)
            .flat_map(|(source, sinks)| sinks.iter().map(move |sink| Route { source, sink: *sink }))
            .collect()
    }

    /// Every source once, in the order of the routes.
    pub fn sources(&self) -> Vec<Source> {
        let mut sources: Vec<Source> = self.routes().iter().map(|route| route.source).collect();
        sources.dedup();
        sources
    }

    /// Whether a sink exists beside the stores of the site.
    pub fn has_sink(&self, sink: Sink, stores: &[Store]) -> bool {
        match sink {
            Sink::Coil { store, coil } => stores.get(store).is_some_and(|s| coil < s.coils.len()),
            Sink::Buffer => self.buffer.is_some(),
            Sink::Rooms => self.rooms.is_some(),
            Sink::Pool => self.pool.is_some(),
        }
    }

    /// Every contradiction.
    pub(super) fn faults(&self, stores: &[Store], faults: &mut Vec<SiteFault>) {
        if let Some(buffer) = &self.buffer {
            buffer::faults(buffer, faults);
        }
        for (index, pump) in self.heat_pumps.iter().enumerate() {
            heat_pump::faults(pump, faults);
            if self.heat_pumps[..index].iter().any(|other| other.name == pump.name) {
                faults.push(fault(
                    &heat_pump::place(pump),
                    "name",
                    "another heat pump has the same name; names must differ",
                ));
            }
        }
        if let Some(boiler) = &self.boiler {
            boiler::faults(boiler, faults);
        }
        if let Some(collectors) = &self.collectors {
            collectors::faults(collectors, faults);
        }
        if let Some(rooms) = &self.rooms {
            rooms::faults(rooms, faults);
        }
        if let Some(pool) = &self.pool {
            pool::faults(pool, faults);
        }
        if let Some(phases) = &self.phases {
            phases::faults(phases, self, stores, faults);
        }
        self.route_faults(stores, faults);
    }

    /// A source that serves what is not there, twice, or nothing.
    fn route_faults(&self, stores: &[Store], faults: &mut Vec<SiteFault>) {
        let routes = self.routes();
        for (index, route) in routes.iter().enumerate() {
            let place = self.place(route.source);
            if !self.has_sink(route.sink, stores) {
                let rule = match route.sink {
                    Sink::Coil { store, coil } => format!(
                        "it serves coil {coil} of store {store}, which the site does not have"
                    ),
                    Sink::Buffer => "it serves a buffer, but the site has none".to_owned(),
                    Sink::Rooms => "it serves rooms, but the site describes none".to_owned(),
                    Sink::Pool => "it serves a pool, but the site has none".to_owned(),
                };
                faults.push(fault(&place, "serves", &rule));
            }
            if routes[..index].contains(route) {
                faults.push(fault(&place, "serves", "it names one sink twice; name each once"));
            }
        }
        let idle = (0..self.heat_pumps.len())
            .map(Source::HeatPump)
            .chain(self.boiler.iter().map(|_| Source::Boiler))
            .chain(self.collectors.iter().map(|_| Source::Collectors))
            .filter(|source| routes.iter().all(|route| route.source != *source));
        for source in idle {
            faults.push(fault(&self.place(source), "serves", "it serves nothing; name its sinks"));
        }
    }

    /// The words for a source in a fault.
    fn place(&self, source: Source) -> String {
        match source {
            Source::HeatPump(index) => heat_pump::place(&self.heat_pumps[index]),
            Source::Boiler => "boiler".to_owned(),
            Source::Collectors => "collectors".to_owned(),
            Source::Immersion => "immersion element of the buffer".to_owned(),
            Source::Buffer => "buffer".to_owned(),
        }
    }
}
