//! A plan for every day of real prices: solved, checked, one direction at a
//! time, and the same when made again.
//!
//! The series are those of `../shared/data`; where they are absent the checks
//! are left out and say so.

use std::fs;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant as Clock};

use chrono_tz::Tz;
use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::schedule::{BatteryMode, Origin, Schedule};
use optimiser::time::Instant;
use optimiser::units::{Power, Price};
use stowheat::assemble::{Known, assemble};
use stowheat::house::{BaseLoad, House};
use stowheat::local_time::{day, day_slots, local_date};
use stowheat::series::{Marks, SeriesFile, read};
use stowheat::site_file;
use stowheat::tariff::{Rates, Wholesale};
use stowheat::weather::{Reading, Weather};

const DEMO: &str = include_str!("../../fixtures/sites/harbour-row.toml");
const SMALL: &str = include_str!("../../fixtures/sites/mill-cottage.toml");
const LARGE: &str = include_str!("../../fixtures/sites/twin-gables.toml");

/// A market with its prices, and weather of the same stamps if there is any.
struct Market {
    file: &'static str,
    column: &'static str,
    currency: &'static str,
    zone: Tz,
    weather: Option<&'static str>,
}

const GB: Market = Market {
    file: "price_30min_GB_2023.csv",
    column: "market_index_price_gbp_per_mwh",
    currency: "GBP",
    zone: chrono_tz::Europe::London,
    weather: Some("weather_60min_DE-Bremerhaven_TRY2010.csv"),
};

/// The same days with the wilder imbalance price.
const GB_SYSTEM: Market = Market { column: "system_price_gbp_per_mwh", weather: None, ..GB };

const VICTORIA: Market = Market {
    file: "price_30min_AU-VIC1_2024.csv",
    column: "price_aud_per_mwh",
    currency: "AUD",
    zone: chrono_tz::Australia::Melbourne,
    weather: None,
};

const DENMARK_2023: Market = Market {
    file: "price_60min_DK1_2023.csv",
    column: "price_eur_per_mwh",
    currency: "EUR",
    zone: chrono_tz::Europe::Copenhagen,
    weather: Some("weather_60min_DE-Bremerhaven_TRY2010.csv"),
};

const DENMARK_2024: Market =
    Market { file: "price_60min_DK1_2024.csv", weather: None, ..DENMARK_2023 };

const BELGIUM: Market = Market {
    file: "price_15min_BE-imbalance_2024-10_2025-09.csv",
    column: "imbalance_price_eur_per_mwh",
    currency: "EUR",
    zone: chrono_tz::Europe::Brussels,
    weather: Some("weather_60min_BE_reanalysis_2024-10_2025-09.csv"),
};

#[expect(clippy::print_stderr, reason = "a check that is left out says so")]
fn shared(name: &str) -> Option<SeriesFile> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/data").join(name);
    let Ok(bytes) = fs::read(&path) else {
        eprintln!("left out: {} is not there", path.display());
        return None;
    };
    Some(read(name, &bytes, Marks::AsNamed).unwrap_or_else(|error| panic!("{error}")))
}

/// A house that lives in a market.
struct Life {
    house: House,
    known: Known,
    prices: SeriesFile,
}

impl Life {
    /// Moves a house of the fixtures to a market: its zone, currency and price
    /// column become those of the market, and no cap hides a spike.
    fn new(text: &str, market: &Market) -> Option<Self> {
        let mut house = site_file::read(text, "house.toml").expect("a fixture").house;
        house.time_zone = market.zone;
        market.currency.clone_into(&mut house.tariff.currency);
        for rates in [&mut house.tariff.import, &mut house.tariff.export] {
            if let Rates::Indexed(index) = rates {
                index.column = Some(market.column.to_owned());
                index.cap = None;
                if text == LARGE {
                    // Øre to cents.
                    for adder in &mut index.adders {
                        adder.rate = Price::clamped(adder.rate.per_kwh() / 7.46);
                    }
                }
            }
        }
        if let BaseLoad::Series { .. } = house.base_load {
            house.base_load =
                BaseLoad::Daily(vec![(chrono::NaiveTime::MIN, Power::constant(0.45))]);
        }
        if let Some(location) = &mut house.location
            && market.zone == chrono_tz::Australia::Melbourne
        {
            (location.latitude, location.longitude) = (-37.8, 145.0);
        }
        let prices = shared(market.file)?;
        let weather = match market.weather {
            Some(name) => Some(Weather::from_series(&shared(name)?).expect("rows in order")),
            None => None,
        };
        let known = Known {
            wholesale: Wholesale::from_file(&prices, &house.tariff).expect("prices"),
            price_step_seconds: prices.step_seconds(),
            weather: weather.map(Reading::Dated),
            ..Known::default()
        };
        Some(Self { house, known, prices })
    }

