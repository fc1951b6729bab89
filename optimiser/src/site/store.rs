//! Hot-water stores and what stands in them: elements, coils, the return of
//! the circulation loop.

use crate::units::{Conductance, Flow, Fraction, HeatLoss, Power, Temperature, Volume};
use crate::water;

/// Smallest distance between two rungs of the ladder [K].
pub(super) const RUNG_SPACING_K: f64 = 2.0;

/// A vertical hot-water store heated by immersion elements.
#[derive(Debug, Clone, PartialEq)]
pub struct Store {
    /// Name used in the schedule and on the wire.
    pub name: String,
    /// Water content.
    pub volume: Volume,
    /// Height of the water column [m].
    pub height_m: f64,
    /// Standing loss of the whole store as installed.
    pub heat_loss: HeatLoss,
    /// Temperature around the store.
    pub surroundings: Temperature,
    /// Temperature of the cold water that replaces a draw.
    pub mains: Temperature,
    /// Temperature from which water is of use at the tap.
    pub use_temperature: Temperature,
    /// No water is planned hotter than this.
    pub ceiling: Temperature,
    /// Non-self-resetting cut-out of the store, if known.
    pub cut_out: Option<Temperature>,
    /// Litres kept at the use temperature for draws that nobody foresaw.
    pub held_back: Volume,
    /// A pump that moves top water to the base, so that a pasteurisation
    /// reaches the water below the lowest element.
    pub destratification_pump: bool,
    /// Equal layers of the simulated tank; also sets its mixing (see
    /// [`crate::plant`]).
    pub layers: usize,
    /// Immersion elements, from low to high or in any order.
    pub elements: Vec<Element>,
    /// Heating coils, in any order.
    pub coils: Vec<Coil>,
    /// The secondary circulation that starts and ends in this store, if any.
    pub return_loop: Option<ReturnLoop>,
}

/// A heating coil: a tube in a band of heights that water of a source runs
/// through, hottest first at the top of the band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coil {
    /// Lower end as a share of the store's height.
    pub bottom: Fraction,
    /// Upper end as a share of the store's height.
    pub top: Fraction,
    /// Heat passed for each kelvin between the mean of flow and return and the
    /// water around the coil. [`crate::physics::coil::from_rating`] makes it
    /// of a rating.
    pub transfer: Conductance,
}

/// A secondary circulation: hot water pumped round the house and back into the
/// store, so that taps are quick. It loses and it mixes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReturnLoop {
    /// Length of pipe there and back [m].
    pub length_m: f64,
    /// Loss of each metre for each kelvin above the air around it [W/(m·K)].
    pub loss_w_per_mk: f64,
    /// Water in the pipe, with the heat that its wall holds counted as water.
    pub content: Volume,
    /// Flow while the pump runs.
    pub flow: Flow,
    /// Temperature around the pipe.
    pub surroundings: Temperature,
    /// The pipe thermostat stops the pump when the return is this warm.
    pub cut_off: Temperature,
    /// Height at which the return enters, as a share of the store's height.
    pub return_height: Fraction,
    /// Electrical power of the pump.
    pub pump: Power,
}

/// An immersion element: resistance heat into the water above it.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Name used in the schedule and on the wire.
    pub name: String,
    /// Electrical power when fully on.
    pub power: Power,
    /// Height of the element as a share of the store's height.
    pub height: Fraction,
    /// How its power can be set.
    pub control: Control,
    /// Its own thermostat cuts out at this temperature.
    pub thermostat: Temperature,
}

/// How the power of an element can be set.
#[derive(Debug, Clone, PartialEq)]
pub enum Control {
    /// Fully on or off: part of a slot at full power.
    OnOff,
    /// One of these powers or off, in rising order, the last one full power.
    Staged(Vec<Power>),
    /// Any power up to its full power.
    Modulating,
}

impl ReturnLoop {
    /// Loss of the whole pipe for each kelvin above the air around it [W/K].
    pub fn heat_loss(&self) -> f64 {
        self.length_m * self.loss_w_per_mk
    }
}

