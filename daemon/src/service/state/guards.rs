//! What keeps a source from heating something: it is as hot as it may be, nobody knows
//! how hot it is, or the sun is colder.

use optimiser::site::{Sink, Source};
use optimiser::time::Instant;

use super::{Role, State};
use crate::service::commands::Feeder;
use crate::service::readings::Freshness;

/// What is seen of something that holds heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sight {
    /// Nothing measures it; the model speaks for it.
    Unmeasured,
    /// Something measures it and is not to be believed now.
    Lost,
    /// As warm as this [°C].
    Seen(f64),
}

impl State {
    /// What its fresh inputs say: their mean for the rooms, the hottest of others.
    pub fn sight(&self, role: Role, now: Instant) -> Sight {
        let own = self.settings.inputs.iter().filter(|input| input.role == role);
        if own.clone().count() == 0 {
            return Sight::Unmeasured;
        }
        let fresh: Vec<f64> = own
            .filter_map(|input| match input.gate.freshness(now) {
                Freshness::Fresh(reading) => Some(reading.value),
                Freshness::Missing | Freshness::Stale { .. } => None,
            })
            .collect();
        let hottest = fresh.iter().copied().max_by(f64::total_cmp);
        match (hottest, role) {
            (None, _) => Sight::Lost,
            (Some(_), Role::Sink(Sink::Rooms)) => {
                Sight::Seen(fresh.iter().sum::<f64>() / fresh.len() as f64)
            }
            (Some(hottest), _) => Sight::Seen(hottest),
        }
    }

    /// Why a source or circuit may not heat a sink now, if it may not.
    pub(super) fn guard(&self, now: Instant, feeder: Feeder, sink: Sink) -> Option<String> {
        self.too_hot(now, sink).or_else(|| self.unknown(now, sink)).or_else(|| {
            let sun = feeder == Feeder::Source(Source::Collectors);
            if sun { self.sunless(now, sink) } else { None }
        })
    }

    /// The limits of a sink, which win over everything.
    pub(super) fn too_hot(&self, now: Instant, sink: Sink) -> Option<String> {
        if let Sink::Coil { store, .. } = sink {
            let ceiling = self.settings.plant.stores[store].ceiling;
            let hottest = self.reading(store, now).hottest;
            let hot = hottest.is_some_and(|hottest| hottest >= ceiling);
            return hot.then(|| "the store is as hot as it may be".to_owned());
        }
        let limits = &self.settings.plant_room.limits;
        let (_, limit) = limits.iter().find(|(own, _)| *own == sink)?;
        match self.sight(Role::Sink(sink), now) {
            Sight::Seen(celsius) if celsius >= limit.celsius() => {
                Some(format!("{} may not be warmer than {limit}", words(sink)))
            }
            _ => None,
        }
    }

    /// A sink that a probe should speak for and none does. Rooms have thermostats of
    /// their own, and are not left to freeze for a probe.
    fn unknown(&self, now: Instant, sink: Sink) -> Option<String> {
        match sink {
            Sink::Coil { store, .. } => {
                if let Some(until) = self.overrides.store_off(now, store) {
                    return Some(format!("the store is off by hand until {until}"));
                }
                let blind = self.reading(store, now).is_blind();
                blind.then(|| "no trustworthy reading of this store".to_owned())
            }
            Sink::Rooms => None,
            Sink::Buffer | Sink::Pool => (self.sight(Role::Sink(sink), now) == Sight::Lost)
                .then(|| format!("no trustworthy reading of {}", words(sink))),
        }
    }

    /// The collectors are colder than what they would heat, or nobody knows.
    fn sunless(&self, now: Instant, sink: Sink) -> Option<String> {
        let collectors = match self.sight(Role::Collectors, now) {
            Sight::Unmeasured => return None,
            Sight::Lost => return Some("no trustworthy reading of the collectors".to_owned()),
            Sight::Seen(celsius) => celsius,
        };
        let water = match sink {
            Sink::Coil { store, .. } => self.coldest(now, store),
            other => match self.sight(Role::Sink(other), now) {
                Sight::Seen(celsius) => Some(celsius),
                Sight::Unmeasured | Sight::Lost => None,
            },
        }?;
        let needed = water + self.settings.plant_room.stop_difference_k;
        // Without figures: they change with every reading, and are said again each time.
        (collectors < needed).then(|| format!("the collectors are too cold for {}", words(sink)))
    }

    /// The coldest of the fresh probes of a store [°C].
    fn coldest(&self, now: Instant, store: usize) -> Option<f64> {
        let own = self.settings.inputs.iter().filter(|i| i.role == Role::Probe { store });
        own.filter_map(|input| match input.gate.freshness(now) {
            Freshness::Fresh(reading) => Some(reading.value),
            Freshness::Missing | Freshness::Stale { .. } => None,
        })
        .min_by(f64::total_cmp)
    }
}

fn words(sink: Sink) -> &'static str {
    match sink {
        Sink::Coil { .. } => "the store",
        Sink::Buffer => "the buffer",
        Sink::Rooms => "the rooms",
        Sink::Pool => "the pool",
    }
}
