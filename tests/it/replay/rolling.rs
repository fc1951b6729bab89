//! What moves on with the slots: the basis leads to the same optimum, the plan goes on.

use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::model::{Formulation, Refinement};
use optimiser::plan::{Outcome, Planner};
use optimiser::plant::{Commands, Plant};
use optimiser::problem::{Problem, Ready, State};
use optimiser::replay::{Controller, Planning, Settings, SlotCommands, Stage, View};
use optimiser::solve::{Live, SolveLimits, Verdict};
use optimiser::time::{Horizon, Series, Slot};
use optimiser::units::{Energy, Price, Temperature, Volume};
use stowheat_tests::family::family;

use super::{house, near, record, start, timeline};

/// Heats now and then, and compares a hot with a cold solve of each problem.
struct Comparing {
    planning: Planning,
    live: Option<Live>,
    compared: usize,
}

impl Controller for Comparing {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let problem = self.planning.problem(view).expect("prices are known");
        let problem = problem.validated().expect("a valid problem");
        let program = Formulation::new(&problem, &Refinement::default()).program;
        let limits = SolveLimits::default();
        let cold = Live::new(program.clone()).and_then(|mut l| l.solve(limits)).expect("cold");
        let live = self.live.get_or_insert_with(|| Live::new(program.clone()).expect("loads"));
        let hot = live.load(program).and_then(|()| live.solve(limits)).expect("hot");
        assert_eq!((&hot.verdict, &cold.verdict), (&Verdict::Optimal, &Verdict::Optimal));
        near(hot.objective, cold.objective, 1e-6 * cold.objective.abs().max(1.0));
        self.compared += 1;
        self.planning.command(view)
    }
}

#[test]
fn hot_and_cold_agree_as_time_moves_on() {
    let (site, timeline) = (house(), timeline(record(1)));
    let start: State = start();
    let stage = Stage::new(&site, &timeline, &start).expect("a stage");
    let planning = Planning::new(&site, Settings::default());
    let mut comparing = Comparing { planning, live: None, compared: 0 };
    stage.run(&mut comparing, &mut |_| {});
    assert_eq!(comparing.compared, 48);
}

/// A house on the slots of its problem from one on, with other import prices.
fn later(whole: &Problem, first: usize, slots: usize, dearer: f64) -> Problem {
    let part = first..first + slots;
    let horizon = Horizon::new(whole.horizon.slots()[part.clone()].to_vec()).expect("slots");
    let import = whole.import_price.values()[part.clone()].iter();
    let import = import.map(|p| Price::clamped(dearer * p.per_kwh())).collect();
    let draws = whole.draws.iter().filter(|draw| draw.start >= horizon.start());
    Problem {
        import_price: Series::new("import", &horizon, import).expect("as many"),
        export_price: cut(&whole.export_price, &horizon, &part),
        pv: cut(&whole.pv, &horizon, &part),
        base_load: cut(&whole.base_load, &horizon, &part),
        draws: draws.copied().collect(),
        horizon,
        ..whole.clone()
    }
}

fn cut<T: Copy>(whole: &Series<T>, horizon: &Horizon, part: &std::ops::Range<usize>) -> Series<T> {
    Series::new("a part", horizon, whole.values()[part.clone()].to_vec()).expect("as many")
}

/// The problem with hours in place of the half-hours from a slot on.
fn hourly(fine: &Problem, from: usize) -> Problem {
    let slots = fine.horizon.slots();
    let hours = slots[from..].chunks_exact(2);
    let hours = hours.map(|pair| Slot::new(pair[0].start(), pair[1].end()).expect("an hour"));
    let horizon = Horizon::new(slots[..from].iter().copied().chain(hours).collect());
    let horizon = horizon.expect("slots");
    let mean = |of: &Series<Price>| {
        let hours = of.values()[from..].chunks_exact(2);
        let hours = hours.map(|p| Price::clamped(p[0].per_kwh().midpoint(p[1].per_kwh())));
        let all = of.values()[..from].iter().copied().chain(hours).collect();
        Series::new("prices", &horizon, all).expect("as many")
    };
    let sum = |of: &Series<Energy>| {
        let hours = of.values()[from..].chunks_exact(2);
        let hours = hours.map(|e| Energy::clamped(e[0].kwh() + e[1].kwh()));
        let all = of.values()[..from].iter().copied().chain(hours).collect();
        Series::new("energies", &horizon, all).expect("as many")
    };
    Problem {
        import_price: mean(&fine.import_price),
        export_price: mean(&fine.export_price),
        pv: sum(&fine.pv),
        base_load: sum(&fine.base_load),
        horizon: horizon.clone(),
        ..fine.clone()
    }
}

