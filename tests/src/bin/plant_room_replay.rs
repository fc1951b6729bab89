//! What a replay of a whole plant room takes, in time of the processor, and what it saves.
//!
//!     cargo run --release -p stowheat-tests --bin plant_room_replay -- 365 48
//!
//! simulates so many days of the site with everything under thermostats, and plans so
//! many half-hours of each site in the closed loop.
//!
//!     plant_room_replay kiln-house 2023-04-17 2023-04-18 rolling [slots] [bounds] [rules|thermostats]
//!
//! plans these days of a site of `fixtures/` beside thermostats, with the effort
//! `rolling`, `step`, `cold` or `none`, on the shared series, or with `-` not at all; with
//! `slots` each half-hour is printed, with `bounds` what the program costs that knows
//! everything, with `rules` the best settings of every kind of rule in hindsight, many more
//! than a replay tries, with `thermostats` those of thermostats alone.

#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use optimiser::judge::Effort;
use optimiser::replay::baseline::{Rule, Ruled, Window};
use optimiser::replay::bound::{Comfort, prescient};
use optimiser::replay::{Controller, Ledger, Planning, Run, Settings, Stage};
use optimiser::solution::{RouteFlow, SlotFlows};
use optimiser::solve::{PeriodSolver, SolveLimits};
use optimiser::units::Temperature;
use stowheat_tests::clock::Stopwatch;
use stowheat_tests::past::past;
use stowheat_tests::plant_rooms::Kind;
use stowheat_tests::real;

/// Share of draw heat that may arrive cold.
const ALLOWED_UNMET: f64 = 1e-3;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let [site, from, to, effort, more @ ..] = words.as_slice() {
        beside_rules(site, [from, to], effort, more);
        return;
    }
    let mut numbers = std::env::args().skip(1).filter_map(|text| text.parse::<usize>().ok());
    let (days, slots) = (numbers.next().unwrap_or(365), numbers.next().unwrap_or(48));
    let seconds = run(Kind::Everything, days * 48, false);
    println!("{days} days simulated under thermostats: {seconds:.1} s");
    for kind in [Kind::Heating, Kind::Everything] {
        let seconds = run(kind, slots, true);
        println!(
            "{slots} half-hours of {kind:?} planned: {:.0} ms each",
            1e3 * seconds / slots as f64
        );
    }
}

/// Days of a site under stowheat, under thermostats and under tuned rules, in a line each.
fn beside_rules(site: &str, days: [&String; 2], effort: &str, more: &[String]) {
    let asked = |word: &str| more.iter().any(|own| own == word);
    let days = days.map(|day| day.parse::<chrono::NaiveDate>().ok());
    let Some(past) = real::plant_room(site, (days[0], days[1])) else {
        println!("the shared series are not beside the repository");
        return;
    };
    let stage = Stage::new(&past.house.site, &past.period.timeline, &past.start).expect("a stage");
    let plans = effort != "-";
    let effort = match effort {
        "rolling" => Effort::ROLLING,
        "step" => Effort::STEP,
        "cold" => Effort::COLD,
        _ => Effort::NONE,
    };
    let site = stage.site();
    let settings = Settings { effort, ..Settings::default() };
    let mut planning = Planning::new(site, settings);
    let mut rule = Ruled::new(site, Rule::Thermostat, Temperature::constant(55.0), None, false);
    let lived = |name: &str, controller: &mut dyn Controller| {
        let watch = Stopwatch::start();
        let run = stage.run(controller, &mut |_| {});
        let each = 1e3 * watch.elapsed().as_secs_f64() / stage.horizon().len() as f64;
        line(&stage, &run, &format!("{name}, {each:.0} ms each"));
        if asked("slots") {
            half_hours(&stage, &run);
        }
        run
    };
    let own = plans.then(|| lived("stowheat", &mut planning));
    lived("thermostats", &mut rule);
    println!("by rule {}: {:?}", planning.by_rule(), planning.last_failure());
    if let Some(own) = own.filter(|_| asked("bounds")) {
        knowing_everything(&stage, &own);
    }
    let kinds = if asked("rules") { KINDS.len() } else { usize::from(asked("thermostats")) };
    for (name, kind) in &KINDS[..kinds] {
        best_rule(&stage, name, kind);
    }
}

