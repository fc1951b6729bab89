//! What a replay of a whole plant room takes, in time of the processor.
//!
//!     cargo run --release -p stowheat-tests --bin plant_room_replay -- 365 48
//!
//! simulates so many days of the site with everything under thermostats, and plans so
//! many half-hours of each site in the closed loop.

#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use optimiser::replay::baseline::{Rule, Ruled};
use optimiser::replay::{Controller, Planning, Settings, Stage};
use optimiser::units::Temperature;
use stowheat_tests::past::past;
use stowheat_tests::plant_rooms::Kind;

fn main() {
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

/// Time of the processor that half-hours of a site take [s].
fn run(kind: Kind, judged: usize, plans: bool) -> f64 {
    let past = past(kind, judged, 1);
    let timeline = past.timeline();
    let stage = Stage::new(&past.site, &timeline, &past.start).expect("a stage");
    let mut planning = Planning::new(&past.site, Settings::of(&past.site));
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
