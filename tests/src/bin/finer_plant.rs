//! What a finer plant makes of published plans.
//!
//! Usage: `finer_plant DAYS`. Plans random days of real price years cold and runs
//! the published commands through a plant of twice the layers at half the step.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use optimiser::plan::{Outcome, Planner};
use stowheat_tests::days::random_days;
use stowheat_tests::fine::{finer, quantile};

fn main() {
    let count = std::env::args().nth(1).map_or(60, |a| a.parse().expect("a number of days"));
    let Some(days) = random_days(count) else {
        println!("skipped: the price years are not at hand");
        return;
    };
    let (mut off, mut apart, mut cold, mut broken) = (Vec::new(), Vec::new(), 0, 0);
    for day in &days {
        let Outcome::Planned(planned) = Planner::default().plan(&day.problem) else {
            println!("{} {}: no plan", day.name, day.at);
            continue;
        };
        let run = finer(&day.problem, &planned.schedule);
        let share = (run.simulated - run.planned) / run.scale * 100.0;
        println!(
            "{} {}: planned {:.1}, simulated {:.1}, {share:+.2} %; {} cold, {} of them called served; ends of the store {:.2} K apart in the median, {:.1} at most",
            day.name,
            day.at,
            run.planned,
            run.simulated,
            run.cold,
            run.broken,
            quantile(&run.apart, 0.5),
            quantile(&run.apart, 1.0)
        );
        off.push(share.abs());
        apart.extend(run.apart);
        cold += run.cold;
        broken += run.broken;
    }
    println!(
        "{} days: cost apart {:.2} % in the median, {:.2} % at the 90th percentile, {:.2} % at worst; {cold} draws cold, {broken} of them called served; temperatures {:.2} K apart in the median, {:.1} K at the 90th percentile",
        off.len(),
        quantile(&off, 0.5),
        quantile(&off, 0.9),
        quantile(&off, 1.0),
        quantile(&apart, 0.5),
        quantile(&apart, 0.9)
    );
}
