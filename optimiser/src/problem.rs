//! Everything that one solve needs, validated once.

mod ambient;
mod ending;
mod state;

pub use ambient::{Ambient, Band, Comfort, Guard, Held, HeldOff, LoopRun, ROOMS_MARGIN_K, Watch};
pub(crate) use ending::EndBases;
pub use ending::{EndValue, ValueStep};
pub use state::{PlantRoomState, RoomsState, RunState, State};

use crate::published::Published;
use crate::site::{Site, SiteFault};
use crate::time::{Horizon, Instant, Series, Slot, TimeError};
use crate::units::{Energy, Flow, Price, Temperature, Volume};

/// One draw-off: litres at the tap, mixed at the temperature that was asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draw {
    /// Index of the store that serves it.
    pub store: usize,
    /// When the tap opens.
    pub start: Instant,
    /// Litres at the tap, mixed at `temperature`.
    pub volume: Volume,
    /// Temperature asked for at the tap.
    pub temperature: Temperature,
    /// Flow at the tap; with the volume it gives the length of the draw.
    pub flow: Flow,
}

impl Draw {
    /// Heat asked for, above a mains temperature [kWh].
    pub fn heat_kwh(&self, mains: Temperature) -> f64 {
        crate::water::heat_kwh(self.volume.litres(), self.temperature.above(mains))
    }

    /// When the tap closes.
    pub fn end(&self) -> Instant {
        let minutes = self.volume.litres() / self.flow.litres_per_minute().max(0.1);
        self.start + (minutes * 60.0).ceil() as i64
    }
}

/// Hot water promised for a time: an amount that must stand ready.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ready {
    /// Index of the store.
    pub store: usize,
    /// When it must be ready.
    pub by: Instant,
    /// Litres at the tap, mixed at `temperature`.
    pub volume: Volume,
    /// Temperature at the tap.
    pub temperature: Temperature,
    /// How much it weighs if some of it is missing: 1 for a promise, less for
    /// water that is kept only in case.
    pub urgency: f64,
}

impl Ready {
    /// Whether it was promised, and is not kept only in case.
    pub fn is_promised(&self) -> bool {
        self.urgency >= 1.0
    }
}

/// A pasteurisation that falls due: the coldest water of the store must reach
/// a temperature and hold it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hygiene {
    /// Index of the store.
    pub store: usize,
    /// By when the hold must be complete.
    pub due: Instant,
    /// Temperature of the coldest water.
    pub temperature: Temperature,
    /// How long it must hold [s].
    pub hold_seconds: i64,
}

/// An element held by hand for a time. Spans of one element do not overlap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ByHand {
    /// Which element.
    pub heater: HeaterId,
    /// From then.
    pub from: Instant,
    /// Until then.
    pub until: Instant,
    /// On at full power, as far as thermostat and meter let it; otherwise off.
    pub on: bool,
}

impl ByHand {
    /// Seconds of a slot in which it holds.
    pub fn seconds_in(&self, slot: Slot) -> i64 {
        Slot::new(self.from, self.until).map_or(0, |span| span.overlap_seconds(slot))
    }
}

/// Prices of what cannot be bought, in minor units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    /// Cost of draw energy that arrives cold, for each kWh; at least ten times
    /// the dearest price so that it never trades against money.
    pub unmet_per_kwh: f64,
    /// Cost of water missing from a promise or the reserve, for each kWh of it.
    pub short_per_kwh: f64,
    /// Charge for departing from the published plan, for each kWh moved.
    pub change_per_kwh: f64,
    /// Cost of each hour that the rooms are a kelvin outside their comfort.
    pub rooms_per_kelvin_hour: f64,
    /// Cost of each hour that the pool is a kelvin outside its comfort.
    pub pool_per_kelvin_hour: f64,
    /// Share of its import cost that a new plan must save to take the place of a
    /// published one that still serves.
    pub change_share: f64,
}

/// Cold draws weigh so many times as much in a plant room: a source that stops a kelvin
/// short of the hottest draws leaves each of them a little cold.
const COLD_DRAWS: f64 = 2.0;