impl Store {
    /// Highest temperature that an element can bring water to.
    pub fn reach(&self, element: &Element) -> Temperature {
        let limit = self.ceiling.celsius().min(element.thermostat.celsius());
        Temperature::clamped(limit)
    }

    /// Highest temperature that any element can bring water to; the ceiling
    /// where coils heat as well, since their sources know limits of their own.
    pub fn highest_reach(&self) -> Temperature {
        if !self.coils.is_empty() {
            return self.ceiling;
        }
        self.elements
            .iter()
            .map(|element| self.reach(element))
            .fold(self.mains, |high, t| if t > high { t } else { high })
    }

    /// Height below which no element and no coil heats, as a share of the
    /// height. What stands in the lowest layer of the simulated tank warms that
    /// layer too.
    pub fn lowest_heated(&self) -> f64 {
        let elements = self.elements.iter().map(|e| e.height.value());
        let coils = self.coils.iter().map(|coil| coil.bottom.value());
        let lowest = elements.chain(coils).fold(1.0, f64::min);
        if lowest <= 1.0 / self.layers as f64 { 0.0 } else { lowest }
    }

    /// Fixed temperatures of the ladder above the mains temperature, rising:
    /// the use temperature, a rung between, and the highest temperature an
    /// element reaches; 60 °C is always a rung when in reach, for hygiene.
    /// No rung stands below the use temperature: resistance heat gains nothing
    /// by stopping there, and a ladder without one cannot cheat about it.
    ///
    /// A store with coils has more rungs, one halfway to the use temperature
    /// among them: heat pump and sun give more the colder the water is.
    pub fn rungs(&self) -> Vec<Temperature> {
        let useful = self.use_temperature.celsius();
        let top = self.highest_reach().celsius();
        if !self.coils.is_empty() {
            return self.rungs_for_coils(useful, top);
        }
        let mut rungs = vec![useful];
        let mut candidates = vec![60.0, top];
        if top < 60.0 {
            candidates.insert(0, 0.5 * (useful + top));
        } else if top - 60.0 < RUNG_SPACING_K {
            candidates = vec![0.5 * (useful + 60.0), top];
        }
        for candidate in candidates {
            if rungs.last().is_some_and(|last| candidate - last >= RUNG_SPACING_K)
                && candidate <= top
            {
                rungs.push(candidate);
            }
        }
        rungs.into_iter().map(Temperature::clamped).collect()
    }

    fn rungs_for_coils(&self, useful: f64, top: f64) -> Vec<Temperature> {
        let halfway = 0.5 * (self.mains.celsius() + useful);
        let mut rungs = vec![halfway, useful];
        let between = if useful < 60.0 { 0.5 * (useful + top.min(60.0)) } else { useful };
        for candidate in [between, 60.0, top] {
            let last = rungs[rungs.len() - 1];
            if candidate - last >= RUNG_SPACING_K && candidate <= top {
                rungs.push(candidate);
            }
        }
        rungs.into_iter().map(Temperature::clamped).collect()
    }

    /// Litres at the temperature of use that layers from bottom to top could give now.
    pub fn usable_litres(&self, layers: &[Temperature]) -> f64 {
        let litres = self.volume.litres() / layers.len().max(1) as f64;
        let (wanted, cold) = (self.use_temperature.celsius(), self.mains.celsius());
        let hot = layers.iter().map(|layer| layer.celsius()).filter(|layer| *layer >= wanted);
        hot.map(|hot| litres * water::mixed_litres_per_litre(hot, wanted, cold)).sum()
    }

    /// Heat that the store holds at one temperature, above its mains [kWh].
    pub fn heat_at(&self, temperature: Temperature) -> f64 {
        water::heat_kwh(self.volume.litres(), temperature.above(self.mains))
    }
}

impl Element {
    /// Powers the element can run at, besides off.
    pub fn steps(&self) -> Vec<Power> {
        match &self.control {
            Control::OnOff | Control::Modulating => vec![self.power],
            Control::Staged(powers) => powers.clone(),
        }
    }
}
