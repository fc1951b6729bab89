//! Other ways of deciding with what is not known, to be measured beside stowheat's own.

use optimiser::forecast::Knowledge;
use optimiser::judge::Judge;
use optimiser::plan::{Outcome, Planner};
use optimiser::plant::{BatteryCommand, Commands};
use optimiser::problem::{Draw, Problem};
use optimiser::replay::{Controller, Planning, Settings, SlotCommands, View};
use optimiser::schedule::BatteryMode;
use optimiser::time::Series;
use optimiser::units::{Energy, Flow, Power, Price, Temperature, Volume};

/// Days whose draws and prices make a scenario each, so many days before.
const DAYS: [usize; 5] = [1, 2, 3, 7, 14];

/// Slots that the scenarios share; later ones follow what turns out.
const SHARED: usize = 4;

/// The battery is told a power in every slot, as the forecast of sun and load has it,
/// where stowheat tells it what to react to.
#[derive(Debug)]
pub struct SetPoints(pub Planning);

impl Controller for SetPoints {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let mut told = self.0.command(view);
        let Some(battery) = self.0.site().battery else { return told };
        let hours = view.slot(view.now()).hours();
        let kw = |energy: Option<&Energy>| energy.map_or(0.0, |e| e.kwh()) / hours;
        let heaters: f64 = told.heaters.iter().map(|h| h.energy().kwh()).sum();
        let expected = kw(optimiser::forecast::base_load(view, 1).first())
            - kw(optimiser::forecast::pv(view, 1).first());
        let net = expected + heaters / hours;
        let fixed = match told.battery.mode {
            BatteryMode::Hold | BatteryMode::Charge | BatteryMode::Discharge => return told,
            BatteryMode::Follow => net,
            BatteryMode::Absorb => net.min(0.0),
            BatteryMode::Supply => net.max(0.0),
        };
        let limit = if fixed < 0.0 { battery.charge_limit } else { battery.discharge_limit };
        let mode = if fixed < 0.0 { BatteryMode::Charge } else { BatteryMode::Discharge };
        told.battery = BatteryCommand { mode, power: Power::clamped(fixed.abs()).min(limit) };
        told
    }
}

/// A handful of futures: each plan is made for one of them, and the one whose first
/// slots cost least in the mean of all of them on the simulated plant is done.
#[derive(Debug)]
pub struct Scenarios {
    own: Planning,
    planners: Vec<Planner>,
    /// Whether each future keeps water for draws that nobody knows as well.
    keep: bool,
}

impl Scenarios {
    /// With the settings of a planning that stands in where there is no past.
    pub fn new(own: Planning, settings: Settings, keep: bool) -> Self {
        let planner = || Planner::with_limits(settings.limits).with_effort(settings.effort);
        Self { own, planners: (0..=DAYS.len()).map(|_| planner()).collect(), keep }
    }
}

impl Controller for Scenarios {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let usual = self.own.problem(view).and_then(|problem| problem.validated().ok());
        let Some(usual) = usual else { return self.own.command(view) };
        let mut futures: Vec<Problem> =
            DAYS.iter().filter_map(|&days| future(view, &usual, days)?.validated().ok()).collect();
        let kept = if self.keep { usual.ready.clone() } else { Vec::new() };
        for future in &mut futures {
            future.ready.clone_from(&kept);
        }
        // The plan for what is usually expected is a candidate, but no future.
        let problems = futures.iter().chain([&usual]);
        let plans: Vec<Option<Commands>> = problems
            .zip(&mut self.planners)
            .map(|(problem, planner)| match planner.plan(problem) {
                Outcome::Planned(planned) => Some(Commands::of(problem, &planned.schedule)),
                _ => None,
            })
            .collect();
        let mut judges: Vec<Judge<'_>> =
            futures.iter().map(|future| Judge::new(future, &[]).expect("it is valid")).collect();
        let mean = |first: &Commands, judges: &mut Vec<Judge<'_>>| -> f64 {
            let later = plans.iter().zip(judges.iter_mut());
            later
                .filter_map(|(later, judge)| {
                    Some(judge.exactly(spliced(first, later.as_ref()?)).score)
                })
                .sum()
        };
        let candidates = plans.iter().flatten().map(|plan| (mean(plan, &mut judges), plan));
        match candidates.min_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((_, plan)) if !futures.is_empty() => first_slot(plan),
            _ => self.own.command(view),
        }
    }
}

/// What is known now, with the draws of some days before, and their prices where none
/// are published.
fn future(view: &View<'_>, usual: &Problem, days: usize) -> Option<Problem> {
    let (now, horizon) = (view.now(), &usual.horizon);
    let slots = ((horizon.end() - horizon.start()) / 1_800) as usize;
    let before = |slot: usize| {
        // A day that is not over yet is not known: a week earlier, then.
        (0..4).find_map(|weeks| {
            let at = view.days_before(slot, days + 7 * weeks)?;
            (at < now).then_some(at)
        })
    };
    let mut draws: Vec<Draw> =
        usual.draws.iter().filter(|draw| draw.volume.litres() <= 0.0).copied().collect();
    for store in 0..view.stores() {
        let (temperature, flow) =
            view.last_draw(store).unwrap_or((Temperature::constant(40.0), Flow::constant(8.0)));
        for slot in now..now + slots {
            let litres = view.litres(store, before(slot)?)?;
            let volume = Volume::clamped(litres);
            draws.push(Draw { store, start: view.slot(slot).start(), volume, temperature, flow });
        }
    }
    let price = |usual: &Series<Price>, import: bool| {
        let values = horizon.slots().iter().enumerate().map(|(index, slot)| {
            let at = now + ((slot.start() - horizon.start()) / 1_800) as usize;
            let published = view.prices(at).0.is_some();
            let then = before(at).filter(|_| !published).and_then(|at| {
                let (bought, sold) = view.prices(at);
                if import { bought } else { sold }
            });
            then.unwrap_or(usual[index])
        });
        Series::new("a price", horizon, values.collect()).ok()
    };
    Some(Problem {
        import_price: price(&usual.import_price, true)?,
        export_price: price(&usual.export_price, false)?,
        draws,
        ..usual.clone()
    })
}

/// The first slots of one plan and the others of another.
fn spliced(first: &Commands, later: &Commands) -> Commands {
    let mut commands = later.clone();
    for (row, own) in commands.heaters.iter_mut().zip(&first.heaters) {
        row[..SHARED].clone_from_slice(&own[..SHARED]);
    }
    commands.battery[..SHARED].clone_from_slice(&first.battery[..SHARED]);
    commands.pv[..SHARED].clone_from_slice(&first.pv[..SHARED]);
    commands
}

fn first_slot(plan: &Commands) -> SlotCommands {
    SlotCommands {
        heaters: plan.heaters.iter().map(|row| row[0]).collect(),
        battery: plan.battery[0],
        pv: plan.pv[0],
        pumps: plan.pumps.iter().map(|row| row[0]).collect(),
        jobs: plan.jobs[0].clone(),
        guards: plan.guards.iter().map(|row| row[0]).collect(),
        dials_up: true,
    }
}
