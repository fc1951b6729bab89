//! stowheat itself as a controller: plan again in every slot, do the first one.

mod haste;
mod room;

use super::always_on::always_on;
use super::baseline::keeper::Keeper;
use super::steps::even_steps;
use super::timeline::SLOT_SECONDS;
use super::{Controller, LOOK_AHEAD, SlotCommands, View};
use crate::forecast::{self, Caution, Expected, Knowledge, Readiness, Reserve};
use crate::judge::Effort;
use crate::plan::{Outcome, Planner};
use crate::plant::Commands;
use crate::problem::{Comfort, Draw, EndValue, Hygiene, Problem, ValueStep, Weights};
use crate::rule::rule_plan;
use crate::site::Site;
use crate::solve::SolveLimits;
use crate::time::{Horizon, Series, Slot};
use crate::units::{Energy, Flow, Price, Temperature, Volume};
use crate::worth::{Ahead, end_value, plant_room_value};

/// Half-hours that are planned one by one.
const FINE: usize = 72;

/// Hours that are planned after them. The pattern is the same from every slot
/// on, so that every program has the shape of the one before.
const COARSE: usize = 12;

/// Half-hours of the whole plan.
const PLANNED: usize = FINE + 2 * COARSE;

/// How stowheat decides in a replay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Share of draw heat that may arrive cold.
    pub allowed_unmet: f64,
    /// Limits of each solve.
    pub limits: SolveLimits,
    /// How much work judging a plan may be.
    pub effort: Effort,
    /// Caution to begin with.
    pub caution: Caution,
    /// Whether elements stand guard and water is kept ready for draws that nobody
    /// foresees.
    pub keeps_reserve: bool,
}

impl Default for Settings {
    /// One draw in a thousand, and directions settled as they lean: the next
    /// plan is half an hour away.
    fn default() -> Self {
        Self {
            allowed_unmet: Caution::ALLOWED,
            limits: SolveLimits { seconds: 10.0, relative_gap: 1e-4, branches: 0 },
            effort: Effort::COLD,
            caution: Caution::default(),
            keeps_reserve: true,
        }
    }
}

/// Dial of stores while there is no plan at all.
const SAFE_DIAL: Temperature = Temperature::constant(55.0);

impl Settings {
    /// For a period that is lived through to see what it costs: plans are carried on
    /// and touched up, which comes out as cheap as making each from nothing.
    pub fn rolling() -> Self {
        Self { effort: Effort::ROLLING, ..Self::default() }
    }
}

/// The planner in a closed loop.
#[derive(Debug)]
pub struct Planning {
    site: Site,
    settings: Settings,
    planner: Planner,
    caution: Caution,
    readiness: Readiness,
    /// Sum over days of the share that was to be expected to arrive cold, and the days.
    expected: (f64, f64),
    by_rule: usize,
    last_failure: Option<String>,
}

impl Planning {
    /// A planner for a house.
    pub fn new(site: &Site, settings: Settings) -> Self {
        Self {
            site: site.clone(),
            settings,
            planner: Planner::with_limits(settings.limits).with_effort(settings.effort),
            caution: settings.caution,
            readiness: Readiness::default(),
            expected: (0.0, 0.0),
            by_rule: 0,
            last_failure: None,
        }
    }

    /// The house.
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// Slots that were decided by rule because the planner had no answer.
    pub fn by_rule(&self) -> usize {
        self.by_rule
    }

    /// What was learned of how cautious to be.
    pub fn caution(&self) -> Caution {
        self.caution
    }

    /// Share of draw heat that was to be expected to arrive cold, whether it did or not;
    /// `None` where nothing could be said of that.
    pub fn expected_unmet(&self) -> Option<f64> {
        let (sum, days) = self.expected;
        (days > 0.0).then(|| sum / days)
    }

    /// Why the planner had no answer the last time it had none.
    pub fn last_failure(&self) -> Option<&str> {
        self.last_failure.as_deref()
    }

