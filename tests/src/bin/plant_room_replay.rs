//! What a replay of a whole plant room takes, in time of the processor.
//!
//!     cargo run --release -p stowheat-tests --bin plant_room_replay -- 365 48
//!
//! simulates so many days of the site with everything under thermostats, and plans so
//! many half-hours of each site in the closed loop.
//!
//!     plant_room_replay kiln-house 2023-04-17 2023-04-18 rolling
//!
//! plans these days of a site of `fixtures/` beside thermostats, with the effort
//! `rolling`, `step`, `cold` or `none`, on the shared series.

#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use optimiser::judge::Effort;
use optimiser::problem::State;
use optimiser::replay::baseline::{Rule, Ruled};
use optimiser::replay::{Controller, Ledger, Planning, Settings, Stage};
use optimiser::units::Temperature;
use stowheat::assemble::{Known, period};
use stowheat::series::{Marks, read};
use stowheat::tariff::Wholesale;
use stowheat::weather::{Reading, Weather};
use stowheat_tests::past::past;
use stowheat_tests::plant_rooms::Kind;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let [site, from, to, effort] = words.as_slice() {
        beside_thermostats(site, [from, to], effort);
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

/// Days of a site under stowheat and under thermostats, in a line each.
fn beside_thermostats(site: &str, days: [&String; 2], effort: &str) {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let text = std::fs::read_to_string(root.join(format!("fixtures/sites/{site}.toml")))
        .expect("a site of fixtures");
    let column = "[tariff.import]\ncolumn = \"market_index_price_gbp_per_mwh\"\nfactor";
    let text = text.replace("[tariff.import]\nfactor", column);
    let house = stowheat::site_file::read(&text, site).expect("a good site").house;
    let data = |name: &str| {
        let bytes = std::fs::read(root.join("../shared/data").join(name)).expect("shared data");
        read(name, &bytes, Marks::AsNamed).expect("a series")
    };
    let prices = data("price_30min_GB_2023.csv");
    let weather = data("weather_60min_DE-Bremerhaven_TRY2010.csv");
    let known = Known {
        wholesale: Wholesale::from_file(&prices, &house.tariff).expect("prices of the tariff"),
        price_step_seconds: prices.step_seconds(),
        weather: Some(Reading::Dated(Weather::from_series(&weather).expect("weather"))),
        ..Known::default()
    };
    let days = days.map(|day| day.parse::<chrono::NaiveDate>().ok());
    let period = period(&house, &known, None, (days[0], days[1])).expect("a period");
    let start = State {
        battery: house.state.battery,
        stores: house.state.stores.clone(),
        plant_room: house.state.plant_room.clone(),
    };
    let stage = Stage::new(&house.site, &period.timeline, &start).expect("a stage");
    let effort = match effort {
        "rolling" => Effort::ROLLING,
        "step" => Effort::STEP,
        "cold" => Effort::COLD,
        _ => Effort::NONE,
    };
    let settings = Settings { effort, ..Settings::default() };
    let mut planning = Planning::new(&house.site, settings);
    let mut rule =
        Ruled::new(&house.site, Rule::Thermostat, Temperature::constant(55.0), None, false);
    let all: [(&str, &mut dyn Controller); 2] =
        [("stowheat", &mut planning), ("thermostats", &mut rule)];
    for (name, controller) in all {
        let before = processor_ns();
        let run = stage.run(controller, &mut |_| {});
        let seconds = (processor_ns() - before) / 1e9;
        let slots = stage.horizon().len();
        let ledger = Ledger::of(&stage, &run, 0..slots);
        let sums = ledger.plant_room.as_ref().expect("a plant room");
        println!(
            "{name}: cost {:.0}, fuel {:.0}, unmet {:.2} %, rooms {:.2} K, pool {:.2} K, elements {:.1} kWh, sources {:.1} kWh, {:.0} ms each",
            ledger.cost(stage.stored_worth()),
            ledger.fuel_cost(),
            ledger.taps.unmet_percent(),
            sums.rooms.map_or(0.0, |rooms| rooms.mean_below()),
            sums.pool.map_or(0.0, |pool| pool.mean_below()),
            ledger.house.heaters_kwh,
            ledger.house.sources_kwh,
            1e3 * seconds / slots as f64,
        );
    }
    println!("by rule {}: {:?}", planning.by_rule(), planning.last_failure());
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
    let before = processor_ns();
    stage.run(controller, &mut |_| {});
    (processor_ns() - before) / 1e9
}

/// Time that this process has had of the processor [ns], as Linux counts it.
fn processor_ns() -> f64 {
    let text = std::fs::read_to_string("/proc/self/schedstat").expect("Linux counts");
    text.split_whitespace().next().and_then(|ns| ns.parse().ok()).expect("a number")
}
