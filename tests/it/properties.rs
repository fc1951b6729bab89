//! What must hold for every house and day.

use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::problem::{Problem, ValueStep};
use optimiser::schedule::Origin;
use optimiser::site::Control;
use optimiser::time::{Horizon, Series, Slot};
use optimiser::units::Price;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use stowheat_tests::houses::{day, draw, element, kw, kwh, price, store};
use stowheat_tests::invention;

fn planned(problem: &Problem) -> Planned {
    let problem = problem.clone().validated().expect("a valid problem");
    match Planner::default().with_effort(Effort::NONE).plan(&problem) {
        Outcome::Planned(planned) => *planned,
        other => panic!("no plan: {other:?}"),
    }
}

/// Whether a plan is claimed to be the best; one stopped at a limit depends on
/// where it stopped.
fn proven(plan: &Planned) -> bool {
    plan.schedule.origin == Origin::Optimal
}

/// Whether two objectives are the same to the solver.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * a.abs().max(b.abs()).max(1.0)
}

/// A made-up day on which every program is plain, so that answers are exact:
/// prices where nothing goes both ways at once, and nothing to pasteurise.
fn plain(seed: u64) -> Problem {
    let mut problem = invention::problem(seed);
    let imports = problem.import_price.values().iter().map(|p| price(p.per_kwh().abs() + 2.0));
    let imports: Vec<Price> = imports.collect();
    let exports = imports.iter().map(|p| price(p.per_kwh().min(4.0) - 1.0)).collect();
    problem.import_price = Series::new("import", &problem.horizon, imports).expect("prices");
    problem.export_price = Series::new("export", &problem.horizon, exports).expect("prices");
    problem.hygiene.clear();
    problem.site.grid.import_limit = kw(60.0);
    problem
}

fn scaled(steps: &[ValueStep], factor: f64) -> Vec<ValueStep> {
    let value = |s: &ValueStep| price(s.value.per_kwh() * factor);
    steps.iter().map(|s| ValueStep { value: value(s), ..*s }).collect()
}

fn with_money(problem: &Problem, factor: f64) -> Problem {
    let mut scaled_problem = problem.clone();
    let series = |s: &Series<Price>| {
        let values = s.values().iter().map(|p| price(p.per_kwh() * factor)).collect();
        Series::new("prices", &problem.horizon, values).expect("as many prices")
    };
    scaled_problem.import_price = series(&problem.import_price);
    scaled_problem.export_price = series(&problem.export_price);
    if let Some(battery) = &mut scaled_problem.site.battery {
        battery.wear = price(battery.wear.per_kwh() * factor);
    }
    scaled_problem.weights.unmet_per_kwh *= factor;
    scaled_problem.weights.short_per_kwh *= factor;
    scaled_problem.weights.change_per_kwh *= factor;
    let ends = &problem.end_value;
    scaled_problem.end_value.stores = ends.stores.iter().map(|s| scaled(s, factor)).collect();
    scaled_problem.end_value.battery = scaled(&ends.battery, factor);
    scaled_problem
}

fn shifted(problem: &Problem, by: i64) -> Problem {
    let mut later = problem.clone();
    let slots = problem.horizon.slots().iter();
    let slots = slots.filter_map(|s| Slot::new(s.start() + by, s.end() + by)).collect();
    later.horizon = Horizon::new(slots).expect("slots that touch");
    later.draws.iter_mut().for_each(|d| d.start = d.start + by);
    later.ready.iter_mut().for_each(|r| r.by = r.by + by);
    later
}

