//! The best parameters of each rule in hindsight.

use super::super::{Ledger, Run, Stage, StoredWorth};
use super::rule::{Rule, Ruled, Window};
use crate::site::Site;
use crate::units::Temperature;

/// Rooms are tried so much warmer while a rule heats [K].
const PREHEAT_K: f64 = 1.0;

/// The top of a store is tried to be kept at this at any time [°C].
const REHEAT: f64 = 45.0;

/// Share of the heat asked for that is rounding.
const ROUNDING: f64 = 1e-9;

/// The kinds of rules that are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Thermostat only.
    Thermostat,
    /// A timer on the local clock.
    Timer,
    /// PV surplus to the element first, and a timer.
    SurplusFirst,
    /// The cheapest half-hours of each day.
    CheapestSlots,
    /// Below a price threshold.
    Threshold,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Thermostat, Self::Timer, Self::SurplusFirst, Self::CheapestSlots, Self::Threshold];

    /// The name used in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Thermostat => "thermostat",
            Self::Timer => "timer",
            Self::SurplusFirst => "surplus-first",
            Self::CheapestSlots => "cheapest-slots",
            Self::Threshold => "threshold",
        }
    }

    fn rules(self, has_pv: bool) -> Vec<Rule> {
        let windows = || {
            let starts = [44, 0, 2, 4, 6, 8, 10, 22, 26];
            let lengths = [4, 6, 8, 10, 14];
            starts.into_iter().flat_map(move |from| {
                lengths.into_iter().map(move |length| Window { from, length })
            })
        };
        match self {
            Self::Thermostat => vec![Rule::Thermostat],
            Self::Timer => windows().map(Rule::Timer).collect(),
            Self::SurplusFirst if has_pv => windows().map(Rule::SurplusFirst).collect(),
            Self::SurplusFirst => Vec::new(),
            Self::CheapestSlots => {
                [3, 4, 5, 6, 7, 8, 10, 12, 16, 20].map(Rule::CheapestSlots).to_vec()
            }
            Self::Threshold => {
                [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6].map(Rule::Threshold).to_vec()
            }
        }
    }
}

/// A rule with its best parameters.
#[derive(Debug, Clone)]
pub struct Tuned {
    /// Which kind.
    pub kind: Kind,
    /// The rule as it was set.
    pub ruled: Ruled,
    /// How the period went under it.
    pub run: Run,
    /// Cost, the measure of the choice [minor].
    pub cost: f64,
    /// Whether it kept unmet heat, and cold rooms and pool, within what is allowed.
    pub comfortable: bool,
    /// Everything that was too cold, as unmet heat [kWh].
    pub discomfort: f64,
}

/// A period that a rule is tuned on.
#[derive(Debug, Clone, Copy)]
pub struct Ground<'a> {
    /// House and period.
    pub stage: &'a Stage<'a>,
    /// Slots at its start that do not count.
    pub lead: usize,
    /// What stored energy is valued at.
    pub worth: StoredWorth,
    /// How many times it counts beside others.
    pub times: f64,
}

/// A rule with the parameters that are best for several periods together.
#[derive(Debug, Clone)]
pub struct TunedTogether {
    /// The rule as it was set.
    pub ruled: Ruled,
    /// How each period went under it.
    pub runs: Vec<Run>,
    cost: f64,
    comfortable: bool,
    discomfort: f64,
    /// Heat that the taps asked for, which is the same under every rule [kWh].
    asked: f64,
}

/// Finds the cheapest parameters of a rule that leave no more than a share of
/// the draw heat unmet and miss no pasteurisation; failing that, those that
/// leave least. `None` if the rule makes no sense in the house.
pub fn tune(
    stage: &Stage<'_>,
    kind: Kind,
    allowed_unmet: f64,
    worth: StoredWorth,
) -> Option<Tuned> {
    let found =
        tune_together(&[Ground { stage, lead: 0, worth, times: 1.0 }], kind, allowed_unmet)?;
    let TunedTogether { ruled, runs, cost, comfortable, discomfort, .. } = found;
    let run = runs.into_iter().next()?;
    Some(Tuned { kind, ruled, run, cost, comfortable, discomfort })
}

/// Tunes a rule for several periods of the same house: one setting for all, as
/// somebody sets a timer for the year.
pub fn tune_together(
    grounds: &[Ground<'_>],
    kind: Kind,
    allowed_unmet: f64,
) -> Option<TunedTogether> {
    let site = grounds.first()?.stage.site();
    let sunny = |ground: &Ground<'_>| {
        let timeline = ground.stage.timeline();
        timeline.record().pv[timeline.judged()].iter().any(|e| e.kwh() > 0.0)
    };
    let works = !site.plant_room.routes().is_empty();
    let rules = kind.rules(grounds.iter().any(sunny));
    let mut best: Option<TunedTogether> = None;
    for rule in rules.into_iter().filter(|rule| !works || is_coarse(*rule)) {
        let variants = if works { of_works } else { variants };
        for ruled in variants(site, rule) {
            let Some(runs) = heated(grounds, &ruled, allowed_unmet, best.as_ref()) else {
                continue;
            };
            // A battery that may charge meanwhile is tried without as well.
            let ways: &[bool] =
                if ruled.charges && !works { &[false, true] } else { &[ruled.charges] };
            for &charges in ways {
                let ruled = ruled.clone().charging(charges);
                let found = TunedTogether::metered(grounds, ruled, runs.clone(), allowed_unmet);
                if best.as_ref().is_none_or(|best| found.is_better_than(best)) {
                    best = Some(found);
                }
            }
        }
    }
    best
}

