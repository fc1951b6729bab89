//! Plans on a finer plant than the one that judged them, on days of real prices.
//!
//! The series are those of `../shared/data`; where they are absent the checks are
//! left out and say so.

use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::schedule::Schedule;
use stowheat_tests::days::{Day, random_days};
use stowheat_tests::fine::{finer, quantile};

const DAYS: usize = 12;

#[expect(clippy::print_stderr, reason = "a check that is left out says so")]
fn days(count: usize) -> Option<Vec<Day>> {
    let days = random_days(count);
    if days.is_none() {
        eprintln!("left out: the price years are not there");
    }
    days
}

fn planned(problem: &Problem) -> Schedule {
    match Planner::default().plan(problem) {
        Outcome::Planned(planned) => planned.schedule,
        other => panic!("no plan but {other:?}"),
    }
}

// The bounds are the goals that `src/bin/finer_plant.rs` measures on more days.
#[test]
fn a_finer_plant_confirms_what_was_published() {
    let Some(days) = days(DAYS) else { return };
    let (mut off, mut apart) = (Vec::new(), Vec::new());
    for day in &days {
        let run = finer(&day.problem, &planned(&day.problem));
        assert_eq!(run.broken, 0, "{} {}: {run:?}", day.name, day.at);
        off.push((run.simulated - run.planned).abs() / run.scale);
        apart.extend(run.apart);
    }
    assert!(quantile(&off, 0.5) <= 0.01, "{off:?}");
    assert!(quantile(&off, 1.0) <= 0.03, "{off:?}");
    assert!(quantile(&apart, 0.5) <= 2.0, "{}", quantile(&apart, 0.5));
}

// C50: one layer against several (arXiv 2312.04102), in the house with two elements.
#[test]
fn a_layered_plan_costs_no_more_than_a_mixed_one() {
    let Some(mut days) = days(2 * DAYS) else { return };
    days.retain(|day| day.problem.site.stores[0].elements.len() == 2);
    for day in &days {
        let mut mixed = day.problem.clone();
        for store in &mut mixed.site.stores {
            store.layers = 1;
        }
        let layered = finer(&day.problem, &planned(&day.problem));
        let mixed = finer(&day.problem, &planned(&mixed));
        assert_eq!(layered.cold, 0, "{} {}", day.name, day.at);
        assert!(layered.total <= mixed.total, "{} {}: {layered:?} {mixed:?}", day.name, day.at);
    }
}
