//! What a plant room meets beyond prices, PV, load and draws, what of it is held
//! off, and the comfort that is asked of it.

use super::{HeaterId, ProblemError};
use crate::site::{Exposure, HeatSource, Route, Sink, Site, Source};
use crate::time::{Horizon, Instant, Series, Slot, TimeError};
use crate::units::{Fraction, Irradiance, Power, Temperature, Volume, WindSpeed};

/// Weather and habits around the plant room. A series is needed only where
/// the site has something that it acts on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ambient {
    /// Outdoor air; for air-source heat pumps, rooms, collectors, outdoor pools.
    pub outdoor: Option<Series<Temperature>>,
    /// Brine from the ground; for ground-source heat pumps.
    pub ground: Option<Series<Temperature>>,
    /// Irradiance on the plane of the collectors.
    pub collector_irradiance: Option<Series<Irradiance>>,
    /// Global irradiance on a horizontal plane; for outdoor pools.
    pub horizontal_irradiance: Option<Series<Irradiance>>,
    /// Relative humidity of the outdoor air; for outdoor pools.
    pub humidity: Option<Series<Fraction>>,
    /// Wind as the weather states it; for outdoor pools.
    pub wind: Option<Series<WindSpeed>>,
    /// Part of each slot that the pool lies under its cover; none is open.
    pub pool_cover: Option<Series<Fraction>>,
    /// Heat of people, appliances and sun in the rooms; the site's mean
    /// without it.
    pub room_gains: Option<Series<Power>>,
    /// When the pumps of secondary circulations run, if their pipe thermostats
    /// let them.
    pub loop_runs: Vec<LoopRun>,
    /// What may not heat meanwhile, by hand or by order of the network.
    pub held_off: Vec<HeldOff>,
}

/// A source, or whatever heats a store through its coils, held off for a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeldOff {
    /// What is held off.
    pub what: Held,
    /// From then.
    pub from: Instant,
    /// Until then.
    pub until: Instant,
}

/// What can be held off in a plant room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// A source, whatever it serves.
    Source(Source),
    /// Every source of a store, by its index.
    Store(usize),
    /// One source for one sink, such as a circuit of the buffer.
    Route(Route),
}

/// A run of the pump of a secondary circulation, timed or started by movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LoopRun {
    /// Index of the store.
    pub store: usize,
    /// When it starts.
    pub start: Instant,
    /// How long it runs [s].
    pub seconds: i64,
}

/// Temperatures between which people are content.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lowest.
    pub low: Temperature,
    /// Highest.
    pub high: Temperature,
}

/// Comfort asked of rooms, pool and stores in each slot; nothing where there is none.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Comfort {
    /// Air in the rooms.
    pub rooms: Option<Series<Band>>,
    /// Water of the pool.
    pub pool: Option<Series<Band>>,
    /// Elements that keep water warm on their own thermostats while the plan has no
    /// other use for them.
    pub guards: Vec<Guard>,
}

/// An element that stands guard.
#[derive(Debug, Clone, PartialEq)]
pub struct Guard {
    /// The element.
    pub heater: HeaterId,
    /// What it watches in each slot; `None` where it is off.
    pub watches: Series<Option<Watch>>,
}

/// What wakes an element that stands guard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Watch {
    /// The water around it is colder than a dial, up to which it then heats.
    Dial(Temperature),
    /// Less than this is there at the temperature of use, whatever is the matter
    /// elsewhere in the store.
    Litres(Volume),
}

impl Ambient {
    /// Whether a route is held off in some part of a slot; it is then planned as held
    /// off for all of it.
    pub fn holds_off(&self, route: Route, slot: Slot) -> bool {
        self.held_off.iter().any(|held| {
            let own = match held.what {
                Held::Source(source) => source == route.source,
                Held::Route(held) => held == route,
                Held::Store(index) => {
                    matches!(route.sink, Sink::Coil { store, .. } if store == index)
                }
            };
            own && held.from < slot.end() && slot.start() < held.until
        })
    }