/// The heat of every period under a rule, which the battery does not change; `None`
/// once it is certain that it leaves too much unmet to be better than the best.
fn heated(
    grounds: &[Ground<'_>],
    ruled: &Ruled,
    allowed_unmet: f64,
    best: Option<&TunedTogether>,
) -> Option<Vec<Run>> {
    let most = best.map_or(f64::INFINITY, |best| {
        let allowed = allowed_unmet * best.asked;
        let least = if best.comfortable { 0.0 } else { best.discomfort };
        ROUNDING.mul_add(best.asked, allowed.max(least))
    });
    let mut unmet = 0.0;
    grounds
        .iter()
        .map(|ground| {
            ground.stage.run_heat(&mut ruled.clone(), &mut |outcome, slot| {
                if slot >= ground.lead {
                    let stores = outcome.stores.iter();
                    let cold: f64 = stores.map(|trace| trace.slots()[slot].unmet_kwh).sum();
                    unmet += ground.times * cold;
                }
                unmet <= most
            })
        })
        .collect()
}

impl TunedTogether {
    /// What runs cost whose heat is known.
    fn metered(
        grounds: &[Ground<'_>],
        ruled: Ruled,
        mut runs: Vec<Run>,
        allowed_unmet: f64,
    ) -> Self {
        for (ground, run) in grounds.iter().zip(&mut runs) {
            if !ruled.charges {
                run.commands.battery.fill(Ruled::FOLLOW);
            }
            ground.stage.run_meter(run);
        }
        let ledgers: Vec<Ledger> = grounds
            .iter()
            .zip(&runs)
            .map(|(ground, run)| {
                Ledger::of(ground.stage, run, ground.lead..ground.stage.horizon().len())
            })
            .collect();
        let sum = |of: &dyn Fn(&Ledger, StoredWorth) -> f64| -> f64 {
            let each = grounds.iter().zip(&ledgers);
            each.map(|(ground, ledger)| ground.times * of(ledger, ground.worth)).sum()
        };
        let counted = ledgers.iter().zip(grounds.iter().map(|ground| ground.times));
        Self {
            cost: sum(&|ledger, worth| ledger.cost(worth)),
            discomfort: sum(&|ledger, _| ledger.discomfort()),
            asked: sum(&|ledger, _| ledger.taps.asked_kwh),
            comfortable: Ledger::are_comfortable(counted, allowed_unmet),
            ruled,
            runs,
        }
    }

    fn is_better_than(&self, best: &Self) -> bool {
        match (self.comfortable, best.comfortable) {
            (true, true) => self.cost < best.cost,
            (false, false) => self.discomfort < best.discomfort,
            (comfortable, _) => comfortable,
        }
    }
}

/// What is tried of a rule in a plant room, whose simulation takes fifty times as
/// long as that of a store.
fn is_coarse(rule: Rule) -> bool {
    match rule {
        Rule::Thermostat => true,
        Rule::Timer(window) | Rule::SurplusFirst(window) => {
            matches!((window.from, window.length), (0, 8 | 14) | (26, 8))
        }
        Rule::CheapestSlots(count) => [8, 12, 20].contains(&count),
        Rule::Threshold(share) => [0.2, 0.4].iter().any(|own| (share - own).abs() < 1e-9),
    }
}

/// Dials, reheating, preheating and battery to try with a rule in a plant room.
fn of_works(site: &Site, rule: Rule) -> Vec<Ruled> {
    let from_grid = site.battery.is_some_and(|b| b.charges_from_grid);
    let charging = from_grid && rule != Rule::Thermostat;
    let mut all = Vec::new();
    for dial in [50.0, 60.0].map(Temperature::constant) {
        let new = |floor: Option<f64>, charges| {
            Ruled::new(site, rule, dial, floor.map(Temperature::clamped), charges)
        };
        if rule == Rule::Thermostat {
            all.push(new(None, false));
            continue;
        }
        all.extend([None, Some(REHEAT)].map(|floor| new(floor, charging)));
        if site.plant_room.rooms.is_some() && !matches!(rule, Rule::SurplusFirst(_)) {
            all.push(new(Some(REHEAT), charging).preheating(PREHEAT_K));
        }
    }
    all
}

/// Dials and boost to try with a rule; the battery charges meanwhile where it may.
fn variants(site: &Site, rule: Rule) -> Vec<Ruled> {
    let dials = [50.0, 55.0, 60.0, 65.0, 70.0].map(Temperature::constant);
    let top = site.stores.iter().map(|s| s.highest_reach().celsius()).fold(0.0, f64::max);
    let has_boost = site.stores.iter().any(|store| store.elements.len() > 1);
    let boosts: &[Option<f64>] = if has_boost { &[None, Some(45.0), Some(50.0)] } else { &[None] };
    let charges = site.battery.is_some_and(|b| b.charges_from_grid) && rule != Rule::Thermostat;
    let mut all = Vec::new();
    for dial in dials.into_iter().filter(|d| d.celsius() <= top + 1e-9) {
        for boost in boosts {
            let boost = boost.map(Temperature::clamped);
            all.push(Ruled::new(site, rule, dial, boost, charges));
        }
    }
    all
}