    /// The problem at an instant. Every store was last pasteurised a number of
    /// days ago that differs from day to day, so that it falls due on some.
    fn problem(&self, at: Instant) -> Problem {
        let mut house = self.house.clone();
        for (index, rule) in (0_i64..).zip(&mut house.hygiene) {
            let days = (at.unix().div_euclid(86_400) + 3 * index).rem_euclid(7);
            rule.last_proven = Some(at + -days * 86_400 + -3_600);
        }
        assemble(&house, &self.known, at).unwrap_or_else(|error| panic!("{at}: {error}")).problem
    }

    /// Every local midnight that the prices cover.
    fn midnights(&self) -> Vec<Instant> {
        let (zone, span) = (self.house.time_zone, self.prices.span());
        let days = local_date(span.start(), zone).iter_days();
        days.map_while(|date| {
            let start = day(date, zone)?.start();
            (start < span.end()).then_some(start)
        })
        .filter(|start| *start >= span.start())
        .collect()
    }

    /// Midnights of the days on which the clock changes.
    fn change_days(&self) -> Vec<Instant> {
        let zone = self.house.time_zone;
        let changes = |at: &Instant| {
            day(local_date(*at, zone), zone).is_some_and(|day| day.seconds() != 86_400)
        };
        self.midnights().into_iter().filter(changes).collect()
    }
}

/// What came of the plans of many days.
#[derive(Default)]
struct Tally {
    optimal: usize,
    limited: usize,
    time: Duration,
    longest: Duration,
    unmet: usize,
    judged: usize,
    spikes: usize,
    faults: Vec<String>,
}

impl Tally {
    fn join(&mut self, other: Self) {
        self.optimal += other.optimal;
        self.limited += other.limited;
        self.time += other.time;
        self.longest = self.longest.max(other.longest);
        self.unmet += other.unmet;
        self.judged += other.judged;
        self.spikes += other.spikes;
        self.faults.extend(other.faults);
    }

    /// Plans by the program alone, and for a sample also judged on the simulated
    /// plant and made twice.
    fn plan(&mut self, problem: &Problem, at: Instant, sample: bool) {
        self.plan_with(problem, at, Effort::NONE, sample);
        if sample {
            self.judged += 1;
            self.plan_with(problem, at, Effort::COLD, false);
        }
    }

    fn plan_with(&mut self, problem: &Problem, at: Instant, effort: Effort, again: bool) {
        let clock = Clock::now();
        let outcome = Planner::default().with_effort(effort).plan(problem);
        let took = clock.elapsed();
        self.time += took;
        self.longest = self.longest.max(took);
        let planned = match outcome {
            Outcome::Planned(planned) => planned,
            Outcome::Refused(found) => {
                let first = found.first().map(ToString::to_string).unwrap_or_default();
                return self.fault(at, &format!("refused: {} of {first}", found.len()));
            }
            Outcome::Infeasible(missing) => {
                return self.fault(at, &format!("infeasible: {missing:?}"));
            }
            Outcome::Failed(why) => return self.fault(at, &format!("failed: {why}")),
        };
        match planned.schedule.origin {
            Origin::Optimal => self.optimal += 1,
            Origin::LimitReached => self.limited += 1,
            Origin::Rule => self.fault(at, "planned by rule"),
        }
        let ladder = (effort == Effort::NONE).then_some(&planned.solution);
        for violation in violations(problem, &planned.schedule, ladder) {
            self.fault(at, &violation.to_string());
        }
        self.unmet += usize::from(planned.schedule.unmet_kwh > 0.05);
        self.judge(at, &planned.schedule);
        if again {
            match Planner::default().with_effort(effort).plan(problem) {
                Outcome::Planned(second) if second.schedule == planned.schedule => {}
                _ => self.fault(at, "another plan when made again"),
            }
        }
    }

    /// What must hold in every slot, to the last bit.
    fn judge(&mut self, at: Instant, schedule: &Schedule) {
        for plan in &schedule.slots {
            let (import, export) = (plan.import.kwh(), plan.export.kwh());
            // Only a battery that follows an element takes and gives in one slot.
            let switched = plan.battery_mode == Some(BatteryMode::Follow)
                && plan.heaters.iter().any(|heater| heater.minutes > 0.0);
            let both = plan.charge.kwh().min(plan.discharge.kwh()) > 0.0 && !switched;
            if import.min(export) > 0.0 || both {
                self.fault(at, &format!("both ways at {}", plan.slot.start()));
            }
            // 1.15 × 16 600 AUD/MWh and tax are far above 1 600 cents per kWh;
            // nobody buys then what can wait.
            if plan.import_price.per_kwh() > 1_600.0 {
                self.spikes += 1;
                let needed = (plan.base_load.kwh() - plan.pv.kwh()).max(0.0);
                if import + plan.swing.kwh() > needed + 1e-6 {
                    self.fault(
                        at,
                        &format!(
                            "{import} kWh bought at {} in {}",
                            plan.import_price,
                            plan.slot.start()
                        ),
                    );
                }
            }
        }
    }

