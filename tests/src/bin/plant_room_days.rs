//! How plans of whole plant rooms go with the simulated plant: random days of
//! three sites.
//!
//!     cargo run --release -p stowheat-tests --bin plant_room_days -- 20 96
//!
//! prints for each site, over so many days of so many half-hours, how far the
//! linear program's cost is from the simulated one, what judging gains, and how
//! long planning takes.

#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use std::time::Instant;

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::plant::{Commands, Plant};
use optimiser::problem::Problem;
use stowheat_tests::plant_rooms::{Kind, random_day};

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|text| text.parse::<u64>().ok());
    let (days, slots) = (numbers.next().unwrap_or(20), numbers.next().unwrap_or(96));
    for kind in Kind::ALL {
        for seed in 0..days {
            one(kind, slots as usize, seed);
        }
    }
}

fn one(kind: Kind, slots: usize, seed: u64) {
    let problem = random_day(kind, slots, seed).validated().expect("a valid day");
    let begun = Instant::now();
    let Some(modelled) = planned(&problem, Effort::NONE) else { return };
    let program_ms = begun.elapsed().as_secs_f64() * 1_000.0;
    let begun = Instant::now();
    let Some(judged) = planned(&problem, Effort::COLD) else { return };
    let ms = begun.elapsed().as_secs_f64() * 1_000.0;
    let score = |plan: &Planned| (plan.schedule.cost.net(), plan.schedule.unmet_kwh);
    let mut plant = Plant::new(&problem.site);
    let scene = plant.scene(&(&problem).into()).expect("a scene");
    let mut told = |plan: &Planned| {
        let outcome = plant.simulate(&scene, &Commands::of(&problem, &plan.schedule));
        (outcome.cost(&problem.site, &scene).net(), outcome.unmet_kwh())
    };
    let (plain, again) = (told(&modelled), told(&judged));
    println!(
        "{kind:?} {seed}: program {:.1} simulated {:.1} (unmet {:.2}); judged {:.1} (unmet {:.2}) simulated {:.1} (unmet {:.2}); {program_ms:.0} ms, {ms:.0} ms",
        score(&modelled).0,
        plain.0,
        plain.1,
        score(&judged).0,
        score(&judged).1,
        again.0,
        again.1
    );
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