impl Weights {
    /// Weights that fit a house and a set of prices.
    pub fn for_house(site: &Site, import: &Series<Price>) -> Self {
        let usual = Self::for_prices(import);
        let times = if site.plant_room.is_empty() { 1.0 } else { COLD_DRAWS };
        Self { unmet_per_kwh: times * usual.unmet_per_kwh, ..usual }
    }

    /// Weights that fit a set of prices, where only elements heat.
    pub fn for_prices(import: &Series<Price>) -> Self {
        let dearest = import.values().iter().map(|p| p.per_kwh().abs()).fold(20.0, f64::max);
        Self {
            unmet_per_kwh: 10.0 * dearest,
            short_per_kwh: 3.0 * dearest,
            change_per_kwh: 0.0,
            // Several times what it costs to hold a kelvin for an hour. Much more makes
            // a search chase hundredths of a kelvin and forget the rest of the house.
            rooms_per_kelvin_hour: dearest,
            pool_per_kelvin_hour: dearest,
            change_share: 0.0,
        }
    }
}

/// One planning problem.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// The house.
    pub site: Site,
    /// The slots to plan.
    pub horizon: Horizon,
    /// Unit rate of import.
    pub import_price: Series<Price>,
    /// Unit rate of export.
    pub export_price: Series<Price>,
    /// Energy the PV could give in each slot.
    pub pv: Series<Energy>,
    /// Energy the rest of the house takes in each slot.
    pub base_load: Series<Energy>,
    /// Expected draws, in any order; those outside the horizon are ignored.
    pub draws: Vec<Draw>,
    /// Promised amounts.
    pub ready: Vec<Ready>,
    /// Pasteurisations that fall due.
    pub hygiene: Vec<Hygiene>,
    /// Weather and habits around the plant room.
    pub ambient: Ambient,
    /// Comfort asked of rooms and pool.
    pub comfort: Comfort,
    /// Elements held by hand.
    pub by_hand: Vec<ByHand>,
    /// State at the start of the horizon.
    pub state: State,
    /// Worth of what is left at the end.
    pub end_value: EndValue,
    /// Prices of comfort and of change.
    pub weights: Weights,
    /// The plan already published, if any.
    pub published: Option<Published>,
}

/// Why a problem was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProblemError {
    /// The site contradicts itself.
    #[error("the site cannot be planned: {}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Site(Vec<SiteFault>),
    /// A series does not fit the horizon.
    #[error(transparent)]
    Series(#[from] TimeError),
    /// Something names a store that does not exist.
    #[error("{what} names store {store}, but the site has {stores}")]
    Store {
        /// What refers to the store.
        what: &'static str,
        /// The index it gives.
        store: usize,
        /// Stores of the site.
        stores: usize,
    },
    /// The state does not describe every store.
    #[error("the state has {given} stores with temperatures, the site has {stores}")]
    State {
        /// Profiles given.
        given: usize,
        /// Stores of the site.
        stores: usize,
    },
    /// The site has something that needs what is not given.
    #[error("{what} is missing, and the plant room needs it")]
    Missing {
        /// What is missing.
        what: &'static str,
    },
    /// A comfort band is upside down.
    #[error("{what} has a low above its high")]
    Band {
        /// Whose comfort.
        what: &'static str,
    },
    /// The steps of an end value do not fall.
    #[error("the end value of {what} must fall from step to step")]
    EndValue {
        /// `store N`, `battery`, `buffer`, `rooms` or `pool`.
        what: String,
    },
    /// A weight is not a finite number that is zero or more.
    #[error("weight {what} is {value}; it must be a finite number, zero or more")]
    Weight {
        /// Name of the weight.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// An element is held by hand that does not exist.
    #[error("store {} has no element {} to be held by hand", .0.store, .0.element)]
    ByHand(HeaterId),
    /// The published plan does not have a row for each element and a value for each
    /// slot that it covers.
    #[error("the published plan does not fit the elements and slots of the problem")]
    Published,
}

/// An element together with the indices of its store and itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HeaterId {
    /// Index of the store in [`Site::stores`].
    pub store: usize,
    /// Index of the element in the store.
    pub element: usize,
}

