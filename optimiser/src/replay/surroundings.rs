//! Weather and habits around a plant room over a whole timeline.

use std::ops::Range;

use super::timeline::Timeline;
use crate::forecast::Mark;
use crate::problem::{Ambient, Band, Comfort, LoopRun};
use crate::site::Site;
use crate::time::{Horizon, Series, Slot};
use crate::units::Temperature;

/// Most slots of a local day on either side of one of them.
const DAY_SLOTS: usize = 50;

/// What a plant room met, and what was asked of it, in every slot of a timeline.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surroundings {
    /// Weather and habits. Ground, cover, gains and the runs of loops follow the
    /// calendar and are known in advance; the rest is weather.
    pub ambient: Ambient,
    /// Comfort by the clock.
    pub comfort: Comfort,
    /// The pool is to be so much warmer than the mean air of the day [K], up to its
    /// limit; takes the place of a band by the clock.
    pub pool_above_air: Option<f64>,
    /// The weather is known in advance; only to measure what its forecast costs.
    pub foreknown: bool,
}

impl Surroundings {
    /// Weather and habits over some slots, which are a horizon of their own.
    pub(super) fn over(&self, slots: Range<usize>, horizon: &Horizon) -> Ambient {
        let all = &self.ambient;
        Ambient {
            outdoor: cut(all.outdoor.as_ref(), &slots, horizon),
            ground: cut(all.ground.as_ref(), &slots, horizon),
            collector_irradiance: cut(all.collector_irradiance.as_ref(), &slots, horizon),
            horizontal_irradiance: cut(all.horizontal_irradiance.as_ref(), &slots, horizon),
            humidity: cut(all.humidity.as_ref(), &slots, horizon),
            wind: cut(all.wind.as_ref(), &slots, horizon),
            pool_cover: cut(all.pool_cover.as_ref(), &slots, horizon),
            room_gains: cut(all.room_gains.as_ref(), &slots, horizon),
            loop_runs: self.loop_runs(horizon),
            held_off: Vec::new(),
        }
    }

    /// Runs of loops that reach into a horizon.
    pub(super) fn loop_runs(&self, horizon: &Horizon) -> Vec<LoopRun> {
        let Some(span) = Slot::new(horizon.start(), horizon.end()) else { return Vec::new() };
        let reaches = |run: &&LoopRun| {
            Slot::new(run.start, run.start + run.seconds)
                .is_some_and(|own| own.overlap_seconds(span) > 0)
        };
        self.ambient.loop_runs.iter().filter(reaches).copied().collect()
    }
}

fn cut<T: Copy>(
    all: Option<&Series<T>>,
    slots: &Range<usize>,
    horizon: &Horizon,
) -> Option<Series<T>> {
    let own = all?.values()[slots.clone()].to_vec();
    Some(Series::new("a part", horizon, own).expect("the horizon is made of these slots"))
}

impl Timeline {
    /// What a plant room meets.
    pub fn surroundings(&self) -> &Surroundings {
        &self.surroundings
    }

    /// The same with what a plant room meets.
    #[must_use]
    pub fn with_surroundings(mut self, around: Surroundings) -> Self {
        self.surroundings = around;
        self
    }

    /// Comfort that was asked of rooms and pool in a slot, with the weather as it was.
    pub fn bands(&self, site: &Site, slot: usize) -> (Option<Band>, Option<Band>) {
        let around = &self.surroundings;
        let air = |slot: usize| around.ambient.outdoor.as_ref().map(|air| air[slot].celsius());
        let above = || pool_above_air(site, around, &self.record().marks, slot, air);
        let rooms = around.comfort.rooms.as_ref().filter(|_| site.plant_room.rooms.is_some());
        let pool = around.comfort.pool.as_ref().filter(|_| site.plant_room.pool.is_some());
        (rooms.map(|bands| bands[slot]), pool.map(|bands| bands[slot]).or_else(above))
    }
}

/// The band of a pool that is to be warmer than the mean air of its day, as far as
/// that air is known.
pub(super) fn pool_above_air(
    site: &Site,
    around: &Surroundings,
    marks: &[Mark],
    slot: usize,
    air: impl Fn(usize) -> Option<f64>,
) -> Option<Band> {
    let (pool, kelvin) = (site.plant_room.pool?, around.pool_above_air?);
    let near = slot.saturating_sub(DAY_SLOTS)..(slot + DAY_SLOTS).min(marks.len());
    let own = near.filter(|&other| marks[other].day == marks[slot].day).filter_map(air);
    let (sum, count) = own.fold((0.0, 0.0), |(sum, count), air| (sum + air, count + 1.0));
    let high = pool.limit;
    let low = if count > 0.0 { sum / count + kelvin } else { high.celsius() };
    Some(Band { low: Temperature::clamped(low.min(high.celsius())), high })
}