#[test]
fn hours_at_the_end_that_lie_half_an_hour_later_are_no_news() {
    let mut whole = family(98, 1);
    // Dear and cheap by turns of an hour, which hours that lie otherwise do not show.
    let import = whole.import_price.values().iter().enumerate();
    let import = import.map(|(slot, price)| {
        let swing = if slot % 4 < 2 { 0.7 } else { 1.3 };
        Price::clamped(swing * price.per_kwh())
    });
    let import = import.collect();
    whole.import_price = Series::new("import", &whole.horizon, import).expect("as many");
    let planned = |planner: &mut Planner, problem: Problem| {
        let problem = problem.validated().expect("a valid problem");
        match planner.plan(&problem) {
            Outcome::Planned(planned) => planned,
            other => panic!("no plan: {other:?}"),
        }
    };
    let mut planner = Planner::default().with_effort(Effort::ROLLING);
    let first = hourly(&later(&whole, 0, 96, 1.0), 60);
    let mut onward = hourly(&later(&whole, 1, 96, 1.0), 60);
    let first_planned = planned(&mut planner, first.clone());
    let scene = (&first).into();
    let mut plant = Plant::new(&whole.site);
    let scene = plant.scene(&scene).expect("a scene");
    let outcome = plant.simulate(&scene, &Commands::of(&first, &first_planned.schedule));
    onward.state = outcome.state(1);
    let second = planned(&mut planner, onward);
    let (old, new) = (&first_planned.solution.slots[1..60], &second.solution.slots);
    for (old, new) in old.iter().zip(new) {
        near(old.electricity_value, new.electricity_value, 0.0);
    }
}

#[test]
fn a_plan_goes_on_without_the_program_until_there_is_news() {
    let whole = family(98, 1);
    let planned = |planner: &mut Planner, problem: &Problem| {
        let problem = problem.clone().validated().expect("a valid problem");
        let planned = match planner.plan(&problem) {
            Outcome::Planned(planned) => planned,
            other => panic!("no plan: {other:?}"),
        };
        assert_eq!(violations(&problem, &planned.schedule, None), []);
        planned
    };
    let mut planner = Planner::default().with_effort(Effort::ROLLING);
    let first = planned(&mut planner, &later(&whole, 0, 96, 1.0));
    // The house does as the plan says for half an hour.
    let mut onward = later(&whole, 1, 96, 1.0);
    let mut plant = Plant::new(&whole.site);
    let problem = later(&whole, 0, 96, 1.0);
    let scene = plant.scene(&(&problem).into()).expect("a scene");
    let outcome = plant.simulate(&scene, &Commands::of(&problem, &first.schedule));
    onward.state = outcome.state(1);
    // What is promised every day comes up behind the end of the plan, and is no news.
    onward.ready.push(Ready {
        store: 0,
        by: onward.horizon.end(),
        volume: Volume::new(20.0).expect("litres"),
        temperature: Temperature::constant(40.0),
        urgency: 1.0,
    });
    let second = planned(&mut planner, &onward);
    // Its values are the program's first word, half an hour on.
    for (old, new) in first.solution.slots[1..].iter().zip(&second.solution.slots) {
        near(old.electricity_value, new.electricity_value, 0.0);
        assert_eq!(old.heat_value, new.heat_value);
    }
    // Nothing was lost: it costs what a plan from nothing costs, or nearly so.
    let afresh = planned(&mut Planner::default(), &onward);
    let apart = second.schedule.cost.total() - afresh.schedule.cost.total();
    assert!(apart < 0.05 * afresh.schedule.cost.import, "{apart} dearer");
    // Other prices are news.
    let mut dearer = onward.clone();
    dearer.import_price = later(&whole, 1, 96, 1.3).import_price;
    let third = planned(&mut planner, &dearer);
    let mut values = second.solution.slots.iter().zip(&third.solution.slots);
    let other = values.any(|(old, new)| new.electricity_value > old.electricity_value + 1.0);
    assert!(other, "the program was not asked");
}
