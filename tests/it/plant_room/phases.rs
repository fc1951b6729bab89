//! What may be on at once: import limit and fuses of phases.

use optimiser::judge::Effort;
use optimiser::plant::{Commands, Plant};
use optimiser::problem::{Problem, ValueStep};
use optimiser::schedule::{Schedule, SlotPlan};
use optimiser::site::{Connection, Control, Metering, Phases, PlantRoom, Source};
use optimiser::time::Series;
use optimiser::units::Power;
use stowheat_tests::houses::{element, kwh, price};
use stowheat_tests::plant_rooms::{Kind, random_day};

use super::sinks::still;
use super::{near, planned_with};

/// Sun on the first phase, an element on the second, the rest of the house on the
/// third.
fn phases(metering: Metering, fuse: f64) -> Phases {
    Phases {
        fuse: Power::clamped(fuse),
        metering,
        base_load: Connection::Phase(2),
        pv: Connection::Phase(0),
        battery: Connection::Three,
        heaters: vec![Connection::Phase(1)],
        heat_pumps: Vec::new(),
        immersion: Connection::Three,
    }
}

// Closed form: 1.5 kWh of sun on one phase and an element of 3 kW on another. Netted
// they meet; counted phase by phase the element pays 30 for each kWh and the sun
// earns 5.
#[test]
fn phases_are_netted_or_not() {
    for (metering, cost) in [(Metering::Net, 0.0), (Metering::PerPhase, 1.5 * (30.0 - 5.0))] {
        let room = PlantRoom { phases: Some(phases(metering, 5.75)), ..PlantRoom::default() };
        let mut problem = still(room, &[30.0], 10.0, 0.0);
        problem.site.stores[0].elements[0].control = Control::Modulating;
        problem.pv = Series::constant(&problem.horizon, kwh(1.5));
        problem.export_price = Series::constant(&problem.horizon, price(5.0));
        problem.end_value.stores = vec![vec![ValueStep { width: kwh(1.5), value: price(99.0) }]];
        for effort in [Effort::NONE, Effort::COLD] {
            let plan = planned_with(&problem, effort).schedule;
            near(plan.slots[0].heaters[0].energy.kwh(), 1.5, 1e-3);
            near(plan.cost.net(), cost, 0.05);
        }
    }
}

// Closed form: a fuse of 2 kW for each phase lets 1 kWh pass in half an hour.
#[test]
fn a_phase_carries_no_more_than_its_fuse() {
    let room = PlantRoom { phases: Some(phases(Metering::Net, 2.0)), ..PlantRoom::default() };
    let mut problem = still(room, &[-5.0; 2], 10.0, 0.0);
    problem.site.stores[0].elements[0].control = Control::Modulating;
    let plan = planned_with(&problem, Effort::COLD).schedule;
    for slot in &plan.slots {
        near(slot.heaters[0].energy.kwh(), 1.0, 1e-3);
    }
}

/// Two elements of 3 kW, each wanted for all of its heat.
fn two_elements(phases: Phases, slots: usize) -> Problem {
    let room = PlantRoom { phases: Some(phases), ..PlantRoom::default() };
    let mut problem = still(room, &vec![10.0; slots], 10.0, 0.0);
    problem.site.stores[0].elements = vec![element("low", 3.0, 0.0), element("high", 3.0, 0.5)];
    problem.state.stores[0] = vec![problem.site.stores[0].mains; 4];
    problem.end_value.stores = vec![vec![ValueStep { width: kwh(99.0), value: price(99.0) }]];
    problem
}

/// What elements and sources draw at once on a phase [kW], at the worst instant.
fn worst(slot: &SlotPlan, connections: &[Connection], phase: usize) -> f64 {
    let share = |heater: usize| connections[heater].shares()[phase];
    let at = |instant: f64| {
        let on = slot.heaters.iter().enumerate().filter(|(_, run)| {
            run.delay_minutes <= instant && instant < run.delay_minutes + run.minutes
        });
        on.map(|(heater, run)| run.power.kw() * share(heater)).sum::<f64>()
    };
    (0..300).map(|tenth| at(f64::from(tenth) / 10.0 + 0.05)).fold(0.0, f64::max)
}

