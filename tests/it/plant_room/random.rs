//! Random days of three sites: what holds of every plan.

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::plant::{Commands, Plant, PlantRoomTrace};
use optimiser::rule::rule_plan;
use optimiser::time::Series;
use stowheat_tests::plant_rooms::{Kind, random_day};

const DAYS: u64 = 6;

#[test]
fn every_random_day_has_a_plan_that_the_plant_can_follow() {
    for kind in Kind::ALL {
        let mut planner = Planner::default().with_effort(Effort::COLD);
        for seed in 0..DAYS {
            let problem = random_day(kind, 48, seed).validated().expect("a valid day");
            // What is planned has passed the check: one job at a time and so on.
            let schedule = match planner.plan(&problem) {
                Outcome::Planned(planned) => planned.schedule,
                other => panic!("{kind:?} {seed}: {other:?}"),
            };
            let mut plant = Plant::new(&problem.site);
            let scene = plant.scene(&(&problem).into()).expect("a scene");
            let outcome = plant.simulate(&scene, &Commands::of(&problem, &schedule));
            let passed: f64 = outcome.house.iter().map(|h| h.import_kwh + h.pv_kwh).sum();
            assert!(outcome.residual_kwh() <= 1e-9 * (1.0 + passed), "{}", outcome.residual_kwh());
            assert!(outcome.unmet_kwh() <= schedule.unmet_kwh + 0.05, "{kind:?} {seed}");
            let room = outcome.plant_room.iter().flat_map(PlantRoomTrace::slots);
            assert!(room.into_iter().all(|slot| slot.reverse_kwh <= 0.0));
        }
    }
}

#[test]
fn the_plan_by_rule_keeps_every_random_day_warm() {
    for kind in Kind::ALL {
        for seed in 0..DAYS {
            let problem = random_day(kind, 48, seed).validated().expect("a valid day");
            let schedule = rule_plan(&problem).expect("a plan by rule");
            let bands = problem.comfort.rooms.iter().flat_map(Series::values);
            // A thermostat warms rooms up after a set-back, not before its end.
            let lows: Vec<_> = bands.map(|band| band.low).collect();
            for (index, low) in lows.iter().enumerate().skip(6).filter(|(i, l)| lows[i - 6] == **l)
            {
                let air = schedule.slots[index].plant_room.rooms.expect("rooms").air;
                assert!(air.above(*low) > -0.8, "{kind:?} {seed} {index}: {air}");
            }
            let mut plant = Plant::new(&problem.site);
            let scene = plant.scene(&(&problem).into()).expect("a scene");
            let outcome = plant.simulate(&scene, &Commands::of(&problem, &schedule));
            assert!(outcome.unmet_kwh() < 1.0, "{kind:?} {seed}: {}", outcome.unmet_kwh());
        }
    }
}
