//! Random days of three sites: what holds of every plan, and how far plans are
//! from what the simulated plant makes of them.

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::plant::{Commands, Plant};
use stowheat_tests::plant_rooms::{Kind, random_day};

const DAYS: u64 = 6;

#[test]
fn every_random_day_has_a_plan_that_the_plant_can_follow() {
    for kind in Kind::ALL {
        let mut planner = Planner::default().with_effort(Effort::COLD);
        for seed in 0..DAYS {
            let problem = random_day(kind, 48, seed).validated().expect("a valid day");
            let planned = match planner.plan(&problem) {
                Outcome::Planned(planned) => planned,
                other => panic!("{kind:?} {seed}: {other:?}"),
            };
            let schedule = &planned.schedule;
            let mut plant = Plant::new(&problem.site);
            let scene = plant.scene(&(&problem).into()).expect("a scene");
            let outcome = plant.simulate(&scene, &Commands::of(&problem, schedule));
            let again = outcome.cost(&problem.site, &scene).net();
            println!(
                "{kind:?} {seed}: {} told {:.2} simulated again {again:.2} unmet {:.3}",
                schedule.origin.name(),
                schedule.cost.net(),
                outcome.unmet_kwh()
            );
            assert!(outcome.residual_kwh() < 1e-6, "{}", outcome.residual_kwh());
        }
    }
}