// Closed form: 4 kW let one element of 3 kW through a phase at a time, so half an hour
// carries 1.5 kWh; on two phases it carries both.
#[test]
fn elements_take_turns_on_a_phase_and_not_on_two() {
    for metering in [Metering::Net, Metering::PerPhase] {
        for effort in [Effort::NONE, Effort::COLD] {
            for (second, most) in [(1, 1.5), (2, 3.0)] {
                let heaters = vec![Connection::Phase(1), Connection::Phase(second)];
                let own = Phases { heaters: heaters.clone(), ..phases(metering, 4.0) };
                let plan = planned_with(&two_elements(own, 4), effort).schedule;
                for slot in &plan.slots {
                    let all: f64 = slot.heaters.iter().map(|run| run.energy.kwh()).sum();
                    near(all, most, 2e-3);
                    for phase in 0..3 {
                        assert!(worst(slot, &heaters, phase) <= 4.0 + 1e-6, "{slot:?}");
                    }
                }
            }
        }
    }
}

// Neither sun nor battery is counted on: 3 kW of sun on the phase of an element do not
// let a second one pass.
#[test]
fn the_sun_does_not_hold_a_fuse() {
    let own = Phases {
        pv: Connection::Phase(1),
        heaters: vec![Connection::Phase(1); 2],
        ..phases(Metering::Net, 4.0)
    };
    let mut problem = two_elements(own, 4);
    problem.pv = Series::constant(&problem.horizon, kwh(1.5));
    for slot in &planned_with(&problem, Effort::COLD).schedule.slots {
        assert!(worst(slot, &[Connection::Phase(1); 2], 1) <= 4.0 + 1e-6, "{slot:?}");
    }
}

/// Everything on the connection of a random day, and the most that may be imported.
fn narrow(seed: u64, import_kw: f64, phases: Option<Phases>) -> Problem {
    let mut problem = random_day(Kind::Everything, 48, seed);
    problem.site.grid.import_limit = Power::clamped(import_kw);
    problem.site.plant_room.phases = phases;
    problem
}

/// Import above the limits when the plant runs a plan [kWh].
fn overload(problem: &Problem, schedule: &Schedule) -> f64 {
    let mut plant = Plant::new(&problem.site);
    let scene = plant.scene(&problem.into()).expect("a scene");
    let outcome = plant.simulate(&scene, &Commands::of(problem, schedule));
    outcome.house.iter().map(|slot| slot.overload_kwh).sum()
}

// Heat pumps, elements and boiler's pump of this site take some 12 kW at once.
#[test]
fn sources_and_elements_fit_under_a_small_import_limit() {
    for seed in 0..3 {
        let problem = narrow(seed, 5.0, None);
        for effort in [Effort::NONE, Effort::COLD] {
            let plan = planned_with(&problem, effort).schedule;
            assert!(plan.unmet_kwh < 1.0, "{seed}: {}", plan.unmet_kwh);
            assert!(overload(&problem, &plan) < 0.02, "{seed}: {}", overload(&problem, &plan));
        }
    }
}

#[test]
fn sources_and_elements_fit_on_their_phases() {
    for (seed, metering) in [(0, Metering::Net), (1, Metering::PerPhase), (2, Metering::PerPhase)] {
        let own = Phases {
            fuse: Power::constant(4.6),
            metering,
            base_load: Connection::Phase(0),
            pv: Connection::Phase(0),
            battery: Connection::Phase(1),
            heaters: vec![Connection::Phase(2)],
            heat_pumps: vec![Connection::Phase(2), Connection::Three],
            immersion: Connection::Phase(0),
        };
        let problem = narrow(seed, 13.8, Some(own.clone()));
        let plan = planned_with(&problem, Effort::COLD).schedule;
        assert!(plan.unmet_kwh < 1.0, "{seed}: {}", plan.unmet_kwh);
        assert!(overload(&problem, &plan) < 0.02, "{seed}: {}", overload(&problem, &plan));
        // The element and the first heat pump do not fit beside each other.
        for slot in &plan.slots {
            let element = &slot.heaters[0];
            let pump = slot.jobs.iter().filter(|job| job.route.source == Source::HeatPump(0));
            for job in pump.filter(|_| element.minutes > 0.0) {
                let kw = job.electricity.kwh() / job.minutes * 60.0;
                let apart = element.delay_minutes + element.minutes <= job.delay_minutes + 1e-3
                    || job.delay_minutes + job.minutes <= element.delay_minutes + 1e-3;
                assert!(apart || kw + element.power.kw() <= 4.6 + 1e-3, "{slot:?}");
            }
        }
    }
}
