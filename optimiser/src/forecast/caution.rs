//! How cautious plans are: the few numbers that a controller learns beside the
//! series it remembers.

/// What is learned from how the taps were served; plain numbers, to be kept
/// across restarts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Caution {
    /// How much of the time the draws of the next half-hour may be more than is
    /// planned for.
    pub risk: f64,
    /// The quantile of draws that later hours are planned for.
    pub later: f64,
    /// How much of the time the draws that follow may be more than the water
    /// kept ready for them.
    pub kept: f64,
}

/// The next half-hour is planned for as later hours are, until too much heat has arrived
/// cold: the reserve is there for the rest.
impl Default for Caution {
    fn default() -> Self {
        Self { risk: 1.0, later: 0.6, kept: 0.003 }
    }
}

impl Caution {
    /// Moves on by a day, from how the last two weeks were served [kWh] towards
    /// a share of draw heat that may be unmet.
    pub fn adapt(&mut self, asked_kwh: f64, unmet_kwh: f64, allowed: f64) {
        if asked_kwh <= 0.0 {
            return;
        }
        let step = if unmet_kwh / asked_kwh > allowed { 0.8 } else { 1.03 };
        self.risk = (self.risk * step).clamp(0.002, 1.0);
        self.kept = (self.kept * step).clamp(0.001, 0.05);
    }

    /// Steps of the water that is kept for draws that nobody knows: how much of the
    /// time more is drawn, and the price of what is missing as a share of that of
    /// heat that arrives cold. That share is how likely it is to be missed, so the
    /// steps follow the expected cost.
    pub fn reserve(&self) -> [(f64, f64); 2] {
        let rare = self.kept;
        let usual = (10.0 * rare).min(0.5);
        [(usual, 0.5 * (usual - rare)), (rare, 0.5 * (usual + rare))]
    }

    /// Quantile for the sum over a number of slots from now.
    pub(super) fn quantile(&self, slots: usize) -> f64 {
        (1.0 - self.risk * (1.0 + slots as f64 / 4.0)).max(self.later)
    }
}
