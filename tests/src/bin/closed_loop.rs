//! How much of what is to be gained stowheat gains, in a closed loop on past years.
//!
//!     closed_loop [--house NAME] [--market NAME] [--weeks N | --year] [--days N]
//!                 [--from DAY] [--seed N] [--perfect prices,draws,pv,load]
//!                 [--no-reserve] [--planned Q] [--share S] [--allowed A]
//!                 [--no-rules] [--no-bound] [--no-hygiene] [--reach N] [--accounts]
//!                 [--slots FILE] [--way scenarios|scenarios-with-reserve|set-points] [--failures]
//!
//! Without `--year`, N weeks (6) spread over the year are drawn by a seed (1).
//! For each, and in sum: cost under the best tuned rule, under stowheat, and the
//! bounds; the share captured, (rule − stowheat) / (rule − bound at equal
//! comfort); unmet draw heat; processor time of a step. `--accounts` adds each
//! period by cause, `--slots` writes it slot by slot. `--reach` plans the period as a
//! whole, everything known, with N simulations, and shows what that reaches. `--way`
//! decides in another way with what is not known, see [`stowheat_tests::ways`].
//! `--failures` tells each draw that went wrong, and why.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use chrono::{Days, NaiveDate};
use optimiser::judge::Effort;
use optimiser::replay::baseline::{Kind, tune};
use optimiser::replay::bound::{Comfort, prescient};
use optimiser::replay::{Ledger, Planning, Run, Settings, Stage, Timeline, reached};
use optimiser::solve::{PeriodSolver, SolveLimits};
use stowheat::assemble::{Known, period};
use stowheat::house::House;
use stowheat_tests::accounts::{self, Account};
use stowheat_tests::failures::{self, Watched};
use stowheat_tests::real::start;
use stowheat_tests::ways::{Scenarios, SetPoints};
use stowheat_tests::worlds::{HOUSES, MARKETS, Market, world};

const ALLOWED: f64 = 0.001;

#[expect(clippy::struct_excessive_bools, reason = "they are the switches of a command line")]
struct Wishes {
    weeks: usize,
    days: u64,
    seed: u64,
    year: bool,
    rules: bool,
    bound: bool,
    way: String,
    hygiene: bool,
    reach: usize,
    accounts: bool,
    failures: bool,
    slots: Option<String>,
    from: Option<NaiveDate>,
    perfect: String,
    settings: Settings,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let text = |name: &str| {
        let at = arguments.iter().position(|a| a == name)?;
        arguments.get(at + 1).map(String::as_str)
    };
    let number =
        |name: &str, usual: f64| text(name).map_or(usual, |n| n.parse::<f64>().expect("a number"));
    let flag = |name: &str| arguments.iter().any(|a| a == name);
    let mut settings = Settings::default();
    if flag("--rolling") {
        settings.effort = Effort::ROLLING;
    }
    settings.effort = Effort {
        rounds: number("--rounds", settings.effort.rounds as f64) as usize,
        simulations: number("--sims", settings.effort.simulations as f64) as usize,
        ..settings.effort
    };
    settings.caution.planned = number("--planned", settings.caution.planned);
    settings.caution.share = number("--share", settings.caution.share);
    settings.allowed_unmet = number("--allowed", settings.allowed_unmet);
    settings.keeps_reserve = !flag("--no-reserve");
    let wishes = Wishes {
        weeks: number("--weeks", 6.0) as usize,
        days: number("--days", 7.0) as u64,
        seed: number("--seed", 1.0) as u64,
        year: flag("--year"),
        rules: !flag("--no-rules"),
        bound: !flag("--no-bound"),
        way: text("--way").unwrap_or_default().to_owned(),
        hygiene: !flag("--no-hygiene"),
        reach: number("--reach", 0.0) as usize,
        accounts: flag("--accounts"),
        failures: flag("--failures"),
        slots: text("--slots").map(str::to_owned),
        from: text("--from").map(|day| day.parse().expect("a day")),
        perfect: text("--perfect").unwrap_or_default().to_owned(),
        settings,
    };
    for market in MARKETS.iter().filter(|m| text("--market").is_none_or(|name| name == m.name)) {
        for house in HOUSES.iter().filter(|h| text("--house").is_none_or(|name| name == **h)) {
            let Some((site, known)) = world(house, market) else {
                println!("skipped: the shared series are not at hand");
                return;
            };
            measure(&format!("{} {house}", market.name), market, &site, &known, &wishes);
        }
    }
}

