//! The best parameters of each rule in hindsight.

use super::super::{Ledger, Run, Stage, StoredWorth};
use super::ahead::Ahead;
use super::rule::{Rule, Ruled, Window};
use crate::plant::Outcome;
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
    score: Score,
}

/// What settings of a rule are compared by.
#[derive(Debug, Clone, Copy)]
struct Score {
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
    let TunedTogether { ruled, runs, score } = found;
    let Score { cost, comfortable, discomfort, .. } = score;
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
    let sunny = grounds.iter().any(|ground| is_sunny(ground.stage));
    let mut tuning = Tuning { grounds, allowed_unmet, runs: Vec::new(), best: None };
    for rule in rules(site, kind, sunny) {
        let variants = variants(site, rule);
        if has_works(site) {
            for ruled in variants {
                tuning.try_slot_by_slot(ruled);
            }
        } else {
            tuning.try_all(variants);
        }
    }
    tuning.best
}

/// Every setting of a rule that [`tune`] chooses from, in its order: of equals the first
/// is best.
pub fn settings(stage: &Stage<'_>, kind: Kind) -> Vec<Ruled> {
    let site = stage.site();
    let all = rules(site, kind, is_sunny(stage)).into_iter();
    let all = all.flat_map(|rule| variants(site, rule));
    all.flat_map(|ruled| ways(site, &ruled).iter().map(move |way| ruled.clone().charging(*way)))
        .collect()
}

fn is_sunny(stage: &Stage<'_>) -> bool {
    let timeline = stage.timeline();
    timeline.record().pv[timeline.judged()].iter().any(|e| e.kwh() > 0.0)
}

fn has_works(site: &Site) -> bool {
    !site.plant_room.routes().is_empty()
}

fn rules(site: &Site, kind: Kind, sunny: bool) -> Vec<Rule> {
    let fine = !has_works(site);
    kind.rules(sunny).into_iter().filter(|rule| fine || is_coarse(*rule)).collect()
}

/// A battery that may charge meanwhile is tried without as well.
fn ways(site: &Site, ruled: &Ruled) -> &'static [bool] {
    match (ruled.charges, has_works(site)) {
        (true, false) => &[false, true],
        (charges, _) => {
            if charges {
                &[true]
            } else {
                &[false]
            }
        }
    }
}

/// A search for the best setting.
struct Tuning<'g, 'a> {
    grounds: &'g [Ground<'a>],
    allowed_unmet: f64,
    /// How each period went under the setting that was tried last.
    runs: Vec<Run>,
    best: Option<TunedTogether>,
}

impl Tuning<'_, '_> {
    /// Tries dials and boosts of a rule in a house of stores and elements, and where
    /// the battery may charge meanwhile, that it does not.
    fn try_all(&mut self, variants: Vec<Ruled>) {
        let mut known: [Option<Vec<Ahead>>; 2] = [None, None];
        for ruled in variants {
            let ahead = known[usize::from(ruled.boost.is_some())].get_or_insert_with(|| {
                self.grounds.iter().map(|own| Ahead::of(own.stage, &ruled)).collect()
            });
            if self.runs.is_empty() {
                let outset = |own: &Ground<'_>| own.stage.outset();
                self.runs = self.grounds.iter().map(outset).collect();
            }
            let (grounds, mut unmet) = (self.grounds, self.unmet());
            let each = grounds.iter().zip(&*ahead).zip(&mut self.runs);
            let warm = each.into_iter().all(|((ground, ahead), run)| {
                ahead.heat(ground.stage, &mut ruled.clone(), run, &mut |outcome, slot| {
                    unmet.count(ground, outcome, slot)
                })
            });
            if !warm {
                continue;
            }
            for &charges in ways(grounds[0].stage.site(), &ruled) {
                for (ahead, run) in ahead.iter().zip(&mut self.runs) {
                    ahead.tell_battery(charges, run);
                }
                self.compare(ruled.clone().charging(charges));
            }
        }
    }

    /// Tries a setting in a plant room, where what happens decides what is told.
    fn try_slot_by_slot(&mut self, ruled: Ruled) {
        let mut unmet = self.unmet();
        let runs = self.grounds.iter().map(|ground| {
            ground.stage.run_heat(&mut ruled.clone(), &mut |outcome, slot| {
                unmet.count(ground, outcome, slot)
            })
        });
        if let Some(runs) = runs.collect() {
            self.runs = runs;
            self.compare(ruled);
        }
    }

    /// Unmet heat that leaves no hope of being better than the best.
    fn unmet(&self) -> Unmet {
        let most = self.best.as_ref().map_or(f64::INFINITY, |TunedTogether { score, .. }| {
            let allowed = self.allowed_unmet * score.asked;
            let least = if score.comfortable { 0.0 } else { score.discomfort };
            ROUNDING.mul_add(score.asked, allowed.max(least))
        });
        Unmet { kwh: 0.0, most }
    }

    /// Meters the runs, whose heat the battery does not change, and keeps them if they
    /// are the best.
    fn compare(&mut self, ruled: Ruled) {
        for (ground, run) in self.grounds.iter().zip(&mut self.runs) {
            ground.stage.run_meter(run);
        }
        let score = Score::of(self.grounds, &self.runs, self.allowed_unmet);
        match &mut self.best {
            Some(best) if score.is_better_than(&best.score) => {
                best.runs.clone_from(&self.runs);
                (best.ruled, best.score) = (ruled, score);
            }
            Some(_) => {}
            None => self.best = Some(TunedTogether { ruled, runs: self.runs.clone(), score }),
        }
    }
}

/// Heat that was left unmet so far [kWh], and how much of it may be.
struct Unmet {
    kwh: f64,
    most: f64,
}

impl Unmet {
    /// Counts a slot; `false` once it is too much.
    fn count(&mut self, ground: &Ground<'_>, outcome: &Outcome, slot: usize) -> bool {
        if slot >= ground.lead {
            let cold: f64 = outcome.stores.iter().map(|trace| trace.slots()[slot].unmet_kwh).sum();
            self.kwh += ground.times * cold;
        }
        self.kwh <= self.most
    }
}

impl Score {
    /// What runs of several periods came to.
    fn of(grounds: &[Ground<'_>], runs: &[Run], allowed_unmet: f64) -> Self {
        let ledgers: Vec<Ledger> = grounds
            .iter()
            .zip(runs)
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

/// The same in a plant room, with reheating and preheating.
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
    if has_works(site) {
        return of_works(site, rule);
    }
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
