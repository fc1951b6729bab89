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

/// Levels that differ by less are the same [kWh].
const ROUNDING: f64 = 1e-9;

/// What charging from the grid must gain: where later is as cheap, later will do
/// [minor/kWh].
const LATER: f64 = 1e-3;

/// The battery of a problem. What is best for one candidate is kept, and where a change
/// of its heat does not reach, that stands.
#[derive(Debug, Clone)]
pub(super) struct Dispatch {
    battery: Battery,
    base: Course,
    /// The same for a candidate that differs; valid where it does.
    other: Course,
    /// The candidate that `base` was found for.
    anchor: Option<usize>,
    /// Boundaries at which charge is worth something else than in `base`.
    renewed: Vec<bool>,
    room: Slopes,
}

/// What is best over all slots.
#[derive(Debug, Clone)]
struct Course {
    balances: Vec<Balance>,
    /// Worth of charge at every boundary.
    worth: Vec<Slopes>,
    /// Level above the reserve at every boundary [kWh].
    levels: Vec<f64>,
    told: Vec<BatteryCommand>,
}

/// What a slot leaves to the battery.
type Balances<'a> = &'a mut dyn FnMut(usize, PvUse) -> Balance;

/// The same where it is not what it was.
type Others<'a> = &'a mut dyn FnMut(usize, PvUse) -> Option<Balance>;

impl Dispatch {
    pub(super) fn new(problem: &Problem, battery: Battery) -> Self {
        let reserve = battery.reserve.kwh();
        let end = Slopes::of(&problem.end_value.battery, battery.capacity.kwh() - reserve);
        let slots = problem.horizon.len();
        let course = Course {
            balances: vec![Balance::default(); slots],
            worth: vec![end.clone(); slots + 1],
            levels: vec![(problem.state.battery.kwh() - reserve).max(0.0); slots + 1],
            told: vec![BatteryCommand::HOLD; slots],
        };
        Self {
            battery,
            renewed: vec![false; slots + 1],
            room: end,
            other: course.clone(),
            base: course,
            anchor: None,
        }
    }

    /// Whether what is kept was found for a candidate.
    pub(super) fn is_anchored(&self, token: usize) -> bool {
        self.anchor == Some(token)
    }

    /// Finds what suits a candidate, keeps it and tells it.
    pub(super) fn settle(
        &mut self,
        problem: &Problem,
        token: usize,
        balance: Balances<'_>,
        pv: &[PvUse],
    ) -> &[BatteryCommand] {
        self.anchor = Some(token);
        let slots = self.base.balances.len();
        for slot in (0..slots).rev() {
            self.base.balances[slot] = balance(slot, pv[slot]);
            let offers = Offers::new(problem, &self.battery, slot, &self.base.balances[slot]);
            let (until, after) = self.base.worth.split_at_mut(slot + 1);
            until[slot].clone_from(&after[0]);
            offers.apply(&mut until[slot]);
        }
        for slot in 0..slots {
            let hours = problem.horizon.slots()[slot].hours();
            let offers = Offers::new(problem, &self.battery, slot, &self.base.balances[slot]);
            let mut level = self.base.levels[slot];
            let worth = &self.base.worth[slot + 1];
            self.base.told[slot] = command(&self.battery, worth, &offers, &mut level, hours);
            self.base.levels[slot + 1] = level;
        }
        &self.base.told
    }

    /// Sets what suits a candidate whose heat differs from the one kept from a slot on;
    /// the first slot in which the battery does something else than it was told.
    pub(super) fn vary(
        &mut self,
        problem: &Problem,
        first: usize,
        balance: Others<'_>,
        commands: &mut Commands,
    ) -> Option<usize> {
        self.value(problem, first, balance, &commands.pv);
        self.tell(problem, first);
        let told = &self.other.told;
        let first = commands.battery.iter().zip(told).position(|(before, now)| before != now);
        commands.battery.copy_from_slice(told);
        first
    }

    /// Backwards: what charge is worth for the candidate that differs.
    fn value(&mut self, problem: &Problem, first: usize, balance: Others<'_>, pv: &[PvUse]) {
        self.renewed.fill(false);
        for slot in (0..pv.len()).rev() {
            let later = self.renewed[slot + 1];
            let before = self.base.balances[slot];
            if slot < first && !later {
                break;
            }
            let other = if slot < first { None } else { balance(slot, pv[slot]) };
            let own = other.unwrap_or(before);
            self.other.balances[slot] = own;
            if !later && own == before {
                continue;
            }
            let worth = if later { &self.other.worth } else { &self.base.worth };
            self.room.clone_from(&worth[slot + 1]);
            Offers::new(problem, &self.battery, slot, &own).apply(&mut self.room);
            self.renewed[slot] = !self.room.is_like(&self.base.worth[slot]);
            std::mem::swap(&mut self.room, &mut self.other.worth[slot]);
        }
    }

    /// Forwards: what it does then.
    fn tell(&mut self, problem: &Problem, first: usize) {
        let (base, other) = (&self.base, &mut self.other);
        let mut level = base.levels[0];
        for slot in 0..base.told.len() {
            let own = if slot < first { base.balances[slot] } else { other.balances[slot] };
            let same_level = (level - base.levels[slot]).abs() <= ROUNDING;
            let renewed = self.renewed[slot + 1];
            if same_level && !renewed && own == base.balances[slot] {
                other.told[slot] = base.told[slot];
                level = base.levels[slot + 1];
                continue;
            }
            let hours = problem.horizon.slots()[slot].hours();
            let offers = Offers::new(problem, &self.battery, slot, &own);
            let worth = if renewed { &other.worth } else { &base.worth };
            let worth = &worth[slot + 1];
            other.told[slot] = command(&self.battery, worth, &offers, &mut level, hours);
        }
    }
}

/// What pays in a slot, and the level after it.
fn command(
    battery: &Battery,
    worth: &Slopes,
    offers: &Offers,
    level: &mut f64,
    hours: f64,
) -> BatteryCommand {
    let taken = offers.fills.map(|(most, cost)| taken(worth, level, most, cost));
    let given = offers.gives.map(|(most, income)| given(worth, level, most, income));
    let power = |stored: f64, per_stored: f64| Power::clamped(stored * per_stored / hours);
    let inward = 1.0 / battery.charge_efficiency.value();
    let outward = battery.discharge_efficiency.value();
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

    /// What charge is worth before the slot, from what it is worth after it.
    fn apply(&self, worth: &mut Slopes) {
        for (most, cost) in self.fills {
            worth.fill(most, cost);
        }
        for (most, income) in self.gives {
            worth.give(most, income);
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
