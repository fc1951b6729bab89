//! How cautious plans are: the few numbers that a controller learns beside the
//! series it remembers.

/// What is learned from how the taps were served; plain numbers, to be kept
/// across restarts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Caution {
    /// The quantile of draws that plans are made for: water kept ready is there for the
    /// rest.
    pub planned: f64,
    /// Share of what is allowed that is to be expected to arrive cold.
    pub target: f64,
    /// Share of what is allowed that the price of comfort is made for: a house that is
    /// readier than it need be, because heat was cheap, needs less of a price.
    pub share: f64,
}

impl Default for Caution {
    fn default() -> Self {
        Self { planned: 0.6, target: 0.5, share: 2.0 }
    }
}

/// The target is no more than this. What is allowed is a limit for every year, and a few
/// large draws are nearly all of what arrives cold, so that years scatter to twice of what
/// was to be expected.
const MOST: f64 = 0.6;

/// How much the target follows what arrived cold [1/day].
const RATE: f64 = 0.002;

/// How much the share follows what was to be expected to [1/day].
const FORESEEN_RATE: f64 = 0.1;

impl Caution {
    /// Share of the draws that may arrive cold, by heat.
    pub const ALLOWED: f64 = 0.001;

    /// Moves on by a day, from how the last two weeks were served [kWh] towards
    /// a share of draw heat that may be unmet.
    ///
    /// In the long run the share that is unmet is then what is allowed, whatever the
    /// forecasts are worth (I. Gibbs and E. Candès, "Adaptive conformal inference under
    /// distribution shift", 2021, of logarithms). One draw that fails may use up what a
    /// year allows, so it is remembered for as long: a fortnight without one is no sign.
    pub fn adapt(&mut self, asked_kwh: f64, unmet_kwh: f64, allowed: f64) {
        if asked_kwh <= 0.0 {
            return;
        }
        let beyond = unmet_kwh / asked_kwh / allowed - 1.0;
        self.target = (self.target * (-RATE * beyond).exp()).clamp(0.05, MOST);
    }

    /// Moves on by a day after which a share of the draws was to be expected to arrive
    /// cold, whether it did or not, towards the target.
    pub fn foresee(&mut self, expected: f64, allowed: f64) {
        let beyond = (expected / (self.target * allowed) - 1.0).min(3.0);
        self.share = (self.share * (-FORESEEN_RATE * beyond).exp()).clamp(0.05, 50.0);
    }
}
