//! A machine that serves a store through a coil, beside a thermostat that does the same.

use optimiser::judge::{Effort, Judge};
use optimiser::plant::{Commands, HeaterCommand, JobCommand};
use optimiser::problem::{Problem, ValueStep};
use optimiser::schedule::{Schedule, SlotPlan};
use optimiser::site::{Coil, PlantRoom, Route, Source};
use optimiser::units::{Conductance, Power};
use stowheat_tests::houses::{celsius, draw, kwh, price};
use stowheat_tests::plant_rooms::{COIL, coil, constant_unit};

use super::planned_with;
use super::sinks::still;

/// A unit of 5 kW with a COP of 3 on a small coil, an element of 3 kW, and 40 L drawn every
/// hour of half a day: water around the coil takes no more than it gives away.
fn drawn_all_day() -> Problem {
    let unit = constant_unit(5.0, 3.0, vec![COIL]);
    let room = PlantRoom { heat_pumps: vec![unit], ..PlantRoom::default() };
    let mut problem = still(room, &[12.0, 12.0, 30.0, 30.0].repeat(6), 7.0, 0.0);
    let own = &mut problem.site.stores[0];
    own.coils = vec![Coil { transfer: Conductance::constant(250.0), ..coil() }];
    problem.state.stores[0] = vec![celsius(45.0); own.layers];
    problem.draws = (1..12).map(|hour| draw(f64::from(hour), 40.0)).collect();
    // Heat that is left is worth what the unit makes it for at a mean price.
    let step = ValueStep { width: kwh(20.0), value: price(21.0 / 3.0) };
    problem.end_value.stores = vec![vec![step]];
    problem
}

/// What a thermostat on the coil comes to [minor]: on below the dial less 5 K, off above.
fn under_thermostat(problem: &Problem, plan: &Schedule, dial: f64) -> f64 {
    let mut judge = Judge::new(problem, &plan.hygiene).expect("a valid problem");
    let mut commands = Commands::of(problem, plan);
    for row in &mut commands.heaters {
        row.fill(HeaterCommand::OFF);
    }
    commands.jobs.iter_mut().for_each(Vec::clear);
    let route = Route { source: Source::HeatPump(0), sink: COIL };
    let mut calls = false;
    for slot in 0..problem.horizon.len() {
        let outcome = judge.exactly(commands.clone()).outcome;
        let water = outcome.stores[0].layers(slot);
        let mean = water.iter().sum::<f64>() / water.len() as f64;
        calls = mean < if calls { dial } else { dial - 5.0 };
        if calls {
            let heat = Power::constant(5.0);
            commands.jobs[slot] =
                vec![JobCommand { route, delay_minutes: 0.0, minutes: 30.0, heat }];
        }
    }
    judge.exactly(commands).score
}

// Common practice, no published source: a cylinder that is drawn from all day is kept
// hot by its heat pump, and the element stays off. No plan need be dearer than that.
#[test]
fn a_store_is_kept_hot_by_its_machine_and_not_by_an_element() {
    let problem = drawn_all_day().validated().expect("a valid problem");
    let plan = planned_with(&problem, Effort::COLD).schedule;
    let mut judge = Judge::new(&problem, &plan.hygiene).expect("a valid problem");
    let score = judge.exactly(Commands::of(&problem, &plan)).score;
    for dial in [50.0, 55.0, 60.0] {
        let thermostat = under_thermostat(&problem, &plan, dial);
        assert!(
            score <= thermostat + 1e-6,
            "{score}, and {thermostat} with a thermostat at {dial}"
        );
    }
    let by_element = |slot: &SlotPlan| slot.heaters[0].energy.kwh();
    let by_element: f64 = plan.slots.iter().map(by_element).sum();
    assert!(by_element < 0.3, "{by_element} kWh by the element");
    assert!(plan.unmet_kwh < 0.01, "{} kWh unmet", plan.unmet_kwh);
}
