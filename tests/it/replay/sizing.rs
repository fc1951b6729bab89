//! What a size is worth to somebody who knows the whole period: values never
//! fall with more of anything, and add up to the integral of the multipliers.

use optimiser::problem::{Problem, Ready};
use optimiser::replay::{Stage, StoredWorth};
use optimiser::sizing::{Capacity, multiplier, multipliers, priced, value};
use optimiser::solve::SolveLimits;
use optimiser::units::Volume;
use stowheat_tests::houses::{MONDAY, celsius, day, element, kwh, store};

use super::{house, near, record, start, timeline};

const DAYS: usize = 3;

/// A house whose sizes are all wanted, over three days.
fn on_stage(look: impl Fn(&Stage<'_>, StoredWorth)) {
    let mut record = record(DAYS);
    for load in &mut record.base_load {
        *load = kwh(load.kwh() * 2.0);
    }
    let timeline = timeline(record);
    let site = house();
    let stage = Stage::new(&site, &timeline, &start()).expect("a stage");
    let worth = stage.stored_worth();
    look(&stage, worth);
}

#[test]
fn more_of_anything_never_lowers_the_prescient_value() {
    on_stage(|stage, worth| {
        for capacity in Capacity::of(stage.site()) {
            let size = capacity.size(stage.site());
            let costs: Vec<f64> = [0.7, 0.85, 1.0, 1.2, 1.5]
                .into_iter()
                .map(|share| {
                    let at = (capacity, share * size);
                    value(stage, worth, at, SolveLimits::default()).expect("an answer")
                })
                .collect();
            for pair in costs.windows(2) {
                assert!(pair[1] <= pair[0] + 1e-3, "{capacity:?}: {costs:?}");
            }
        }
    });
}

#[test]
fn values_beside_a_size_embrace_the_kink() {
    on_stage(|stage, worth| {
        let all = Capacity::of(stage.site());
        let found = multipliers(stage, worth, &all, SolveLimits::default()).expect("an answer");
        assert_eq!(found.len(), all.len());
        for own in found {
            // Falling returns: the next unit is worth no more than the last.
            let room = 1e-3 * own.down.abs().max(1.0);
            assert!(own.up <= own.down + room && own.up >= -room, "{own:?}");
        }
    });
}

// The sum over the edge of a grid from 3 to 6 kW, within 2 % of the integral.
#[test]
fn a_grid_edge_is_the_integral_of_its_multipliers() {
    let (from, to, steps) = (3.0, 6.0, 240);
    let step = (to - from) / f64::from(steps);
    for plunge in [true, false] {
        let solved = |kilowatts| {
            let problem = night(kilowatts, plunge);
            let answer = priced(&problem, SolveLimits::default()).expect("an answer");
            (problem, answer)
        };
        let edge = solved(from).1.objective() - solved(to).1.objective();
        let sum: f64 = (0..steps)
            .map(|k| from + step * (f64::from(k) + 0.5))
            .map(|kilowatts| {
                let ((here, answer), next) = (solved(kilowatts), night(kilowatts + 1e-3, plunge));
                -multiplier(&answer, (&here, &next), 1e-3).expect("a slope") * step
            })
            .sum();
        near(sum, edge, 0.02 * edge);
    }
}

/// C06: 300 L at 35 °C at 01:00 must be 65 °C by 06:00, without loss, on a night
/// with a plunge or on a calm one.
fn night(kilowatts: f64, plunge: bool) -> Problem {
    let prices = if plunge {
        [-5.0, -5.0, 4.0, 4.0, 4.0, 4.0, 18.0, 18.0, 18.0, 18.0]
    } else {
        [7.0, 7.0, 7.0, 7.0, 7.0, 7.0, 18.0, 18.0, 18.0, 18.0]
    };
    let mut problem = day(vec![store(300.0, vec![element("e", kilowatts, 0.0)])], &prices);
    problem.state.stores[0] = vec![celsius(35.0); 20];
    problem.ready.push(Ready {
        store: 0,
        by: MONDAY + 5 * 3_600,
        volume: Volume::new(300.0).expect("litres"),
        temperature: celsius(65.0),
    });
    problem.validated().expect("a valid problem")
}

// C06, common practice, no published source: 10.467 kWh cost 35.4, -12.1 and
// -39.1 at 3, 6 and 9 kW on a night with a plunge, 89.4, 73.3 and 73.3 on a calm
// one. Solved on paper, a kW is worth 51 up to 3.489 kW, where the cheap hours
// hold all of it, and 9 beyond; on the calm night 33 and nothing.
#[test]
fn bigger_elements_are_worth_what_the_nights_say() {
    let cost = |kilowatts, plunge| {
        priced(&night(kilowatts, plunge), SolveLimits::default()).expect("an answer").objective()
    };
    for (plunge, first, second) in [(true, 47.5, 27.0), (false, 16.1, 0.0)] {
        near(cost(3.0, plunge) - cost(6.0, plunge), first, 0.1);
        near(cost(6.0, plunge) - cost(9.0, plunge), second, 0.1);
    }
    for (kilowatts, plunge, expected) in [
        (3.0, true, 51.0),
        (3.4, true, 51.0),
        (3.6, true, 9.0),
        (6.0, true, 9.0),
        (3.0, false, 33.0),
        (6.0, false, 0.0),
    ] {
        let (here, next) = (night(kilowatts, plunge), night(kilowatts + 1e-3, plunge));
        let answer = priced(&here, SolveLimits::default()).expect("an answer");
        let slope = multiplier(&answer, (&here, &next), 1e-3).expect("a slope");
        near(-slope, expected, 0.05);
    }
}