proptest! {
    // The same days every time: a test that fails must fail again.
    #![proptest_config(ProptestConfig {
        cases: 24,
        rng_seed: RngSeed::Fixed(20_240_304),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_looser_limit_never_costs_more(seed in 0_u64..1_000_000, which in 0_usize..4) {
        let problem = plain(seed);
        let mut looser = problem.clone();
        match which {
            0 => looser.site.grid.export_limit = kw(problem.site.grid.export_limit.kw() + 2.0),
            1 => looser.site.grid.import_limit = kw(100.0),
            2 => {
                // Stages and switching tie an element's power to the surplus.
                looser.published = None;
                let all = looser.site.stores.iter_mut().flat_map(|s| &mut s.elements);
                all.for_each(|e| e.control = Control::Modulating);
            }
            _ => match &mut looser.site.battery {
                Some(battery) => {
                    battery.capacity = kwh(battery.capacity.kwh() + 2.0);
                    battery.exports = true;
                    battery.charges_from_grid = true;
                    battery.feeds_heaters = true;
                }
                None => looser.site.battery = Some(stowheat_tests::houses::battery()),
            },
        }
        let mut tighter = problem;
        if which == 2 { tighter.published = None; }
        // A battery that appears has its own worth at the end; none is counted.
        for own in [&mut tighter, &mut looser] { own.end_value.battery.clear(); }
        let (before, after) = (planned(&tighter), planned(&looser));
        prop_assume!(proven(&before) && proven(&after));
        let (before, after) = (before.solution.objective, after.solution.objective);
        prop_assert!(after <= before + 1e-6 * before.abs().max(1.0), "{before} became {after}");
    }

    #[test]
    fn a_larger_modulating_element_never_costs_more(seed in 0_u64..1_000_000) {
        let mut problem = plain(seed);
        for element in problem.site.stores.iter_mut().flat_map(|s| &mut s.elements) {
            element.control = Control::Modulating;
        }
        let mut larger = problem.clone();
        let element = &mut larger.site.stores[0].elements[0];
        element.power = kw(element.power.kw() * 1.5);
        let (before, after) = (planned(&problem), planned(&larger));
        prop_assume!(proven(&before) && proven(&after));
        prop_assert!(after.solution.objective
            <= before.solution.objective + 1e-6 * before.solution.objective.abs().max(1.0));
    }

    #[test]
    fn more_expensive_money_changes_only_the_figures(seed in 0_u64..1_000_000) {
        let problem = plain(seed);
        let (once, thrice) = (planned(&problem), planned(&with_money(&problem, 3.0)));
        prop_assume!(proven(&once) && proven(&thrice));
        prop_assert!(same(3.0 * once.solution.objective, thrice.solution.objective));
    }

    #[test]
    fn the_same_day_later_has_the_same_plan(seed in 0_u64..1_000_000, weeks in 1_i64..100) {
        let problem = plain(seed);
        let by = weeks * 604_800;
        let (now, later) = (planned(&problem), planned(&shifted(&problem, by)));
        for (a, b) in now.schedule.slots.iter().zip(&later.schedule.slots) {
            prop_assert_eq!(a.slot.start() + by, b.slot.start());
            prop_assert_eq!(a.import, b.import);
            for (x, y) in a.heaters.iter().zip(&b.heaters) {
                prop_assert_eq!((x.power, x.energy), (y.power, y.energy));
                prop_assert!((x.minutes - y.minutes).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn the_check_finds_nothing_and_the_same_input_gives_the_same_plan(seed in 0_u64..1_000_000) {
        let problem = plain(seed);
        let (first, second) = (planned(&problem), planned(&problem));
        prop_assert!(violations(&problem, &first.schedule, Some(&first.solution)).is_empty());
        prop_assert_eq!(&first, &second);
        // From the basis of another house the cost is the same.
        let mut planner = Planner::default().with_effort(Effort::NONE);
        let other = plain(seed + 1).validated().expect("a valid problem");
        prop_assert!(matches!(planner.plan(&other), Outcome::Planned(_)));
        let Outcome::Planned(hot) = planner.plan(&problem) else {
            return Err(TestCaseError::fail("no plan from another's basis"));
        };
        prop_assume!(proven(&first) && proven(&hot));
        prop_assert!(same(hot.solution.objective, first.solution.objective));
    }

    #[test]
    fn at_one_price_heat_is_made_as_late_as_can_be(
        hour in 2_u32..11, litres in 20.0_f64..150.0, loss in 0.5_f64..4.0,
    ) {
        let mut cylinder = store(200.0, vec![element("e", 3.0, 0.0)]);
        cylinder.heat_loss = optimiser::units::HeatLoss::new(loss).expect("a loss");
        let mut problem = day(vec![cylinder], &[20.0; 24]);
        problem.draws.push(draw(f64::from(hour), litres));
        let plan = planned(&problem);
        prop_assert!(plan.schedule.unmet_kwh < 1e-6);
        let on = |s: &usize| plan.schedule.slots[*s].heaters[0].energy.kwh();
        let slot = hour as usize * 2;
        prop_assert!((slot + 1..24).all(|s| on(&s) < 1e-6));
        // In the slot of the draw no more than what the store loses in it.
        prop_assert!(on(&slot) <= loss * (65.0 - 20.0) * 0.5 / 1_000.0 + 1e-6);
        // Every slot between the first that heats and the draw is full.
        let first = (0..slot).find(|s| on(s) > 1e-6).expect("it heats");
        prop_assert!((first + 1..slot).all(|s| (on(&s) - 1.5).abs() < 1e-4));
    }
}