/// What came of some periods, summed.
#[derive(Default, Clone, Copy)]
struct Sums {
    own: f64,
    rule: f64,
    free: f64,
    equal: f64,
    asked: f64,
    unmet: f64,
    steps: usize,
    seconds: f64,
}

fn measure(name: &str, market: &Market, house: &House, known: &Known, wishes: &Wishes) {
    let mut sums = Sums::default();
    for (from, to) in periods(market, wishes) {
        let found = one(house, known, (from, to), wishes);
        println!("{name} {from} {}", found.told());
        sums.own += found.own;
        sums.rule += found.rule;
        sums.free += found.free;
        sums.equal += found.equal;
        sums.asked += found.asked;
        sums.unmet += found.unmet;
        sums.steps += found.steps;
        sums.seconds += found.seconds;
    }
    println!("{name} ALL        {}", sums.told());
}

impl Sums {
    fn told(&self) -> String {
        let captured = (self.rule - self.own) / (self.rule - self.equal) * 100.0;
        format!(
            "rule {:9.1} own {:9.1} equal {:9.1} free {:9.1} captured {captured:5.1} % over free {:5.2} % unmet {:.3} % {:.1} ms/step",
            self.rule,
            self.own,
            self.equal,
            self.free,
            (self.own / self.free - 1.0) * 100.0,
            100.0 * self.unmet / self.asked.max(1e-9),
            1e3 * self.seconds / self.steps as f64,
        )
    }
}

/// The whole year, or weeks that are spread over it.
fn periods(market: &Market, wishes: &Wishes) -> Vec<(NaiveDate, NaiveDate)> {
    let date = |text: &str| text.parse::<NaiveDate>().expect("a day");
    let (first, last) = (date(market.first_day), date(market.last_day));
    if wishes.year {
        return vec![(first, last)];
    }
    if let Some(from) = wishes.from {
        return vec![(from, from + Days::new(wishes.days - 1))];
    }
    // Forecasts are to have some weeks of memory.
    let first = first + Days::new(28);
    let all = (last - first).num_days() as u64 - wishes.days;
    let part = all / wishes.weeks as u64;
    let mut seed = wishes.seed;
    (0..wishes.weeks as u64)
        .map(|week| {
            // A linear congruential generator: Knuth, The Art of Computer
            // Programming 2, 3.3.4 (MMIX).
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let from = first + Days::new(week * part + (seed >> 33) % part.max(1));
            (from, from + Days::new(wishes.days - 1))
        })
        .collect()
}