    /// The problem as it is known now; `None` while no price at all is known.
    pub fn problem(&self, view: &View<'_>) -> Option<Problem> {
        let prices = forecast::prices(view, LOOK_AHEAD)?;
        let pv = forecast::pv(view, LOOK_AHEAD);
        let base_load = forecast::base_load(view, LOOK_AHEAD);
        let draws = forecast::draws(view, LOOK_AHEAD, &self.caution);
        let horizon = horizon(view);
        let price = |of: fn(&Expected) -> Price| {
            let fine = prices[..FINE].iter().map(of);
            let coarse = prices[FINE..PLANNED].chunks(2).map(|pair| average(pair, of));
            fine.chain(coarse).collect::<Vec<_>>()
        };
        let energy = |of: &[Energy]| {
            let fine = of[..FINE].iter().copied();
            let coarse = of[FINE..PLANNED].chunks(2).map(total);
            fine.chain(coarse).collect::<Vec<_>>()
        };
        let series = |name, values| Series::new(name, &horizon, values).ok();
        let import_price = series("the import price", price(|p| p.import))?;
        let weights = Weights::for_house(&self.site, &import_price);
        let mut reserve = self.reserve(view, (&horizon, &import_price), &weights);
        reserve.ready.extend_from_slice(view.promises(PLANNED));
        let ahead = self.ahead(view, &prices, &pv, &base_load, &draws);
        let worth = end_value(&self.site, &ahead, &weights);
        let (ambient, comfort) = room::surroundings(view, &self.site, &horizon);
        let energies = |name, of: &[Energy]| Series::new(name, &horizon, energy(of)).ok();
        let mut problem = Problem {
            export_price: series("the export price", price(|p| p.export))?,
            pv: energies("the PV", &pv)?,
            base_load: energies("the base load", &base_load)?,
            draws: with_every_class(draws, view, &self.site),
            ready: reserve.ready,
            hygiene: hygiene(view, &horizon),
            ambient,
            comfort: Comfort { guards: reserve.guards, ..comfort },
            state: view.state().clone(),
            end_value: EndValue {
                stores: worth.stores.iter().map(|steps| even_steps(steps)).collect(),
                battery: match self.site.battery {
                    Some(_) => even_steps(&worth.battery),
                    None => Vec::new(),
                },
                ..EndValue::default()
            },
            weights,
            by_hand: Vec::new(),
            published: None,
            site: self.site.clone(),
            import_price,
            horizon,
        };
        let room = plant_room_value(&problem, &ahead);
        problem.end_value = EndValue {
            buffer: stepped(&room.buffer),
            rooms: stepped(&room.rooms),
            pool: stepped(&room.pool),
            ..problem.end_value
        };
        Some(problem)
    }

    /// What is kept for draws that nobody foresees, if anything is to.
    fn reserve(
        &self,
        view: &View<'_>,
        plan: (&Horizon, &Series<Price>),
        weights: &Weights,
    ) -> Reserve {
        if !self.settings.keeps_reserve || view.draws_foreknown() {
            return Reserve::default();
        }
        let comfort = (self.settings.allowed_unmet, &self.caution);
        forecast::reserve(view, &self.site, plan, weights, comfort, &view.state().stores)
    }

    /// The hours after the plan, as far as they are looked at.
    fn ahead(
        &self,
        view: &View<'_>,
        prices: &[Expected],
        pv: &[Energy],
        base_load: &[Energy],
        draws: &[Draw],
    ) -> Vec<Ahead> {
        (PLANNED..LOOK_AHEAD)
            .step_by(2)
            .map(|k| {
                let (first, last) = (view.slot(view.now() + k), view.slot(view.now() + k + 1));
                let mut heat = vec![0.0; self.site.stores.len()];
                let own = draws.iter().filter(|d| first.start() <= d.start && d.start < last.end());
                for draw in own {
                    heat[draw.store] += draw.heat_kwh(self.site.stores[draw.store].mains);
                }
                Ahead {
                    hours: 1.0,
                    import_price: average(&prices[k..k + 2], |p| p.import),
                    export_price: average(&prices[k..k + 2], |p| p.export),
                    pv: total(&pv[k..k + 2]),
                    base_load: total(&base_load[k..k + 2]),
                    draws: heat,
                }
            })
            .collect()
    }

    /// The problem as it is known now, validated; a fault counts as no answer.
    fn checked_problem(&mut self, view: &View<'_>) -> Option<Problem> {
        let why = match self.problem(view).map(Problem::validated) {
            Some(Ok(problem)) => return Some(problem),
            Some(Err(error)) => error.to_string(),
            None => "no price is known".to_owned(),
        };
        self.by_rule += 1;
        self.last_failure = Some(why);
        None
    }