/// What the program costs that knows everything, leaving what a run left.
fn knowing_everything(stage: &Stage<'_>, like: &Run) {
    let worth = stage.stored_worth();
    let limits = SolveLimits { seconds: 3_600.0, ..SolveLimits::default() };
    let mut solver = PeriodSolver::new(limits);
    for comfort in [Comfort::Draws, Comfort::Ready] {
        let watch = Stopwatch::start();
        match prescient(stage, worth, comfort, like, &mut solver) {
            Ok(bound) => {
                println!(
                    "knowing everything, {comfort:?}: cost {:.0}, or up to {:.0} more, unmet {:.2} kWh, rooms {:.2} K, pool {:.2} K, {:.1} s",
                    bound.cost,
                    bound.open,
                    bound.unmet_kwh,
                    bound.too_cold.rooms,
                    bound.too_cold.pool,
                    watch.elapsed().as_secs_f64()
                );
                by_route(stage, &bound.slots);
            }
            Err(why) => println!("knowing everything, {comfort:?}: {why}"),
        }
    }
}

/// Heat by route, elements and meter in the answer of a program.
fn by_route(stage: &Stage<'_>, slots: &[SlotFlows]) {
    for (index, route) in stage.site().plant_room.routes().into_iter().enumerate() {
        let sum =
            |of: fn(&RouteFlow) -> f64| slots.iter().map(|own| of(&own.routes[index])).sum::<f64>();
        println!(
            "  {route:?}: {:.2} kWh of heat, {:.2} of electricity, {:.2} of fuel, {:.1} h",
            sum(|own| own.heat),
            sum(|own| own.electricity),
            sum(|own| own.fuel),
            sum(|own| own.hours),
        );
    }
    let sum = |of: fn(&SlotFlows) -> f64| slots.iter().map(of).sum::<f64>();
    println!(
        "  import {:.1}, export {:.1}, elements {:.1}, pumps of loops {:.1} kWh",
        sum(|own| own.import),
        sum(|own| own.export),
        sum(|own| own.heaters.iter().sum()),
        sum(|own| own.circulation),
    );
}

/// A kind of rule with the settings that are tried.
type Rules = (&'static str, &'static [Rule]);

/// Kinds of rules, thermostats first.
const KINDS: [Rules; 4] = [
    ("thermostats", &[Rule::Thermostat]),
    (
        "timer",
        &[
            Rule::Timer(Window { from: 0, length: 8 }),
            Rule::Timer(Window { from: 0, length: 14 }),
            Rule::Timer(Window { from: 26, length: 8 }),
            Rule::Timer(Window { from: 44, length: 18 }),
        ],
    ),
    (
        "cheapest half-hours",
        &[
            Rule::CheapestSlots(8),
            Rule::CheapestSlots(12),
            Rule::CheapestSlots(20),
            Rule::CheapestSlots(30),
        ],
    ),
    ("threshold", &[Rule::Threshold(0.2), Rule::Threshold(0.4), Rule::Threshold(0.6)]),
];

/// Dials of stores, what their top is kept at besides [°C], and how much warmer the rooms
/// are kept meanwhile [K].
const DIALS: [f64; 3] = [50.0, 55.0, 60.0];
const FLOORS: [Option<f64>; 3] = [None, Some(45.0), Some(52.0)];
const WARMER: [f64; 6] = [0.0, 0.3, 0.6, 1.0, 1.6, 2.5];

/// The cheapest settings of a kind of rule that are comfortable, or the least cold.
fn best_rule(stage: &Stage<'_>, name: &str, kind: &[Rule]) {
    let site = stage.site();
    let worth = stage.stored_worth();
    let charges = site.battery.is_some_and(|battery| battery.charges_from_grid);
    let mut best: Option<((bool, f64), Ruled, Run)> = None;
    for &rule in kind {
        let always = rule == Rule::Thermostat;
        for (dial, floor, warmer) in DIALS.into_iter().flat_map(|dial| {
            let floors = FLOORS.into_iter().filter(move |floor| !always || floor.is_none());
            floors.flat_map(move |floor| WARMER.map(|warmer| (dial, floor, warmer)))
        }) {
            let dial = Temperature::constant(dial);
            let floor = floor.map(Temperature::constant);
            for charges in [false, true].into_iter().take(1 + usize::from(charges && !always)) {
                let ruled = Ruled::new(site, rule, dial, floor, charges).preheating(warmer);
                let run = stage.run(&mut ruled.clone(), &mut |_| {});
                let ledger = Ledger::of(stage, &run, 0..stage.horizon().len());
                let cold = !ledger.is_comfortable(ALLOWED_UNMET);
                let measure = (cold, if cold { ledger.discomfort() } else { ledger.cost(worth) });
                if best.as_ref().is_none_or(|(least, ..)| measure < *least) {
                    best = Some((measure, ruled, run));
                }
            }
        }
    }
    let Some(((cold, _), ruled, run)) = best else { return };
    line(stage, &run, &format!("{name}{}: {ruled}", if cold { " (too cold)" } else { "" }));
}