    fn fault(&mut self, at: Instant, what: &str) {
        self.faults.push(format!("{at}: {what}"));
    }

    /// Prints what came of it, and fails if anything was wrong.
    #[track_caller]
    #[expect(clippy::print_stdout, reason = "a measured figure")]
    fn conclude(&self, what: &str, days: usize) {
        let plans = self.optimal + self.limited;
        println!(
            "{what}: {plans} plans, {} optimal, {} limit-reached, {} with cold draws; mean {:.0} ms, longest {:.0} ms",
            self.optimal,
            self.limited,
            self.unmet,
            1e3 * self.time.as_secs_f64() / days.max(1) as f64,
            1e3 * self.longest.as_secs_f64(),
        );
        let shown = &self.faults[..self.faults.len().min(20)];
        assert!(self.faults.is_empty(), "{what}: {} faults, {shown:#?}", self.faults.len());
        assert_eq!(plans, days + self.judged);
    }
}

/// Plans at each of these instants, on two threads; every twentieth plan is
/// made twice.
fn plan_all(life: &Life, instants: &[Instant]) -> Tally {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut tally = Tally::default();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(&at) = instants.get(index) else { return tally };
            tally.plan(&life.problem(at), at, index.is_multiple_of(20));
        }
    };
    std::thread::scope(|scope| {
        let workers = [scope.spawn(work), scope.spawn(work)];
        let mut all = Tally::default();
        for worker in workers {
            all.join(worker.join().expect("no panic"));
        }
        all
    })
}

#[test]
fn every_day_of_great_britain_2023() {
    let Some(life) = Life::new(DEMO, &GB) else { return };
    let mut instants = life.midnights();
    assert_eq!(instants.len(), 365);
    instants.extend(life.midnights().iter().step_by(14).map(|at| *at + 6 * 3_600));
    plan_all(&life, &instants).conclude("Great Britain 2023", instants.len());
}

#[test]
fn every_day_of_victoria_2024() {
    let Some(life) = Life::new(DEMO, &VICTORIA) else { return };
    let mut instants = life.midnights();
    // The year is that of market time, an hour behind the clock of Melbourne
    // in summer: the first midnight is missing, one of the next year is there.
    assert_eq!(instants.len(), 366);
    instants.extend(life.midnights().iter().step_by(14).map(|at| *at + 6 * 3_600));
    instants.retain(|at| *at < life.prices.span().end());
    let tally = plan_all(&life, &instants);
    assert!(tally.spikes > 0, "the dearest half-hours of the year are among the plans");
    tally.conclude("Victoria 2024", instants.len());
}

// C34, common practice, no published source: 46 and 50 half-hours, 92 and 100
// quarters, 23 and 25 hours.
#[test]
fn every_day_on_which_the_clock_changes() {
    for (market, days) in
        [(GB, 2), (GB_SYSTEM, 2), (VICTORIA, 2), (DENMARK_2023, 2), (DENMARK_2024, 2), (BELGIUM, 2)]
    {
        let Some(life) = Life::new(DEMO, &market) else { return };
        let changes = life.change_days();
        assert_eq!(changes.len(), days, "{}", market.file);
        for &at in &changes {
            let (zone, date) = (market.zone, local_date(at, market.zone));
            let hours = day_slots(date, zone, 3_600).len();
            assert!(hours == 23 || hours == 25, "{date}: {hours}");
            let problem = life.problem(at);
            let on_day = |slot: &&optimiser::time::Slot| local_date(slot.start(), zone) == date;
            let count = problem.horizon.slots().iter().filter(on_day).count();
            // Prices by the hour are planned by the half-hour.
            let per_hour = if market.file == BELGIUM.file { 4 } else { 2 };
            assert_eq!(count, per_hour * hours, "{date}");
        }
        let mut instants = changes.clone();
        instants.extend(changes.iter().map(|at| *at + -86_400));
        instants.extend(changes.iter().map(|at| *at + 6 * 3_600));
        plan_all(&life, &instants).conclude(market.file, instants.len());
    }
}

#[test]
fn days_of_the_other_houses() {
    for (name, text, market, step) in [
        ("two cylinders, Denmark 2023", LARGE, DENMARK_2023, 24),
        ("two cylinders, Belgium", LARGE, BELGIUM, 73),
        ("small house", SMALL, GB, 30),
    ] {
        let Some(life) = Life::new(text, &market) else { return };
        let mut instants: Vec<Instant> = life.midnights().into_iter().step_by(step).collect();
        instants.extend(life.change_days());
        plan_all(&life, &instants).conclude(name, instants.len());
    }
}