    fn commands(&mut self, problem: &Problem) -> Option<Commands> {
        let why = match self.planner.plan(problem) {
            Outcome::Planned(planned) => return Some(Commands::of(problem, &planned.schedule)),
            Outcome::Infeasible(missing) => {
                format!("load stays unserved in {} slots", missing.len())
            }
            Outcome::Refused(found) => {
                let broken: Vec<String> = found.iter().take(3).map(ToString::to_string).collect();
                format!("the check refused the answer: {}", broken.join("; "))
            }
            Outcome::Failed(why) => why,
        };
        self.by_rule += 1;
        self.last_failure = Some(why);
        rule_plan(problem).ok().map(|schedule| Commands::of(problem, &schedule))
    }
}

impl Controller for Planning {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let mark = view.mark(view.now());
        if mark.half_hour == 0 {
            let served = view.served();
            let allowed = self.settings.allowed_unmet;
            self.caution.adapt(served.asked_kwh, served.unmet_kwh, allowed);
            if let Some(expected) = self.readiness.expected_cold(view, &self.site) {
                self.caution.foresee(expected, allowed);
                self.expected = (self.expected.0 + expected, self.expected.1 + 1.0);
            }
        }
        self.readiness.note(view.slot(view.now()).start(), view.state().stores.clone());
        let mut commands = self.planned(view);
        self.hasten_pasteurisation(view, &mut commands);
        commands
    }
}

impl Planning {
    fn planned(&mut self, view: &View<'_>) -> SlotCommands {
        let Some(problem) = self.checked_problem(view) else { return self.comfort_minimum(view) };
        let Some(all) = self.commands(&problem) else { return self.comfort_minimum(view) };
        SlotCommands {
            heaters: all.heaters.iter().map(|row| row[0]).collect(),
            battery: all.battery[0],
            pv: all.pv[0],
            pumps: all.pumps.iter().map(|row| row[0]).collect(),
            jobs: all.jobs[0].clone(),
            guards: all.guards.iter().map(|row| row[0]).collect(),
            dials_up: true,
        }
    }

    /// Every element on its own thermostat, and the sources on theirs.
    fn comfort_minimum(&self, view: &View<'_>) -> SlotCommands {
        let keeper = Keeper::of(&self.site, SAFE_DIAL, None);
        let jobs = keeper.map_or_else(Vec::new, |mut keeper| keeper.jobs(view, true, &[]));
        SlotCommands { jobs, ..always_on(&self.site) }
    }
}

/// Even steps of what has a worth at all.
fn stepped(steps: &[ValueStep]) -> Vec<ValueStep> {
    if steps.is_empty() { Vec::new() } else { even_steps(steps) }
}

fn horizon(view: &View<'_>) -> Horizon {
    let now = view.now();
    let fine = (now..now + FINE).map(|slot| view.slot(slot));
    let coarse = (now + FINE..now + PLANNED).step_by(2).filter_map(|slot| {
        let first = view.slot(slot);
        Slot::new(first.start(), first.start() + 2 * SLOT_SECONDS)
    });
    Horizon::new(fine.chain(coarse).collect()).expect("the slots of a timeline touch")
}

fn average(pair: &[Expected], of: fn(&Expected) -> Price) -> Price {
    let sum: f64 = pair.iter().map(|p| of(p).per_kwh()).sum();
    Price::clamped(sum / pair.len() as f64)
}

fn total(of: &[Energy]) -> Energy {
    Energy::clamped(of.iter().map(|e| e.kwh()).sum())
}

/// Pasteurisations that fall due within the plan.
fn hygiene(view: &View<'_>, horizon: &Horizon) -> Vec<Hygiene> {
    view.hygiene()
        .map(|(rule, due)| Hygiene {
            store: rule.store,
            due,
            temperature: rule.temperature,
            hold_seconds: rule.hold_seconds,
        })
        .filter(|hygiene| hygiene.due <= horizon.end())
        .collect()
}

/// Adds an empty draw for every temperature that was ever drawn of late, so
/// that the program keeps its shape on a day without one of them.
fn with_every_class(mut draws: Vec<Draw>, view: &View<'_>, site: &Site) -> Vec<Draw> {
    let start = view.slot(view.now()).start();
    for (store, own) in site.stores.iter().enumerate() {
        let rungs = own.rungs();
        let temperatures: Vec<Temperature> =
            if view.draws_foreknown() { rungs } else { rungs.into_iter().take(1).collect() };
        draws.extend(temperatures.into_iter().map(|temperature| Draw {
            store,
            start,
            volume: Volume::constant(0.0),
            temperature,
            flow: Flow::constant(1.0),
        }));
    }
    draws
}
