//! Sources that are held off, and what heat left in a plant room is worth, on the site
//! of an old boiler whose prices need no series.

use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::{Held, HeldOff, Problem};
use optimiser::rule::rule_plan;
use optimiser::schedule::Schedule;
use optimiser::site::{Sink, Source};
use stowheat::assemble::{Known, assemble};
use stowheat::local_time::parse_instant;
use stowheat::site_file;

const FOUNDRY: &str = include_str!("../../fixtures/sites/old-foundry.toml");

fn problem(at: &str) -> Problem {
    let house = site_file::read(FOUNDRY, "site").expect("a good site").house;
    let at = parse_instant(at).expect("an instant");
    assemble(&house, &Known::default(), at).expect("a problem").problem
}

fn plans(problem: &Problem) -> [Schedule; 2] {
    let planned = match Planner::default().with_effort(Effort::STEP).plan(problem) {
        Outcome::Planned(planned) => planned.schedule,
        other => panic!("no plan: {other:?}"),
    };
    let rule = rule_plan(problem).expect("a plan by rule");
    for schedule in [&planned, &rule] {
        assert_eq!(violations(problem, schedule, None), []);
    }
    [planned, rule]
}

fn heat(schedule: &Schedule, slots: std::ops::Range<usize>, source: Source, sink: Sink) -> f64 {
    let jobs = schedule.slots[slots].iter().flat_map(|slot| &slot.jobs);
    let own = jobs.filter(|job| job.route.source == source && job.route.sink == sink);
    own.map(|job| job.heat.kwh()).sum()
}

#[test]
fn a_source_that_is_held_off_is_planned_around() {
    let mut problem = problem("2026-01-15T00:00:00Z");
    let free = plans(&problem);
    let start = problem.horizon.start();
    let held = |what, hours: i64| HeldOff { what, from: start, until: start + hours * 3_600 };
    problem.ambient.held_off = vec![held(Held::Source(Source::Boiler), 4)];
    for (free, held) in free.iter().zip(plans(&problem)) {
        let boiler =
            |schedule: &Schedule, slots| heat(schedule, slots, Source::Boiler, Sink::Buffer);
        assert!(boiler(free, 0..8) > 20.0, "a house of 25 kW is heated by its boiler");
        assert!(boiler(&held, 0..8) < 1e-9, "{}", boiler(&held, 0..8));
        assert!(boiler(&held, 8..16) > 20.0, "and then again");
        let element = heat(&held, 0..8, Source::Immersion, Sink::Buffer);
        assert!(element > 10.0, "the buffer's element stands in: {element}");
    }
    // A store that is held off gets nothing through its coil; the house does.
    problem.ambient.held_off = vec![held(Held::Store(0), 12)];
    for held in plans(&problem) {
        assert!(heat(&held, 0..24, Source::Boiler, Sink::Coil { store: 0, coil: 0 }) < 1e-9);
        assert!(heat(&held, 0..24, Source::Boiler, Sink::Buffer) > 20.0);
    }
}

// Without a worth of what is left, the last hours would let the house run cold.
#[test]
fn the_rooms_are_not_let_run_cold_at_the_end() {
    let problem = problem("2026-01-15T00:00:00Z");
    let mut blind = problem.clone();
    blind.end_value.rooms.clear();
    blind.end_value.buffer.clear();
    let end = |problem: &Problem| {
        let last = plans(problem)[0].slots.last().expect("slots").plant_room;
        last.rooms.expect("rooms").mass.celsius()
    };
    let (with, without) = (end(&problem), end(&blind));
    assert!(with >= without - 0.01, "{with} is colder than {without}");
}
