//! A plant room on two real days of spring: the price turns, the sun shines, and rooms and
//! an outdoor pool both need heat.

#![expect(clippy::print_stdout, reason = "what is skipped is told")]

use chrono::NaiveDate;
use optimiser::replay::baseline::{Rule, Ruled};
use optimiser::replay::{Controller, Ledger, Planning, Settings, Stage};
use stowheat_tests::real;

use super::{celsius, near};

/// Share of draw heat that may arrive cold.
const ALLOWED_UNMET: f64 = 1e-3;

#[test]
fn two_days_of_spring_are_comfortable_and_cheaper_than_thermostats() {
    let days = [17, 18].map(|day| NaiveDate::from_ymd_opt(2023, 4, day));
    let Some(past) = real::plant_room("weir-lodge", (days[0], days[1])) else {
        println!("skipped: no real series");
        return;
    };
    let stage = Stage::new(&past.house.site, &past.period.timeline, &past.start).expect("a stage");
    let lived = |controller: &mut dyn Controller| {
        let run = stage.run(controller, &mut |_| {});
        let ledger = Ledger::of(&stage, &run, 0..stage.horizon().len());
        let sums = ledger.plant_room.as_ref().expect("a plant room");
        let moved = sums.throughput_kwh() + ledger.house.import_kwh + ledger.taps.asked_kwh;
        assert!(moved > 100.0, "something happened");
        near(run.outcome.residual_kwh() / moved, 0.0, 1e-9);
        near(sums.residual_kwh() / moved, 0.0, 1e-9);
        ledger
    };
    let mut planning = Planning::new(stage.site(), Settings::rolling());
    let own = lived(&mut planning);
    assert_eq!(planning.by_rule(), 0, "{:?}", planning.last_failure());
    assert_eq!((own.taps.draws, own.taps.failed), (60, 0));
    assert!(own.is_comfortable(ALLOWED_UNMET), "{own:?}");
    // Thermostats are colder and dearer; with rooms a little warmer, dearer yet.
    let cost = own.cost(stage.stored_worth());
    for warmer in [0.0, 0.6] {
        let rule = Ruled::new(stage.site(), Rule::Thermostat, celsius(55.0), None, false);
        let theirs = lived(&mut rule.preheating(warmer));
        let (paid, cold) = (theirs.cost(stage.stored_worth()), theirs.discomfort());
        assert!(cost < paid, "{cost} against {paid}");
        assert!(own.discomfort() < cold, "{} against {cold}", own.discomfort());
    }
}
