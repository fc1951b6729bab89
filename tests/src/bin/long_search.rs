//! How far plans are from what a long search on the simulated plant finds.
//!
//! Usage: `long_search SECONDS DAYS [SEED [FIRST]]`. For random days of real price years
//! and two layouts, from the FIRST on, plans cold, then anneals from that plan for so many
//! seconds of processor time with random moves of heat, and prints by how much the search
//! is cheaper.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use std::time::{Duration, Instant};

use optimiser::judge::{Candidate, Judge};
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::plant::Commands;
use optimiser::problem::Problem;
use stowheat_tests::clock::Stopwatch;
use stowheat_tests::days::{Random, random_days};
use stowheat_tests::fine::quantile;

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<u64>().expect("a number"));
    let seconds = arguments.next().unwrap_or(60);
    let count = arguments.next().unwrap_or(40) as usize;
    let Some(days) = random_days(count) else {
        println!("skipped: the price years are not at hand");
        return;
    };
    let mut random = Random::new(arguments.next().unwrap_or(1));
    let first = arguments.next().unwrap_or(0) as usize;
    let (mut gaps, mut planning) = (Vec::new(), Vec::new());
    for day in days.iter().skip(first) {
        // By the clock, since a plan is searched for on several cores.
        let begun = Instant::now();
        let Outcome::Planned(planned) = Planner::default().plan(&day.problem) else {
            println!("{} {}: no plan", day.name, day.at);
            continue;
        };
        let took = begun.elapsed().as_secs_f64() * 1e3;
        let (from, to, unmet) =
            search(&day.problem, &planned, Duration::from_secs(seconds), &mut random);
        let cost = planned.schedule.cost.import.abs().max(50.0);
        let gap = (from - to) / cost * 100.0;
        println!(
            "{} {}: plan {from:.2}, search {to:.2}, gap {gap:.2} % of {cost:.0}, unmet {:.3} -> {unmet:.3} kWh, {}, {took:.0} ms",
            day.name,
            day.at,
            planned.schedule.unmet_kwh,
            planned.schedule.origin.name()
        );
        gaps.push(gap);
        planning.push(took);
    }
    println!(
        "{} days: gap median {:.2} %, 90th percentile {:.2} %, worst {:.2} %; planning median {:.0} ms, worst {:.0} ms",
        gaps.len(),
        quantile(&gaps, 0.5),
        quantile(&gaps, 0.9),
        quantile(&gaps, 1.0),
        quantile(&planning, 0.5),
        quantile(&planning, 1.0)
    );
}

/// Anneals from a plan; scores before and after, and what is then unmet.
fn search(
    problem: &Problem,
    planned: &Planned,
    time: Duration,
    random: &mut Random,
) -> (f64, f64, f64) {
    let mut judge = Judge::new(problem, &planned.schedule.hygiene).expect("a valid problem");
    let start = judge.exactly(Commands::of(problem, &planned.schedule));
    let from = start.score;
    let mut here = start.clone();
    let mut best = start;
    let mut trial = here.clone();
    let watch = Stopwatch::start();
    let heaters: Vec<_> = problem.heaters().collect();
    let slots = problem.horizon.len();
    loop {
        let share = watch.elapsed().div_duration_f64(time);
        if share >= 1.0 {
            break;
        }
        let heat = (0.7 - share).max(0.0);
        for _ in 0..50 {
            trial.clone_from(&here);
            let changed = stir(problem, &heaters, &mut trial, slots, random);
            if !judge.rerun(&here, &mut trial, &changed) {
                continue;
            }
            let worse = trial.score - here.score;
            if worse < 0.0 || random.unit() < (-worse / heat.max(1e-9)).exp() {
                std::mem::swap(&mut here, &mut trial);
                if here.score < best.score {
                    best.clone_from(&here);
                }
            }
        }
    }
    (from, best.score, best.outcome.unmet_kwh())
}

/// A random move of heat: out of a slot, into another, or both.
fn stir(
    problem: &Problem,
    heaters: &[optimiser::problem::HeaterId],
    trial: &mut Candidate,
    slots: usize,
    random: &mut Random,
) -> Vec<usize> {
    let most = |heater: usize, slot: usize| {
        let id = heaters[heater];
        problem.site.stores[id.store].elements[id.element].power.kw()
            * problem.horizon.slots()[slot].hours()
    };
    let kwh = 1.5 * random.unit().powi(2);
    let kind = random.below(4);
    let mut changed = Vec::new();
    if kind != 0 {
        let on: Vec<(usize, usize)> = (0..heaters.len())
            .flat_map(|h| (0..slots).map(move |s| (h, s)))
            .filter(|&(h, s)| trial.energies[h][s] > 1e-4)
            .collect();
        if let Some(&(heater, slot)) = on.get(random.below(on.len().max(1) as u64) as usize) {
            let own = &mut trial.energies[heater][slot];
            *own = (*own - kwh).max(0.0);
            changed.push(slot);
        }
    }
    if kind != 1 {
        let heater = random.below(heaters.len() as u64) as usize;
        let slot = random.below(slots as u64) as usize;
        let room = most(heater, slot) - trial.energies[heater][slot];
        trial.energies[heater][slot] += kwh.min(room).max(0.0);
        changed.push(slot);
    }
    changed
}
