//! How far plans are from what a long search on the simulated plant finds.
//!
//! Usage: `long_search SECONDS DAYS`. For random days of real price years and two
//! layouts, plans cold, then anneals from that plan for so many seconds with
//! random moves of heat, and prints by how much the search is cheaper.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use std::time::{Duration, Instant as Clock};

use optimiser::judge::{Candidate, Judge};
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::plant::Commands;
use optimiser::problem::Problem;
use optimiser::time::Instant;
use stowheat_tests::real::{house, known, problem, shared};

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<u64>().expect("a number"));
    let seconds = arguments.next().unwrap_or(60);
    let days = arguments.next().unwrap_or(40) as usize;
    let worlds = [
        ("price_30min_GB_2023.csv", "GBP", "market_index_price_gbp_per_mwh", 1_672_531_200),
        ("price_30min_AU-VIC1_2024.csv", "AUD", "price_aud_per_mwh", 1_704_067_200),
    ];
    let mut random = Random(7);
    let mut gaps = Vec::new();
    let mut planning = Vec::new();
    for day in 0..days {
        let (file, currency, column, start) = worlds[day % 2];
        let site = ["harbour-row.toml", "mill-cottage.toml"][day / 2 % 2];
        let Some(path) = shared(file) else {
            println!("skipped: {file} is not at hand");
            return;
        };
        let change = |text: String| {
            text.replace("\"GBP\"", &format!("\"{currency}\""))
                .replace("market_index_price_gbp_per_mwh", column)
        };
        let house = house(site, change);
        let known = known(&house, &path, None);
        let at = Instant::from_unix(
            start + 86_400 * (7 + random.below(350)) as i64 + 1_800 * random.below(48) as i64,
        );
        let problem = problem(&house, &known, at).problem;
        let clock = Clock::now();
        let Outcome::Planned(planned) = Planner::default().plan(&problem) else {
            println!("no plan at {at}");
            continue;
        };
        planning.push(clock.elapsed().as_secs_f64() * 1e3);
        let (from, to, unmet) =
            search(&problem, &planned, Duration::from_secs(seconds), &mut random);
        let cost = planned.schedule.cost.import.abs().max(50.0);
        let gap = (from - to) / cost * 100.0;
        println!(
            "{site} {at} plan {from:.1} search {to:.1} gap {gap:.2} % of {cost:.0}, unmet {:.3} -> {unmet:.3} kWh, {:?} planned in {:.0} ms",
            planned.schedule.unmet_kwh,
            planned.schedule.origin,
            planning[planning.len() - 1]
        );
        gaps.push(gap);
    }
    gaps.sort_by(f64::total_cmp);
    planning.sort_by(f64::total_cmp);
    let at = |values: &[f64], share: f64| values[((values.len() - 1) as f64 * share) as usize];
    println!(
        "{} days: gap median {:.2} %, 90th percentile {:.2} %, worst {:.2} %; planning median {:.0} ms, worst {:.0} ms",
        gaps.len(),
        at(&gaps, 0.5),
        at(&gaps, 0.9),
        at(&gaps, 1.0),
        at(&planning, 0.5),
        at(&planning, 1.0)
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
    let start = judge.candidate(Commands::of(problem, &planned.schedule));
    let from = start.score;
    let mut here = start.clone();
    let mut best = start;
    let mut trial = here.clone();
    let clock = Clock::now();
    let heaters: Vec<_> = problem.heaters().collect();
    let slots = problem.horizon.len();
    while clock.elapsed() < time {
        let heat = 1.0 * (0.7 - clock.elapsed().as_secs_f64() / time.as_secs_f64()).max(0.0);
        for _ in 0..50 {
            trial.clone_from(&here);
            let changed = stir(problem, &heaters, &mut trial, slots, random);
            if !judge.rerun(&mut trial, &changed) {
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

/// SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound.max(1)
    }
}
