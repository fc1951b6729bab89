//! The rules of today as they would have been set best in hindsight, and how long it
//! took to find them.
//!
//!     tuned_rules [--house NAME] [--market NAME] [--days N --from DAY] [--no-hygiene]
//!
//! For each kind of rule over a year, or over some days of it: setting, cost, heat
//! unmet and processor time.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use chrono::{Days, NaiveDate};
use optimiser::replay::baseline::{Kind, tune};
use optimiser::replay::{Stage, Timeline};
use stowheat::assemble::{Known, period};
use stowheat::house::House;
use stowheat_tests::clock::Stopwatch;
use stowheat_tests::real::start;
use stowheat_tests::worlds::{HOUSES, MARKETS, Market, world};

/// Share of draw heat that may arrive cold.
const ALLOWED: f64 = 0.001;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let text = |name: &str| {
        let at = arguments.iter().position(|a| a == name)?;
        arguments.get(at + 1).map(String::as_str)
    };
    let hygiene = !arguments.iter().any(|a| a == "--no-hygiene");
    let day = |text: &str| text.parse::<NaiveDate>().expect("a day");
    for market in MARKETS.iter().filter(|m| text("--market").is_none_or(|name| name == m.name)) {
        let from = day(text("--from").unwrap_or(market.first_day));
        let to = text("--days").map_or(day(market.last_day), |days| {
            from + Days::new(days.parse::<u64>().expect("a number") - 1)
        });
        for name in HOUSES.iter().filter(|h| text("--house").is_none_or(|own| own == **h)) {
            let Some((house, known)) = world(name, market) else {
                println!("skipped: the shared series are not at hand");
                return;
            };
            println!("{} {name} {from} to {to}", market.name);
            measure(market, &house, &known, (from, to), hygiene);
        }
    }
}

fn measure(
    market: &Market,
    house: &House,
    known: &Known,
    (from, to): (NaiveDate, NaiveDate),
    hygiene: bool,
) {
    let period = period(house, known, None, (Some(from), Some(to))).expect("a period");
    let mut record = period.timeline.record().clone();
    if !hygiene {
        record.hygiene.clear();
    }
    let timeline = Timeline::new(record).expect("a timeline");
    let start = start(house);
    let stage = Stage::new(&house.site, &timeline, &start).expect("a stage");
    let watch = Stopwatch::start();
    for kind in Kind::ALL {
        let watch = Stopwatch::start();
        let found = tune(&stage, kind, ALLOWED, stage.stored_worth());
        let seconds = watch.elapsed().as_secs_f64();
        match found {
            Some(tuned) => println!(
                "  {:14} {:12.4} {} unmet {:8.4} kWh {seconds:6.2} s  {}",
                kind.name(),
                tuned.cost,
                if tuned.comfortable { "warm" } else { "cold" },
                tuned.discomfort,
                tuned.ruled,
            ),
            None => println!("  {:14} makes no sense here {seconds:6.2} s", kind.name()),
        }
    }
    println!("  {} all {:6.2} s", market.name, watch.elapsed().as_secs_f64());
}