fn one(house: &House, known: &Known, (from, to): (NaiveDate, NaiveDate), wishes: &Wishes) -> Sums {
    let period = period(house, known, None, (Some(from), Some(to))).expect("a period");
    for note in period.notes.iter().filter(|note| note.contains("other years")) {
        println!("  {note}");
    }
    let mut record = period.timeline.record().clone();
    let perfect = |what: &str| wishes.perfect.split(',').any(|p| p == what || p == "all");
    if !wishes.hygiene {
        record.hygiene.clear();
    }
    record.foreknown.prices |= perfect("prices");
    record.foreknown.draws |= perfect("draws");
    record.foreknown.pv |= perfect("pv");
    record.foreknown.base_load |= perfect("load");
    let timeline = Timeline::new(record).expect("a timeline");
    let start = start(house);
    let stage = Stage::new(&house.site, &timeline, &start).expect("a stage");
    let worth = stage.stored_worth();
    let slots = stage.horizon().len();
    let began = cpu_seconds();
    let (run, watched) = lived(&stage, wishes);
    let seconds = cpu_seconds() - began;
    let ledger = Ledger::of(&stage, &run, 0..slots);
    let mut sums = Sums {
        free: f64::NAN,
        equal: f64::NAN,
        rule: f64::NAN,
        own: ledger.cost(worth),
        asked: ledger.taps.asked_kwh,
        unmet: ledger.taps.unmet_kwh,
        steps: slots,
        seconds,
    };
    let mut accounts = Vec::new();
    let mut best_rule = None;
    if wishes.rules {
        let tuned = Kind::ALL.iter().filter_map(|kind| tune(&stage, *kind, ALLOWED, worth));
        let best = tuned.filter(|t| t.comfortable).min_by(|a, b| a.cost.total_cmp(&b.cost));
        sums.rule = best.as_ref().map_or(f64::NAN, |best| best.cost);
        if let Some(best) = best {
            if wishes.accounts {
                println!("  best rule: {}", best.ruled);
            }
            accounts.push(Account::of_run("rule", &stage, &best.run, worth));
            best_rule = Some(best.run);
        }
    }
    if let Some(watched) = &watched {
        println!("{}", failures::told(&stage, &run, watched, best_rule.as_ref()));
    }
    accounts.push(Account::of_run("own", &stage, &run, worth));
    if wishes.reach > 0 {
        let limits = SolveLimits { seconds: 600.0, branches: 0, ..SolveLimits::default() };
        let effort = Effort { simulations: wishes.reach, ..Effort::COLD };
        match reached(&stage, worth, &run, limits, effort) {
            Ok(run) => {
                let ledger = Ledger::of(&stage, &run, 0..slots);
                let unmet = ledger.taps.unmet_percent();
                println!("  reached {:.1} unmet {unmet:.3} %", ledger.cost(worth));
                accounts.push(Account::of_run("reached", &stage, &run, worth));
            }
            Err(why) => println!("  nothing was reached: {why}"),
        }
    }
    if wishes.bound {
        let limits = SolveLimits { seconds: 600.0, ..SolveLimits::default() };
        let mut solver = PeriodSolver::new(limits);
        for (name, comfort) in [("equal", Comfort::Ready), ("free", Comfort::Draws)] {
            let bound = prescient(&stage, worth, comfort, &run, &mut solver);
            let cost = bound.as_ref().map_or(f64::NAN, |b| b.cost);
            if let Some(open) = bound.as_ref().ok().map(|b| b.open).filter(|&open| open > 0.0) {
                println!("  {name}: the least cost is up to {open:.1} above the bound");
            }
            match comfort {
                Comfort::Ready => sums.equal = cost,
                Comfort::Draws => sums.free = cost,
            }
            accounts.extend(bound.iter().map(|b| Account::of_bound(name, &stage, b, worth)));
        }
    }
    if wishes.accounts {
        println!("{}", accounts::table(&accounts));
    }
    if let Some(file) = &wishes.slots {
        std::fs::write(file, accounts::slots(&stage, &accounts)).expect("a file to write");
    }
    sums
}

/// The period under stowheat, and what it kept ready if that is asked for.
fn lived(stage: &Stage<'_>, wishes: &Wishes) -> (Run, Option<Watched>) {
    let mut own = Planning::new(stage.site(), wishes.settings);
    let run = match wishes.way.as_str() {
        "scenarios" | "scenarios-with-reserve" => {
            let keep = wishes.way.ends_with("reserve");
            stage.run(&mut Scenarios::new(own, wishes.settings, keep), &mut |_| {})
        }
        "set-points" => stage.run(&mut SetPoints(own), &mut |_| {}),
        _ if wishes.failures => {
            let mut watched = Watched::new(own);
            let run = stage.run(&mut watched, &mut |_| {});
            learned(&watched.own);
            return (run, Some(watched));
        }
        _ => {
            let run = stage.run(&mut own, &mut |_| {});
            if own.by_rule() > 0 {
                println!("{} by rule: {:?}", own.by_rule(), own.last_failure());
            }
            learned(&own);
            run
        }
    };
    (run, None)
}

fn learned(own: &Planning) {
    let expected = own.expected_unmet().map_or(f64::NAN, |share| 100.0 * share);
    println!("  learned: {:?}; {expected:.3} % were to be expected unmet", own.caution());
}

/// Processor time of this thread [s], from Linux; by the clock elsewhere.
fn cpu_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = text.split_whitespace().next().and_then(|n| n.parse::<f64>().ok());
    nanoseconds.unwrap_or(0.0) * 1e-9
}