/// What a run cost and how comfortable it was.
fn line(stage: &Stage<'_>, run: &Run, name: &str) {
    let ledger = Ledger::of(stage, run, 0..stage.horizon().len());
    let sums = ledger.plant_room.as_ref().expect("a plant room");
    let worth = stage.stored_worth();
    println!(
        "{name}: cost {:.0} (bill {:.0}, fuel {:.0}, wear {:.0}, left {:.0}), unmet {:.2} %, {} of {} draws failed, rooms {:.2} K, pool {:.2} K, elements {:.1} kWh, sources {:.1} kWh",
        ledger.cost(worth),
        ledger.bill() + ledger.unpriced_cost,
        ledger.fuel_cost(),
        ledger.wear,
        ledger.stored_gain(worth),
        ledger.taps.unmet_percent(),
        ledger.taps.failed,
        ledger.taps.draws,
        sums.rooms.map_or(0.0, |rooms| rooms.mean_below()),
        sums.pool.map_or(0.0, |pool| pool.mean_below()),
        ledger.house.heaters_kwh,
        ledger.house.sources_kwh,
    );
}

/// Prices, meter, heat by route and what is warm, half-hour by half-hour.
fn half_hours(stage: &Stage<'_>, run: &Run) {
    let trace = run.outcome.plant_room.as_ref().expect("a plant room");
    let ledger = Ledger::of(stage, run, 0..stage.horizon().len());
    let sums = ledger.plant_room.as_ref().expect("a plant room");
    println!("  worth of what is left {:?}", stage.stored_worth());
    for own in &sums.routes {
        println!(
            "  {:?}: {:.2} kWh of heat, {:.2} of electricity, {:.2} of fuel, {:.1} h",
            own.route, own.heat_kwh, own.electricity_kwh, own.fuel_kwh, own.hours
        );
    }
    println!(
        "  lost: stores {:.2}, buffer {:.2}, pipes {:.2}, rooms {:.2}, pool {:.2}; starts {} ({:.2} kWh); stores gained {:.2}, the others {:.2}",
        ledger.lost_kwh,
        sums.buffer_lost_kwh,
        sums.pipes_lost_kwh,
        sums.rooms_lost_kwh,
        sums.pool_lost_kwh,
        sums.starts,
        sums.start_kwh,
        ledger.stored_kwh.1 - ledger.stored_kwh.0,
        sums.gained_kwh,
    );
    println!(
        "  slot  buy sell |  import export    pv elem  src  batt | top  mid  low buffer  air mass  pool | drawn cold | heat"
    );
    for (slot, house) in run.outcome.house.iter().enumerate() {
        let (buy, sell) = stage.usual_prices(slot);
        let layers = run.outcome.stores[0].layers(slot + 1);
        let store = &run.outcome.stores[0].slots()[slot];
        let at = |share: f64| layers[((layers.len() - 1) as f64 * share) as usize];
        let rooms = trace.rooms(slot + 1);
        let jobs: Vec<String> = trace.slots()[slot]
            .jobs
            .iter()
            .map(|job| {
                let route = job.route;
                format!("{:?}>{:?} {:.2}", route.source, route.sink, job.heat_kwh)
            })
            .collect();
        println!(
            "  {slot:4} {:4.0} {:4.0} | {:6.2} {:6.2} {:5.2} {:4.2} {:4.2} {:5.2} | {:3.0} {:4.0} {:4.0} {:6.1} {:4.1} {:4.1} {:5.2} | {:5.2} {:4.2} | {}",
            buy.per_kwh(),
            sell.per_kwh(),
            house.import_kwh,
            house.export_kwh,
            house.pv_kwh,
            house.heaters_kwh,
            house.sources_kwh,
            house.battery_kwh,
            at(1.0),
            at(0.5),
            at(0.0),
            trace.buffer(slot + 1),
            rooms.0,
            rooms.1,
            trace.pool(slot + 1),
            store.drawn_kwh,
            store.unmet_kwh,
            jobs.join(", "),
        );
    }
}

/// Time of the processor that half-hours of a site take [s].
fn run(kind: Kind, judged: usize, plans: bool) -> f64 {
    let past = past(kind, judged, 1);
    let timeline = past.timeline();
    let stage = Stage::new(&past.site, &timeline, &past.start).expect("a stage");
    let mut planning = Planning::new(&past.site, Settings::rolling());
    let dial = Temperature::constant(55.0);
    let mut rule = Ruled::new(&past.site, Rule::Thermostat, dial, None, false);
    let controller: &mut dyn Controller = if plans { &mut planning } else { &mut rule };
    let watch = Stopwatch::start();
    stage.run(controller, &mut |_| {});
    watch.elapsed().as_secs_f64()
}
