//! Elements held by hand are part of every plan, as far as they can be.

use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::{ByHand, Problem};
use optimiser::rule::rule_plan;
use optimiser::schedule::{Reason, Schedule};
use stowheat_tests::houses::{FIRST, MONDAY, celsius, day, draw, element, store};

/// A day that is cheap at night, with a bath at eight; 200 L at 15 °C.
fn evening() -> Problem {
    let prices: Vec<f64> = (0..48).map(|slot| if slot < 12 { 8.0 } else { 30.0 }).collect();
    let mut problem = day(vec![store(200.0, vec![element("e", 3.0, 0.0)])], &prices);
    problem.state.stores[0] = vec![celsius(15.0); 20];
    problem.draws.push(draw(20.0, 150.0));
    problem
}

fn held(hours: std::ops::Range<f64>, on: bool) -> ByHand {
    let at = |hour: f64| MONDAY + (hour * 3_600.0) as i64;
    ByHand { heater: FIRST, from: at(hours.start), until: at(hours.end), on }
}

fn plans(problem: Problem) -> [Schedule; 3] {
    let problem = problem.validated().expect("a valid problem");
    let planned = |effort| match Planner::default().with_effort(effort).plan(&problem) {
        Outcome::Planned(planned) => planned.schedule,
        other => panic!("no plan: {other:?}"),
    };
    let rule = rule_plan(&problem).expect("a plan by rule");
    [planned(Effort::NONE), planned(Effort::COLD), rule]
}

fn energy(schedule: &Schedule, slots: std::ops::Range<usize>) -> f64 {
    schedule.slots[slots].iter().map(|slot| slot.heaters[0].energy.kwh()).sum()
}

// C44: a boost at the dear time is planned in full, and so is what it spares later.
#[test]
fn a_boost_is_planned_at_full_power_whatever_the_price() {
    let without = plans(evening());
    let mut problem = evening();
    problem.by_hand.push(held(13.25..14.0, true));
    for (boosted, plain) in plans(problem).iter().zip(&without) {
        let origin = boosted.origin.name();
        // 0.75 h of 3 kW.
        assert!((energy(boosted, 26..28) - 2.25).abs() < 0.01, "{origin}: 13:15 to 14:00");
        assert_eq!(boosted.slots[27].heaters[0].why, Reason::ByHand(MONDAY + 14 * 3_600));
        assert!(energy(plain, 26..28) < 0.01, "{origin}: nobody would by day");
        assert!(boosted.cost.import > plain.cost.import, "{origin}: it is not for nothing");
    }
}

#[test]
fn what_is_off_by_hand_stays_off_and_is_heated_for_at_another_time() {
    let mut problem = evening();
    problem.by_hand.push(held(0.0..6.0, false));
    for schedule in plans(problem) {
        let origin = schedule.origin.name();
        assert!(energy(&schedule, 0..12) < 1e-6, "{origin}: the cheap hours are forbidden");
        assert!(energy(&schedule, 12..48) > 0.5, "{origin}: the bath is heated for by day");
        assert!(schedule.unmet_kwh < 0.1, "{origin}: {} kWh cold", schedule.unmet_kwh);
        assert_eq!(schedule.slots[3].heaters[0].why, Reason::ByHand(MONDAY + 6 * 3_600));
    }
}

// C44: limits still win.
#[test]
fn a_boost_of_a_full_store_ends_at_its_ceiling() {
    let mut problem = evening();
    problem.state.stores[0] = vec![celsius(62.0); 20];
    problem.by_hand.push(held(0.0..6.0, true));
    for schedule in plans(problem) {
        // 200 L by the 3 K that are left hold 0.70 kWh (1.163 Wh/(L·K)).
        let used = energy(&schedule, 0..12);
        assert!((0.3..0.9).contains(&used), "{}: {used} kWh", schedule.origin.name());
        assert!(schedule.slots.iter().all(|slot| slot.stores[0].top.celsius() <= 65.1));
    }
}

#[test]
fn the_check_refuses_a_plan_that_forgets_the_hand() {
    let schedule = plans(evening()).into_iter().next().expect("a plan");
    let cheap = energy(&schedule, 0..12);
    assert!(cheap > 0.5, "{cheap} kWh by night");
    for (hand, rule) in
        [(held(0.0..6.0, false), "it is off by hand"), (held(14.0..15.0, true), "it is on by hand")]
    {
        let mut problem = evening();
        problem.by_hand.push(hand);
        let found = violations(&problem, &schedule, None);
        assert!(!found.is_empty() && found.iter().all(|v| v.rule == rule), "{found:?}");
    }
}
