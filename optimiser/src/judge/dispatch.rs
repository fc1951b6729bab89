//! What the battery does, once it is known when elements heat.
//!
//! The battery alone is one store with piecewise linear costs, so its best use
//! is found exactly: backwards the worth of charge at the start of each slot as
//! a concave function of the level (as in [`crate::worth`]), then forwards what
//! pays at that worth. It is told what to do in words that hold when sun and
//! load turn out otherwise: whether a surplus is worth keeping, and whether
//! charge is worth giving.

use crate::plant::{Balance, BatteryCommand, Commands, PvUse};
use crate::problem::Problem;
use crate::schedule::BatteryMode;
use crate::site::Battery;
use crate::units::Power;
use crate::worth::Slopes;

/// Less energy than this is rounding [kWh].
const NOTHING: f64 = 1e-6;

/// Worths that differ by less are equal [minor/kWh].
const EQUAL: f64 = 1e-6;

/// What charging from the grid must gain: where later is as cheap, later will do
/// [minor/kWh].
const LATER: f64 = 1e-3;

/// The battery of a problem, and what was found best the last time: where a change of
/// heat does not reach, that stands.
#[derive(Debug, Clone)]
pub(super) struct Dispatch {
    battery: Battery,
    /// Worth of charge at every boundary.
    worth: Vec<Slopes>,
    balances: Vec<Balance>,
    /// Level above the reserve at every boundary [kWh].
    levels: Vec<f64>,
    /// What it is told; empty before the first time.
    told: Vec<BatteryCommand>,
    room: Slopes,
}

impl Dispatch {
    pub(super) fn new(problem: &Problem, battery: Battery) -> Self {
        let reserve = battery.reserve.kwh();
        let end = Slopes::of(&problem.end_value.battery, battery.capacity.kwh() - reserve);
        let slots = problem.horizon.len();
        Self {
            battery,
            room: end.clone(),
            // With nothing to take or give, charge is worth the same all the time.
            worth: vec![end; slots + 1],
            balances: vec![Balance::default(); slots],
            levels: vec![(problem.state.battery.kwh() - reserve).max(0.0); slots + 1],
            told: Vec::new(),
        }
    }

    /// Sets what the battery does in every slot; the first that changed.
    pub(super) fn decide(
        &mut self,
        problem: &Problem,
        balance: &mut dyn FnMut(usize, PvUse) -> Balance,
        commands: &mut Commands,
    ) -> Option<usize> {
        let slots = self.balances.len();
        // The first slot that decides on something new.
        let mut from = if self.told.is_empty() { 0 } else { slots };
        let mut other_worth = false;
        for slot in (0..slots).rev() {
            let own = balance(slot, commands.pv[slot]);
            let other_balance = own != self.balances[slot];
            if !other_worth && !other_balance {
                continue;
            }
            from = slot;
            self.balances[slot] = own;
            self.room.clone_from(&self.worth[slot + 1]);
            let offers = Offers::new(problem, &self.battery, slot, &own);
            for (most, cost) in offers.fills {
                self.room.fill(most, cost);
            }
            for (most, income) in offers.gives {
                self.room.give(most, income);
            }
            other_worth = self.room != self.worth[slot];
            std::mem::swap(&mut self.room, &mut self.worth[slot]);
        }
        self.told.resize(slots, BatteryCommand::HOLD);
        for slot in from..slots {
            let hours = problem.horizon.slots()[slot].hours();
            let offers = Offers::new(problem, &self.battery, slot, &self.balances[slot]);
            let mut level = self.levels[slot];
            self.told[slot] = self.command(&self.worth[slot + 1], &offers, &mut level, hours);
            self.levels[slot + 1] = level;
        }
        let first = (0..slots).find(|&slot| commands.battery[slot] != self.told[slot]);
        commands.battery.copy_from_slice(&self.told);
        first
    }

    /// What pays in a slot, and the level after it.
    fn command(
        &self,
        worth: &Slopes,
        offers: &Offers,
        level: &mut f64,
        hours: f64,
    ) -> BatteryCommand {
        let taken = offers.fills.map(|(most, cost)| taken(worth, level, most, cost));
        let given = offers.gives.map(|(most, income)| given(worth, level, most, income));
        let power = |stored: f64, per_stored: f64| Power::clamped(stored * per_stored / hours);
        let inward = 1.0 / self.battery.charge_efficiency.value();
        let outward = self.battery.discharge_efficiency.value();
        if taken[2] > NOTHING {
            return BatteryCommand {
                mode: BatteryMode::Charge,
                power: power(taken.iter().sum(), inward),
            };
        }
        if given[1] > NOTHING {
            return BatteryCommand {
                mode: BatteryMode::Discharge,
                power: power(given.iter().sum(), outward),
            };
        }
        let kept = worth.above(*level).or_else(|| worth.below(*level)).map_or(0.0, |p| p.1);
        let spent = worth.below(*level).or_else(|| worth.above(*level)).map_or(0.0, |p| p.1);
        let absorbs = taken[1] > NOTHING || kept >= offers.fills[1].1 - EQUAL;
        let supplies = if given[0] > NOTHING {
            // A part that is worth more later is left for then.
            given[0] >= 0.5 * offers.gives[0].0
        } else {
            spent <= offers.gives[0].1 + EQUAL
        };
        let mode = match (absorbs, supplies) {
            (true, true) => BatteryMode::Follow,
            (true, false) => BatteryMode::Absorb,
            (false, true) => BatteryMode::Supply,
            (false, false) => BatteryMode::Hold,
        };
        BatteryCommand { mode, power: Power::constant(0.0) }
    }
}

/// Ways to fill and to use the battery in a slot, as stored energy [kWh] with
/// its cost or income [minor/kWh], the best first.
struct Offers {
    /// PV that is given up otherwise, PV that is exported otherwise, the grid.
    fills: [(f64, f64); 3],
    /// The house, the grid.
    gives: [(f64, f64); 2],
}

impl Offers {
    fn new(problem: &Problem, battery: &Battery, slot: usize, balance: &Balance) -> Self {
        let inward = battery.charge_efficiency.value();
        let outward = battery.discharge_efficiency.value();
        let import = problem.import_price[slot].per_kwh();
        let export = problem.export_price[slot].per_kwh();
        let wear = battery.wear.per_kwh();
        let fill = |kwh: f64, price: f64| (kwh * inward, price / inward);
        let give = |kwh: f64, price: f64| (kwh / outward, (price - wear) * outward);
        Self {
            fills: [
                fill(balance.spilled, 0.0),
                fill(balance.surplus, export),
                fill(balance.bought, import + LATER),
            ],
            gives: [give(balance.gap, import), give(balance.sold, export)],
        }
    }
}

/// Takes what is worth more than it costs.
fn taken(worth: &Slopes, level: &mut f64, most: f64, cost: f64) -> f64 {
    let before = *level;
    let mut left = most;
    while left > NOTHING
        && let Some((room, slope)) = worth.above(*level)
        && slope >= cost - EQUAL
    {
        let step = left.min(room);
        *level += step;
        left -= step;
    }
    *level - before
}

/// Gives what brings more than it is worth.
fn given(worth: &Slopes, level: &mut f64, most: f64, income: f64) -> f64 {
    let before = *level;
    let mut left = most;
    while left > NOTHING
        && let Some((stock, slope)) = worth.below(*level)
        && slope <= income + EQUAL
    {
        let step = left.min(stock);
        *level -= step;
        left -= step;
    }
    before - *level
}
