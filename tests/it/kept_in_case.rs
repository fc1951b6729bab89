//! Water kept in case of a draw that nobody foresees: how much of it the program keeps.

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::{Problem, Ready};
use optimiser::units::Volume;
use optimiser::water;
use stowheat_tests::houses::{MONDAY, celsius, day, element, store};

/// Litres kept in case and what one that is missing costs for each kWh [minor], all
/// together 30 for the first ten litres, 25 for the next and 15 for the last.
const KEPT: [(f64, f64); 3] = [(30.0, 15.0), (10.0, 5.0), (20.0, 10.0)];

/// A store without losses in which heat has one price throughout, and water is kept in
/// case at the end of each of two half-hours.
fn cold_house(price: f64) -> Problem {
    let mut problem = day(vec![store(200.0, vec![element("e", 3.0, 0.0)])], &[price; 2]);
    let weight = problem.weights.short_per_kwh;
    for end in [1_800, 3_600] {
        problem.ready.extend(KEPT.map(|(litres, cost)| Ready {
            store: 0,
            by: MONDAY + end,
            volume: Volume::new(litres).expect("litres"),
            temperature: celsius(40.0),
            urgency: cost / 2.0 / weight,
        }));
    }
    problem
}

/// Litres missing of each step at the end of the second half-hour.
fn missing(problem: Problem) -> Vec<f64> {
    let problem = problem.validated().expect("a valid problem");
    let planned = match Planner::default().with_effort(Effort::NONE).plan(&problem) {
        Outcome::Planned(planned) => *planned,
        other => panic!("no plan: {other:?}"),
    };
    let litre = water::heat_kwh(1.0, 30.0);
    planned.solution.ready_short[3..].iter().map(|kwh| kwh / litre).collect()
}

// Solved on paper: water that is warm at the first of the two ends is still warm at the
// second, so each litre that is missing costs twice the half that each end counts.
#[test]
fn litres_are_kept_as_far_as_they_are_worth_their_heat() {
    for (price, kept) in [(12.0, 30.0), (20.0, 20.0), (27.0, 10.0), (31.0, 0.0)] {
        let short = missing(cold_house(price));
        for ((litres, _), short) in KEPT.iter().zip(&short) {
            let expected = f64::max(litres - kept, 0.0);
            assert!((short - expected).abs() < 1e-6, "{price}: {short:?} is not {expected}");
        }
    }
}

// A promise is owed in full; what is kept in case beside it still pays or not by itself.
#[test]
fn a_promise_beside_it_is_kept_whole() {
    let mut problem = cold_house(31.0);
    let promise = Ready { urgency: 1.0, ..problem.ready[5] };
    problem.ready.push(promise);
    let short = missing(problem);
    // The promised 20 L are the first 20 of those kept in case.
    for (actual, expected) in short.iter().zip([10.0, 0.0, 0.0, 0.0]) {
        assert!((actual - expected).abs() < 1e-6, "{short:?}");
    }
}
