//! How long the parts of a plan take: formulate, solve cold and hot, extract,
//! check.

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use optimiser::check::violations;
use optimiser::model::{Formulation, Refinement};
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::solution::Solution;
use optimiser::solve::{Live, SolveLimits};
use stowheat_tests::family::family;

fn parts(c: &mut Criterion) {
    for (slots, stores) in [(48, 1), (48, 2), (96, 1), (96, 2)] {
        let problem = family(slots, stores).validated().expect("a valid problem");
        let refinement = Refinement::default();
        let formulation = Formulation::new(&problem, &refinement);
        let mut group = c.benchmark_group(format!("{slots}-slots-{stores}-stores"));
        group.bench_function("formulate", |b| b.iter(|| Formulation::new(&problem, &refinement)));
        group.bench_function("load", |b| {
            b.iter(|| Live::new(formulation.program.clone()).expect("a program"));
        });
        group.bench_function("solve-cold", |b| {
            b.iter_batched(
                || Live::new(formulation.program.clone()).expect("a program"),
                |mut live| live.solve(SolveLimits::default()).expect("an answer"),
                BatchSize::PerIteration,
            );
        });
        let mut live = Live::new(formulation.program.clone()).expect("a program");
        let answer = live.solve(SolveLimits::default()).expect("an answer");
        let dearer = dearer(&problem);
        let other = Formulation::new(&dearer, &refinement).program;
        group.bench_function("solve-hot", |b| {
            b.iter(|| {
                live.load(other.clone()).expect("a program");
                live.solve(SolveLimits::default()).expect("an answer");
                live.load(formulation.program.clone()).expect("a program");
                live.solve(SolveLimits::default()).expect("an answer")
            });
        });
        group.bench_function("extract", |b| {
            b.iter(|| Solution::new(&problem, &formulation, &answer));
        });
        let Outcome::Planned(planned) = Planner::default().plan(&problem) else {
            panic!("the family's day has a plan")
        };
        group.bench_function("check", |b| {
            b.iter(|| violations(&problem, &planned.schedule, Some(&planned.solution)));
        });
        group.bench_function("plan-cold", |b| b.iter(|| Planner::default().plan(&problem)));
        group.finish();
    }
}

/// The same day with the state and all prices a little different.
fn dearer(problem: &Problem) -> Problem {
    let mut other = problem.clone();
    let prices = other.import_price.values().iter().enumerate();
    let moved = prices.map(|(i, p)| {
        optimiser::units::Price::clamped(p.per_kwh() * (1.0 + 0.1 * (i as f64).sin()))
    });
    other.import_price =
        optimiser::time::Series::new("import", &other.horizon, moved.collect()).expect("as many");
    for profile in &mut other.state.stores {
        for t in profile {
            *t = optimiser::units::Temperature::clamped(t.celsius() - 1.0);
        }
    }
    other
}

criterion_group!(benches, parts);
criterion_main!(benches);
