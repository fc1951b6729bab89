//! The whole plant room in the linear program: problems solved on paper.

mod cases;
mod kept_hot;
mod phases;
mod random;
mod sinks;

use optimiser::judge::Effort;
use optimiser::model::{Formulation, Refinement};
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::problem::{Ambient, Problem, Ready};
use optimiser::schedule::{Job, Reason, Schedule};
use optimiser::site::{PlantRoom, Sink, Source};
use optimiser::time::Series;
use optimiser::units::Volume;
use optimiser::worth::{Ahead, end_value};
use stowheat_tests::family::family;
use stowheat_tests::houses::{MONDAY, celsius, day, kwh, price, store};
use stowheat_tests::plant_rooms::{COIL, boiler, coil, constant_unit};

fn planned_with(problem: &Problem, effort: Effort) -> Planned {
    let problem = problem.clone().validated().expect("a valid problem");
    match Planner::default().with_effort(effort).plan(&problem) {
        Outcome::Planned(planned) => *planned,
        other => panic!("no plan: {other:?}"),
    }
}

fn planned(problem: &Problem) -> Planned {
    planned_with(problem, Effort::NONE)
}

fn near(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

fn jobs(schedule: &Schedule) -> impl Iterator<Item = &Job> {
    schedule.slots.iter().flat_map(|slot| &slot.jobs)
}

fn heat(schedule: &Schedule, source: Source, sink: Sink) -> f64 {
    let own = jobs(schedule).filter(|j| j.route.source == source && j.route.sink == sink);
    own.map(|job| job.heat.kwh()).sum()
}

/// 200 L without losses from 10 °C with a coil over their whole height, wanted at
/// 40 °C by an hour: 6.978 kWh.
fn warm_by(hour: f64, prices: &[f64], plant_room: PlantRoom) -> Problem {
    let mut own = store(200.0, Vec::new());
    own.coils = vec![coil()];
    let mut problem = day(vec![own], prices);
    problem.site.plant_room = plant_room;
    problem.ambient = Ambient {
        outdoor: Some(Series::constant(&problem.horizon, celsius(7.0))),
        ground: Some(Series::constant(&problem.horizon, celsius(7.0))),
        ..Ambient::default()
    };
    problem.ready.push(Ready {
        store: 0,
        by: MONDAY + (hour * 3_600.0) as i64,
        volume: Volume::constant(200.0),
        temperature: celsius(40.0),
        urgency: 1.0,
    });
    problem
}

// Closed form: 6.978 kWh at a COP of 3 are 2.326 kWh; 9 kW take 0.775 h, one
// whole half-hour at 10 and 0.275 h at 12.
#[test]
fn a_heat_pump_takes_the_cheapest_slots() {
    let room =
        PlantRoom { heat_pumps: vec![constant_unit(9.0, 3.0, vec![COIL])], ..PlantRoom::default() };
    let plan = planned(&warm_by(3.0, &[30.0, 12.0, 30.0, 10.0, 30.0, 30.0], room)).schedule;
    near(heat(&plan, Source::HeatPump(0), COIL), 6.978, 1e-3);
    near(plan.cost.import, 1.5 * 10.0 + (2.326 - 1.5) * 12.0, 1e-2);
    near(plan.short_kwh, 0.0, 1e-6);
    let cheapest = &plan.slots[3].jobs[0];
    near(cheapest.minutes, 30.0, 1e-6);
    near(cheapest.grid.kwh(), 1.5, 1e-6);
    assert_eq!(cheapest.why, Reason::CheapestBefore(MONDAY + 3 * 3_600));
}

// Closed form: gas heat costs 10, electric heat a third of its price.
#[test]
fn the_cheaper_of_boiler_and_heat_pump_heats() {
    for (electricity, pumped) in [(24.0, true), (36.0, false)] {
        let room = PlantRoom {
            heat_pumps: vec![constant_unit(9.0, 3.0, vec![COIL])],
            boiler: Some(boiler(vec![COIL])),
            ..PlantRoom::default()
        };
        let plan = planned(&warm_by(3.0, &[electricity; 6], room)).schedule;
        let (pump, burner) =
            (heat(&plan, Source::HeatPump(0), COIL), heat(&plan, Source::Boiler, COIL));
        near(if pumped { pump } else { burner }, 6.978, 1e-3);
        near(if pumped { burner } else { pump }, 0.0, 1e-6);
        near(plan.cost.fuel, if pumped { 0.0 } else { 69.78 }, 1e-2);
        near(plan.cost.import, if pumped { 2.326 * 24.0 } else { 0.0 }, 1e-2);
    }
}

// Closed form: in half an hour 9 kW make 4.5 kWh; what is missing comes from the
// boiler, although its heat is the cheaper one and it stands by where there is time.
#[test]
fn a_back_up_boiler_helps_only_where_nothing_else_can() {
    for (hour, burnt) in [(3.0, 0.0), (0.5, 6.978 - 4.5)] {
        let mut gas = boiler(vec![COIL]);
        gas.back_up_only = true;
        let room = PlantRoom {
            heat_pumps: vec![constant_unit(9.0, 3.0, vec![COIL])],
            boiler: Some(gas),
            ..PlantRoom::default()
        };
        let plan = planned(&warm_by(hour, &[36.0; 6], room)).schedule;
        near(heat(&plan, Source::Boiler, COIL), burnt, 1e-3);
        near(plan.cost.fuel, 10.0 * burnt, 1e-2);
        near(plan.short_kwh, 0.0, 1e-6);
        let back_up = jobs(&plan).filter(|job| job.route.source == Source::Boiler);
        assert!(back_up.into_iter().all(|job| job.why == Reason::BackUp));
    }
}

// A coil of 1 kW/K and a flow of 48 °C pass 9 kW up to 36.5 °C and nothing
// beyond 45.5 °C: the rung of 50 °C is out of reach.
#[test]
fn a_heat_pump_lifts_no_higher_than_its_flow() {
    let mut unit = constant_unit(9.0, 3.0, vec![COIL]);
    unit.flow_limit = celsius(48.0);
    unit.least_share = optimiser::units::Fraction::constant(0.1);
    let room = PlantRoom { heat_pumps: vec![unit], ..PlantRoom::default() };
    let mut problem = warm_by(3.0, &[10.0; 6], room);
    problem.ready[0].temperature = celsius(50.0);
    let plan = planned(&problem).schedule;
    assert!(plan.short_kwh > 2.0, "{}", plan.short_kwh);
    assert!(plan.slots.iter().all(|slot| slot.stores[0].top.celsius() <= 40.0 + 1e-6));
}

// The same, judged: what the plant says of energy and money closes as well.
#[test]
fn a_judged_plan_of_heat_pump_and_boiler_passes_the_check() {
    let room = PlantRoom {
        heat_pumps: vec![constant_unit(9.0, 3.0, vec![COIL])],
        boiler: Some(boiler(vec![COIL])),
        ..PlantRoom::default()
    };
    let mut problem = warm_by(3.0, &[24.0, 20.0, 36.0, 40.0, 26.0, 36.0], room);
    problem.ready[0].temperature = celsius(38.0);
    problem.draws.push(stowheat_tests::houses::draw(2.75, 40.0));
    let modelled = planned(&problem).schedule;
    let judged = planned_with(&problem, Effort::COLD).schedule;
    near(judged.unmet_kwh, 0.0, 0.03);
    let (is, was) = (judged.cost.net(), modelled.cost.net());
    assert!((is - was).abs() < 0.1 * was, "{is} is far from {was}");
}

// Closed form: heat that a unit with a COP of 3 can make at 24 tomorrow is worth 8
// today, and what it has no time for as much as a draw that stays cold.
#[test]
fn heat_left_is_worth_what_the_heat_pump_would_take() {
    let room =
        PlantRoom { heat_pumps: vec![constant_unit(9.0, 3.0, vec![COIL])], ..PlantRoom::default() };
    let problem = warm_by(3.0, &[24.0; 6], room);
    let ahead = |draw: f64| Ahead {
        hours: 0.5,
        import_price: price(24.0),
        export_price: price(4.0),
        pv: kwh(0.0),
        base_load: kwh(0.2),
        draws: vec![draw],
    };
    let worth = end_value(&problem.site, &[ahead(3.0)], &problem.weights);
    // Half of its time is 2.25 kWh of the 3 asked for.
    let steps: Vec<(f64, f64)> =
        worth.stores[0].iter().map(|s| (s.width.kwh(), s.value.per_kwh())).collect();
    near(steps[0].0, 0.75, 1e-9);
    near(steps[0].1, problem.weights.unmet_per_kwh, 1e-9);
    near(steps[1].0, 2.25, 1e-9);
    near(steps[1].1, 8.0, 1e-9);
}

// The size that the program had before it knew plant rooms.
#[test]
fn a_house_of_elements_has_the_program_that_it_had() {
    let formulation = Formulation::new(&family(96, 1), &Refinement::default());
    assert_eq!(formulation.program.size(), (2_705, 2_018));
}
