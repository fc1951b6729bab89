//! What a size is worth to somebody who knows the whole period: values never
//! fall with more of anything, and add up to the integral of the multipliers.

use optimiser::problem::{Problem, Ready};
use optimiser::replay::{Stage, StoredWorth};
use optimiser::site::Control;
use optimiser::sizing::{Capacity, multiplier, multipliers, priced, value};
use optimiser::solve::{PeriodSolver, SolveLimits};
use optimiser::units::{Fraction, HeatLoss, Price, Volume};
use stowheat_tests::houses::{MONDAY, celsius, day, element, kw, kwh, store};

use super::{house, near, record, start, timeline, wobble};

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

fn solver() -> PeriodSolver {
    PeriodSolver::new(SolveLimits::default())
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
                    value(stage, worth, at, &mut solver()).expect("an answer")
                })
                .collect();
            for pair in costs.windows(2) {
                assert!(pair[1] <= pair[0] + 1e-3, "{capacity:?}: {costs:?}");
            }
        }
    });
}

// Houses of many shapes on days of their own. An element that switches is left as it is:
// a larger one draws more from the grid while it is on, and may be worth less.
#[test]
fn more_never_costs_more_in_random_houses() {
    let mut looked_at = 0;
    for seed in 0..12_u64 {
        let draw = |index: usize| wobble(1_000 + seed, index);
        let between = |index: usize, low: f64, high: f64| low + (high - low) * draw(index);
        let mut site = house();
        let cylinder = &mut site.stores[0];
        cylinder.volume = Volume::constant(between(0, 120.0, 320.0));
        cylinder.heat_loss = HeatLoss::constant(between(1, 0.3, 3.0));
        cylinder.elements[0].power = kw(between(2, 1.0, 6.0));
        cylinder.elements[1].height = Fraction::constant(between(3, 0.3, 0.8));
        if draw(4) < 0.3 {
            cylinder.elements.pop();
        }
        let switches = draw(5) < 0.4;
        for element in &mut cylinder.elements {
            element.control = if switches { Control::OnOff } else { Control::Modulating };
        }
        if draw(6) < 0.3 {
            site.battery = None;
        } else if let Some(battery) = &mut site.battery {
            battery.capacity = kwh(between(7, 2.5, 12.0));
            battery.exports = draw(8) < 0.5;
            battery.charges_from_grid = draw(9) < 0.7;
        }
        site.grid.import_limit = kw(between(10, 6.0, 15.0));
        site.grid.export_limit = kw(between(11, 0.0, 5.0));
        let mut record = record(1);
        for (slot, pv) in record.pv.iter_mut().enumerate() {
            *pv = kwh(pv.kwh() * 2.0 * wobble(2_000 + seed, slot / 12));
        }
        for (slot, price) in record.import_price.iter_mut().enumerate() {
            let moved = price.map_or(0.0, Price::per_kwh) + 30.0 * (wobble(seed, slot) - 0.5);
            *price = Some(Price::constant(moved));
        }
        let timeline = timeline(record);
        let stage = Stage::new(&site, &timeline, &start()).expect("a stage");
        let worth = stage.stored_worth();
        for capacity in Capacity::of(&site) {
            let size = capacity.size(&site);
            let fixed = switches && matches!(capacity, Capacity::Element(_));
            if fixed || size <= 0.0 {
                continue;
            }
            let cost = |share: f64| {
                let at = (capacity, share * size);
                value(&stage, worth, at, &mut solver()).expect("an answer")
            };
            let costs = [1.0, 1.15, 1.4].map(cost);
            for pair in costs.windows(2) {
                assert!(pair[1] <= pair[0] + 1e-3, "house {seed}, {capacity:?}: {costs:?}");
            }
            looked_at += 1;
        }
    }
    assert!(looked_at > 60, "{looked_at} sizes");
}

#[test]
fn values_beside_a_size_embrace_the_kink() {
    on_stage(|stage, worth| {
        let all = Capacity::of(stage.site());
        let found = multipliers(stage, worth, &all, &mut solver()).expect("an answer");
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
            let answer = priced(&problem, &mut solver()).expect("an answer");
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
        urgency: 1.0,
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
        priced(&night(kilowatts, plunge), &mut solver()).expect("an answer").objective()
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
        let answer = priced(&here, &mut solver()).expect("an answer");
        let slope = multiplier(&answer, (&here, &next), 1e-3).expect("a slope");
        near(-slope, expected, 0.05);
    }
}