impl Problem {
    /// Checks the parts against each other and returns the problem.
    ///
    /// # Errors
    /// The first part that contradicts another; site faults all together.
    pub fn validated(self) -> Result<Self, ProblemError> {
        let faults = self.site.faults();
        if !faults.is_empty() {
            return Err(ProblemError::Site(faults));
        }
        self.check_lengths()?;
        let stores = self.site.stores.len();
        let named = self
            .draws
            .iter()
            .map(|d| ("a draw", d.store))
            .chain(self.ready.iter().map(|r| ("a ready time", r.store)))
            .chain(self.hygiene.iter().map(|h| ("a pasteurisation", h.store)));
        for (what, store) in named {
            if store >= stores {
                return Err(ProblemError::Store { what, store, stores });
            }
        }
        self.state.fits(&self.site)?;
        self.ambient.fits(&self.site, &self.horizon)?;
        self.comfort.fits(&self.horizon)?;
        self.check_end_value()?;
        for (what, value) in [
            ("unmet", self.weights.unmet_per_kwh),
            ("short", self.weights.short_per_kwh),
            ("change", self.weights.change_per_kwh),
            ("rooms", self.weights.rooms_per_kelvin_hour),
            ("pool", self.weights.pool_per_kelvin_hour),
            ("change share", self.weights.change_share),
        ] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ProblemError::Weight { what, value });
            }
        }
        for ready in &self.ready {
            if !(ready.urgency.is_finite() && ready.urgency >= 0.0) {
                return Err(ProblemError::Weight { what: "urgency", value: ready.urgency });
            }
        }
        let unknown = self.by_hand.iter().find(|hand| !self.heaters().any(|id| id == hand.heater));
        if let Some(hand) = unknown {
            return Err(ProblemError::ByHand(hand.heater));
        }
        if let Some(published) = &self.published {
            let slots = published.slots;
            let fits = published.heaters.len() == self.heaters().count()
                && published.heaters.iter().all(|row| row.len() == slots)
                && published.battery.len() == slots
                && slots <= self.horizon.len();
            if !fits {
                return Err(ProblemError::Published);
            }
        }
        Ok(self)
    }

    fn check_lengths(&self) -> Result<(), TimeError> {
        let slots = self.horizon.len();
        for (what, values) in [
            ("the import price", self.import_price.values().len()),
            ("the export price", self.export_price.values().len()),
            ("the PV forecast", self.pv.values().len()),
            ("the base load", self.base_load.values().len()),
        ] {
            if values != slots {
                return Err(TimeError::Length { what, values, slots });
            }
        }
        Ok(())
    }

    fn check_end_value(&self) -> Result<(), ProblemError> {
        let falls = |steps: &[ValueStep]| steps.windows(2).all(|p| p[1].value <= p[0].value);
        if self.end_value.stores.len() > self.site.stores.len() {
            return Err(ProblemError::EndValue { what: "too many stores".to_owned() });
        }
        if let Some(store) = self.end_value.stores.iter().position(|steps| !falls(steps)) {
            return Err(ProblemError::EndValue { what: format!("store {store}") });
        }
        let end = &self.end_value;
        let single = [
            ("battery", &end.battery),
            ("buffer", &end.buffer),
            ("rooms", &end.rooms),
            ("pool", &end.pool),
        ];
        match single.into_iter().find(|(_, steps)| !falls(steps)) {
            Some((what, _)) => Err(ProblemError::EndValue { what: what.to_owned() }),
            None => Ok(()),
        }
    }

    /// The least and the most energy that an element is to use in a slot [kWh]: its
    /// rating, and what is held by hand. No thermostat can be made to use the least.
    pub fn range_kwh(&self, id: HeaterId, slot: usize) -> (f64, f64) {
        let slot = self.horizon.slots()[slot];
        let kw = self.site.stores[id.store].elements[id.element].power.kw();
        let held = |on: bool| -> f64 {
            let spans = self.by_hand.iter().filter(|hand| hand.heater == id && hand.on == on);
            let seconds: i64 = spans.map(|hand| hand.seconds_in(slot)).sum();
            kw * seconds as f64 / 3_600.0
        };
        (held(true), (kw * slot.hours() - held(false)).max(0.0))
    }

    /// All elements, store by store.
    pub fn heaters(&self) -> impl Iterator<Item = HeaterId> + '_ {
        self.site.stores.iter().enumerate().flat_map(|(store, s)| {
            (0..s.elements.len()).map(move |element| HeaterId { store, element })
        })
    }
}
