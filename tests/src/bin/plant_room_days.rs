//! How plans of whole plant rooms go with the simulated plant, and what each source
//! costs the linear program. Times are of the processor.
//!
//!     cargo run --release -p stowheat-tests --bin plant_room_days -- 20 96
//!
//! plans so many random days of so many half-hours for each of three sites.

#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use optimiser::judge::{Effort, Judge};
use optimiser::model::{Formulation, Refinement};
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::plant::{self, Commands, Plant};
use optimiser::problem::Problem;
use optimiser::solve::{Live, SolveLimits};
use optimiser::time::Series;
use optimiser::units::Price;
use stowheat_tests::plant_rooms::{Kind, growing, random_day};

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|text| text.parse::<u64>().ok());
    let (days, slots) = (numbers.next().unwrap_or(20), numbers.next().unwrap_or(96) as usize);
    for (name, problem) in growing(slots) {
        what_it_costs(name, &problem.validated().expect("a valid day"));
    }
    let off: Vec<Vec<Day>> = Kind::ALL.map(|kind| site(kind, days, slots)).into();
    let all: Vec<&Day> = off.iter().flatten().collect();
    report("all", &all);
}

/// Size and times of the program of a site.
fn what_it_costs(name: &str, problem: &Problem) {
    const TIMES: u32 = 10;
    let refinement = Refinement::default();
    let formulation = Formulation::new(problem, &refinement);
    let other = Formulation::new(&dearer(problem), &refinement).program;
    let formulate = milliseconds(TIMES, || {
        std::hint::black_box(Formulation::new(problem, &refinement));
    });
    let cold = milliseconds(TIMES, || {
        let mut live = Live::new(formulation.program.clone()).expect("a program");
        live.solve(SolveLimits::default()).expect("an answer");
    });
    let mut live = Live::new(formulation.program.clone()).expect("a program");
    live.solve(SolveLimits::default()).expect("an answer");
    let hot = milliseconds(TIMES, || {
        for program in [&other, &formulation.program] {
            live.load(program.clone()).expect("a program");
            live.solve(SolveLimits::default()).expect("an answer");
        }
    });
    let (columns, rows) = formulation.program.size();
    println!(
        "{name}: {columns} columns, {rows} rows; formulate {formulate:.2} ms, load and solve cold {cold:.1} ms, change and solve hot {:.1} ms",
        hot / 2.0
    );
}

/// The same day with prices a little different.
fn dearer(problem: &Problem) -> Problem {
    let mut other = problem.clone();
    let prices = other.import_price.values().iter().enumerate();
    let moved = prices.map(|(i, p)| Price::clamped(p.per_kwh() * (1.0 + 0.1 * (i as f64).sin())));
    other.import_price =
        Series::new("import", &other.horizon, moved.collect()).expect("as many prices");
    other
}

/// A day planned: how far plans are from the plant, and what they took.
struct Day {
    /// Cost of the program against the same plan simulated, in per cent.
    program: f64,
    /// Cost as published against the published plan simulated again, in per cent.
    published: f64,
    /// Draw heat that the published plan called served and that failed [kWh].
    failed: f64,
    /// Probes at slot ends against the program, in kelvin, in the median.
    probes: f64,
    program_ms: f64,
    ms: f64,
    /// Everything that counts of the published plan [minor].
    score: f64,
}

fn site(kind: Kind, days: u64, slots: usize) -> Vec<Day> {
    let all: Vec<Day> = (0..days).filter_map(|seed| day(kind, slots, seed)).collect();
    println!("{kind:?}: {} of {days} days planned", all.len());
    report(&format!("{kind:?}"), &all.iter().collect::<Vec<_>>());
    all
}

fn report(name: &str, days: &[&Day]) {
    let of = |read: fn(&Day) -> f64| {
        let mut values: Vec<f64> = days.iter().map(|day| read(day)).collect();
        values.sort_by(f64::total_cmp);
        let last = values.len().saturating_sub(1);
        values.get(last / 2).copied().zip(values.last().copied()).unwrap_or((0.0, 0.0))
    };
    for (what, (median, worst)) in [
        ("program against plant [%]", of(|day| day.program)),
        ("published against plant [%]", of(|day| day.published)),
        ("failed draws [kWh]", of(|day| day.failed)),
        ("probes, median of a day [K]", of(|day| day.probes)),
        ("linear programs [ms]", of(|day| day.program_ms)),
        ("whole plan [ms]", of(|day| day.ms)),
    ] {
        println!("  {name}: {what}: median {median:.2}, worst {worst:.2}");
    }
    let sum: f64 = days.iter().map(|day| day.score).sum();
    println!("  {name}: score of published plans, mean {:.2}", sum / days.len() as f64);
}

fn day(kind: Kind, slots: usize, seed: u64) -> Option<Day> {
    let problem = random_day(kind, slots, seed).validated().expect("a valid day");
    let (mut modelled, mut judged) = (None, None);
    let program_ms = milliseconds(1, || modelled = planned(&problem, Effort::NONE));
    let ms = milliseconds(1, || judged = planned(&problem, Effort::COLD));
    let (modelled, judged) = (modelled?, judged?);
    let mut plant = Plant::new(&problem.site);
    let scene = plant.scene(&(&problem).into()).expect("a scene");
    let mut run = |plan: &Planned| -> plant::Outcome {
        plant.simulate(&scene, &Commands::of(&problem, &plan.schedule))
    };
    let (plain, again) = (run(&modelled), run(&judged));
    let off = |plan: &Planned, outcome: &plant::Outcome| {
        let cost = plan.schedule.cost;
        let gross = cost.import + cost.export_income + cost.wear + cost.fuel;
        100.0 * (outcome.cost(&problem.site, &scene).net() - cost.net()).abs() / gross.max(50.0)
    };
    let mut judge = Judge::new(&problem, &judged.schedule.hygiene).expect("a judge");
    let score = judge.exactly(Commands::of(&problem, &judged.schedule)).score;
    let mut probes: Vec<f64> = modelled
        .schedule
        .slots
        .iter()
        .enumerate()
        .map(|(slot, plan)| {
            let layers = plain.stores[0].layers(slot + 1);
            (plan.stores[0].top.celsius() - layers[layers.len() - 1]).abs()
        })
        .collect();
    probes.sort_by(f64::total_cmp);
    Some(Day {
        program: off(&modelled, &plain),
        published: off(&judged, &again),
        failed: (again.unmet_kwh() - judged.schedule.unmet_kwh).max(0.0),
        probes: probes[probes.len() / 2],
        program_ms,
        ms,
        score,
    })
}

fn planned(problem: &Problem, effort: Effort) -> Option<Planned> {
    match Planner::default().with_effort(effort).plan(problem) {
        Outcome::Planned(planned) => Some(*planned),
        other => {
            println!("no plan: {other:?}");
            None
        }
    }
}

/// Time of the processor that a call takes in the mean [ms].
fn milliseconds(times: u32, mut call: impl FnMut()) -> f64 {
    let before = processor_ns();
    for _ in 0..times {
        call();
    }
    (processor_ns() - before) / 1e6 / f64::from(times)
}

/// Time that this process has had of the processor [ns], as Linux counts it.
fn processor_ns() -> f64 {
    let text = std::fs::read_to_string("/proc/self/schedstat").expect("Linux counts");
    text.split_whitespace().next().and_then(|ns| ns.parse().ok()).expect("a number")
}
