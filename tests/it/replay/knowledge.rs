//! Nothing may see the future.

use optimiser::replay::baseline::{Rule, Ruled, Window};
use optimiser::replay::{Controller, Planning, Run, Settings, Stage, Timeline};

use super::{celsius, house, record, start, timeline, with_another_future};

/// Slots of the period that pass before the two futures part.
const PASSED: usize = 60;

fn run(timeline: &Timeline, controller: &mut dyn Controller) -> Run {
    let site = house();
    let stage = Stage::new(&site, timeline, &start()).expect("a stage");
    stage.run(controller, &mut |_| {})
}

/// Runs both futures and compares every command up to where they part.
fn sees_no_future(mut make: impl FnMut() -> Box<dyn Controller>) {
    let first = record(3);
    let from = first.judged.start + PASSED;
    let other = timeline(with_another_future(first.clone(), from));
    let first = timeline(first);
    let one = run(&first, make().as_mut()).commands;
    let two = run(&other, make().as_mut()).commands;
    for (a, b) in one.heaters.iter().zip(&two.heaters) {
        assert_eq!(a[..PASSED], b[..PASSED]);
    }
    assert_eq!(one.battery[..PASSED], two.battery[..PASSED]);
    assert_eq!(one.pv[..PASSED], two.pv[..PASSED]);
    // The check can tell: the futures do differ.
    assert_ne!(one.heaters, two.heaters);
}

#[test]
fn stowheat_decides_from_what_is_known() {
    sees_no_future(|| Box::new(Planning::new(&house(), Settings::default())));
}

#[test]
fn rules_decide_from_what_is_known() {
    let window = Window { from: 2, length: 8 };
    for rule in [Rule::SurplusFirst(window), Rule::CheapestSlots(6), Rule::Threshold(0.3)] {
        sees_no_future(|| Box::new(Ruled::new(&house(), rule, celsius(60.0), None, true)));
    }
}

#[test]
fn the_same_replay_twice_is_the_same_to_the_last_bit() {
    let timeline = timeline(record(2));
    let go = || run(&timeline, &mut Planning::new(&house(), Settings::default()));
    assert_eq!(go(), go());
}

#[test]
fn the_planner_always_has_a_plan_here() {
    let timeline = timeline(record(2));
    let mut planning = Planning::new(&house(), Settings::default());
    run(&timeline, &mut planning);
    assert_eq!(planning.by_rule(), 0, "{:?}", planning.last_failure());
}