    /// Checks that every series fits the horizon and that what the site needs
    /// is there.
    ///
    /// # Errors
    /// The first series that does not fit or is missing.
    pub fn fits(&self, site: &Site, horizon: &Horizon) -> Result<(), ProblemError> {
        let room = &site.plant_room;
        let outdoor_pool =
            room.pool.is_some_and(|pool| matches!(pool.exposure, Exposure::Outdoor { .. }));
        let from = |source| room.heat_pumps.iter().any(|pump| pump.source == source);
        for (what, length, needed) in [
            (
                "the outdoor temperature",
                length(self.outdoor.as_ref()),
                from(HeatSource::Air)
                    || room.rooms.is_some()
                    || room.collectors.is_some()
                    || outdoor_pool,
            ),
            ("the ground temperature", length(self.ground.as_ref()), from(HeatSource::Ground)),
            (
                "the irradiance on the collectors",
                length(self.collector_irradiance.as_ref()),
                room.collectors.is_some(),
            ),
            (
                "the horizontal irradiance",
                length(self.horizontal_irradiance.as_ref()),
                outdoor_pool,
            ),
            ("the humidity", length(self.humidity.as_ref()), outdoor_pool),
            ("the wind", length(self.wind.as_ref()), outdoor_pool),
            ("the pool cover", length(self.pool_cover.as_ref()), false),
            ("the gains of the rooms", length(self.room_gains.as_ref()), false),
        ] {
            series_fits(what, length, needed, horizon)?;
        }
        let stores = site.stores.len();
        match self.loop_runs.iter().find(|run| run.store >= stores) {
            Some(run) => {
                Err(ProblemError::Store { what: "a run of the loop", store: run.store, stores })
            }
            None => Ok(()),
        }
    }
}

/// Rooms are planned so much above their lowest comfort [K]: a plan of half-hours follows
/// it only in the mean, since machines run and rest for many minutes.
pub const ROOMS_MARGIN_K: f64 = 0.2;

impl Comfort {
    /// The air that a plan aims at in a slot.
    pub(crate) fn rooms_aim(&self, slot: usize) -> Option<Band> {
        let Band { low, high } = *self.rooms.as_ref()?.values().get(slot)?;
        let aim = (low.celsius() + ROOMS_MARGIN_K).min(high.celsius());
        Some(Band { low: Temperature::clamped(aim.max(low.celsius())), high })
    }

    /// The water that a plan aims at in the pool in a slot.
    pub(crate) fn pool_aim(&self, slot: usize) -> Option<Band> {
        self.pool.as_ref()?.values().get(slot).copied()
    }

    /// Checks that every series fits the horizon and that bands are bands.
    ///
    /// # Errors
    /// The first series that does not fit, or whose low is above its high.
    pub fn fits(&self, horizon: &Horizon) -> Result<(), ProblemError> {
        for (what, band) in
            [("the comfort of the rooms", &self.rooms), ("the comfort of the pool", &self.pool)]
        {
            series_fits(what, length(band.as_ref()), false, horizon)?;
            let bands = band.iter().flat_map(Series::values);
            if bands.into_iter().any(|band| band.low > band.high) {
                return Err(ProblemError::Band { what });
            }
        }
        Ok(())
    }
}

fn length<T: Copy>(series: Option<&Series<T>>) -> Option<usize> {
    series.map(|series| series.values().len())
}

fn series_fits(
    what: &'static str,
    length: Option<usize>,
    needed: bool,
    horizon: &Horizon,
) -> Result<(), ProblemError> {
    match length {
        Some(values) if values != horizon.len() => {
            Err(TimeError::Length { what, values, slots: horizon.len() }.into())
        }
        None if needed => Err(ProblemError::Missing { what }),
        _ => Ok(()),
    }
}
