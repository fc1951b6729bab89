use good_lp::solvers::microlp::microlp;
use good_lp::{Expression, ProblemVariables, Solution, SolverModel, constraint, variable};

use super::*;
use crate::model::{Formulation, Program, Refinement};
use crate::problem::{
    Ambient, Comfort, Draw, EndValue, PlantRoomState, Problem, State, ValueStep, Weights,
};
use crate::site::{Battery, Control, Element, Grid, PlantRoom, Site, Store};
use crate::time::{Horizon, Instant, Series};
use crate::units::{Energy, Flow, Fraction, HeatLoss, Power, Price, Temperature, Volume};

const FREE: f64 = f64::INFINITY;

fn answer(program: Program) -> Answer {
    let mut live = Live::new(program).expect("a sound program");
    live.solve(SolveLimits::default()).expect("an answer")
}

pub(super) fn near(actual: f64, expected: f64) {
    let allowed = 1e-6 * expected.abs().max(1.0);
    assert!((actual - expected).abs() <= allowed, "{actual} is not {expected}");
}

/// A few half-hours of a small house whose numbers follow from `seed`.
pub(super) fn house(seed: u64, slots: usize) -> Problem {
    let start = Instant::from_unix(1_709_510_400);
    let horizon = Horizon::regular(start, 1_800, slots).expect("slots");
    let mut state = seed;
    let mut roll = |low: f64, high: f64| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (state >> 33) as f64 / (1_u64 << 31) as f64
    };
    let mut prices = |low, high| -> Vec<Price> {
        (0..slots).map(|_| Price::new(roll(low, high)).expect("a price")).collect()
    };
    let import_price = Series::new("import", &horizon, prices(5.0, 40.0)).expect("prices");
    let export_price = Series::new("export", &horizon, prices(0.0, 5.0)).expect("prices");
    let element = |name: &str, height, control| Element {
        name: name.to_owned(),
        power: Power::constant(3.0),
        height: Fraction::constant(height),
        control,
        thermostat: Temperature::constant(65.0),
    };
    let store = Store {
        name: "cylinder".to_owned(),
        volume: Volume::constant(120.0),
        height_m: 1.2,
        heat_loss: HeatLoss::constant(1.5),
        surroundings: Temperature::constant(18.0),
        mains: Temperature::constant(10.0),
        use_temperature: Temperature::constant(40.0),
        ceiling: Temperature::constant(65.0),
        cut_out: None,
        held_back: Volume::constant(10.0),
        destratification_pump: false,
        layers: 20,
        elements: vec![
            element("low", 0.1, Control::OnOff),
            element("high", 0.6, Control::Modulating),
        ],
        coils: Vec::new(),
        return_loop: None,
    };
    let battery = Battery {
        capacity: Energy::constant(5.0),
        reserve: Energy::constant(0.5),
        charge_limit: Power::constant(2.5),
        discharge_limit: Power::constant(2.5),
        charge_efficiency: Fraction::constant(0.95),
        discharge_efficiency: Fraction::constant(0.95),
        wear: Price::constant(1.0),
        charges_from_grid: true,
        exports: seed.is_multiple_of(2),
        feeds_heaters: seed.is_multiple_of(3),
    };
    let draw = Draw {
        store: 0,
        start: start + slots as i64 * 1_200,
        volume: Volume::new(roll(20.0, 90.0)).expect("litres"),
        temperature: Temperature::constant(40.0),
        flow: Flow::constant(8.0),
    };
    let worth = ValueStep { width: Energy::constant(2.0), value: Price::constant(12.0) };
    Problem {
        weights: Weights::for_prices(&import_price),
        pv: Series::constant(&horizon, Energy::new(roll(0.0, 2.0)).expect("energy")),
        base_load: Series::constant(&horizon, Energy::constant(0.2)),
        site: Site {
            grid: Grid { import_limit: Power::constant(15.0), export_limit: Power::constant(3.68) },
            battery: (!seed.is_multiple_of(4)).then_some(battery),
            stores: vec![store],
            plant_room: PlantRoom::default(),
        },
        horizon,
        import_price,
        export_price,
        draws: vec![draw],
        ready: Vec::new(),
        hygiene: Vec::new(),
        ambient: Ambient::default(),
        comfort: Comfort::default(),
        state: State {
            battery: Energy::constant(1.0),
            stores: vec![vec![Temperature::constant(12.0), Temperature::constant(45.0)]],
            plant_room: PlantRoomState::default(),
        },
        end_value: EndValue {
            stores: vec![vec![worth]],
            battery: vec![worth],
            ..EndValue::default()
        },
        by_hand: Vec::new(),
        published: None,
    }
}

fn program(seed: u64, slots: usize) -> Program {
    let problem = house(seed, slots).validated().expect("a sound house");
    Formulation::new(&problem, &Refinement::default()).program
}

/// The least cost of a program by a simplex method in plain Rust.
fn by_another_solver(program: &Program) -> f64 {
    let mut variables = ProblemVariables::new();
    let columns: Vec<_> = program
        .columns()
        .iter()
        .map(|c| variables.add(variable().min(c.lower).max(c.upper)))
        .collect();
    let cost: Expression = columns.iter().zip(program.columns()).map(|(&x, c)| x * c.cost).sum();
    let mut model = variables.minimise(cost.clone()).using(microlp);
    for (row, &(lower, upper)) in program.bounds().iter().enumerate() {
        let (indices, values) = program.terms(row);
        let sum: Expression =
            indices.iter().zip(values).map(|(&i, &v)| columns[i as usize] * v).sum();
        if lower.is_finite() {
            model = model.with(constraint!(sum.clone() >= lower));
        }
        if upper.is_finite() {
            model = model.with(constraint!(sum <= upper));
        }
    }
    model.solve().expect("the other solver's answer").eval(cost)
}

// The second solver is microlp, through good_lp, from the crate registry.
#[test]
fn another_solver_reaches_the_same_cost() {
    for seed in 0..20 {
        let program = program(seed, 4 + seed as usize % 5);
        let here = answer(program.clone());
        assert_eq!(here.verdict, Verdict::Optimal);
        near(here.objective, by_another_solver(&program));
    }
}

// By hand: one more unit asked for costs 3; one more allowed earns 2.
#[test]
fn a_dual_is_the_change_of_cost_for_each_unit_of_a_bound() {
    let mut program = Program::default();
    let bought = program.column(3.0, 0.0, FREE);
    let sold = program.column(-2.0, 0.0, FREE);
    let asked = program.row(4.0, FREE, [(bought, 1.0)]);
    let allowed = program.row(-FREE, 5.0, [(sold, 1.0)]);
    let answer = answer(program);
    near(answer.objective, 2.0);
    near(answer.duals[asked.0 as usize], 3.0);
    near(answer.duals[allowed.0 as usize], -2.0);
}

#[test]
fn a_number_that_is_none_is_refused() {
    let spoilt = |cost: f64, value: f64, lower: f64| {
        let mut program = Program::default();
        let x = program.column(cost, 0.0, 1.0);
        program.row(lower, FREE, [(x, value)]);
        Live::new(program).err()
    };
    for (cost, value, lower) in [(f64::NAN, 1.0, 0.0), (1.0, f64::NAN, 0.0), (1.0, 1.0, f64::NAN)] {
        assert!(matches!(spoilt(cost, value, lower), Some(SolveError::Unfit(_))));
    }
    assert_eq!(spoilt(1.0, 1.0, 0.0), None);
}

#[test]
fn a_program_without_an_answer_is_infeasible_and_the_next_one_is_not() {
    let bounded = |least: f64| {
        let mut program = Program::default();
        let x = program.column(1.0, 0.0, 1.0);
        program.row(least, FREE, [(x, 1.0)]);
        program
    };
    let mut live = Live::new(bounded(2.0)).expect("a sound program");
    let limits = SolveLimits::default();
    assert_eq!(live.solve(limits).expect("a verdict").verdict, Verdict::Infeasible);
    live.load(bounded(0.5)).expect("a sound program");
    let answer = live.solve(limits).expect("an answer");
    assert_eq!(answer.verdict, Verdict::Optimal);
    near(answer.objective, 0.5);
}

#[test]
fn a_program_loaded_over_another_is_solved_as_if_it_were_the_first() {
    let mut live = Live::new(program(0, 12)).expect("a sound program");
    let limits = SolveLimits::default();
    live.solve(limits).expect("an answer");
    // The same house, another house, another length, with and without battery.
    for (seed, slots) in [(2, 12), (6, 12), (1, 12), (4, 9), (5, 16)] {
        let next = program(seed, slots);
        live.load(next.clone()).expect("a sound program");
        let hot = live.solve(limits).expect("an answer");
        assert_eq!(hot.verdict, Verdict::Optimal);
        near(hot.objective, answer(next).objective);
    }
}

// Closed form: 2·x ≥ 4 takes 2 of the column that the row names, at its cost.
#[test]
fn a_row_may_name_other_columns_than_before_and_one_of_them_twice() {
    let program = |second: bool| {
        let mut program = Program::default();
        program.open_columns(Instant::from_unix(0));
        let columns = [program.column(1.0, 0.0, 10.0), program.column(2.0, 0.0, 10.0)];
        program.close_columns();
        let named = columns[usize::from(second)];
        program.row(4.0, FREE, [(named, 1.5), (named, 0.5)]);
        program.claim_rows(0, 0);
        program
    };
    let mut live = Live::new(program(false)).expect("a sound program");
    for (second, cost) in [(false, 2.0), (true, 4.0), (false, 2.0)] {
        live.load(program(second)).expect("a program of the same shape");
        near(live.solve(SolveLimits::default()).expect("an answer").objective, cost);
    }
}

#[test]
fn an_answer_cut_short_is_no_answer() {
    let mut live = Live::new(program(1, 96)).expect("a sound program");
    let hurried = SolveLimits { seconds: 0.0, ..SolveLimits::default() };
    let cut = live.solve(hurried).expect("a verdict");
    assert!(matches!(cut.verdict, Verdict::Failed(_)), "{:?}", cut.verdict);
    let answer = live.solve(SolveLimits::default()).expect("an answer");
    assert_eq!(answer.verdict, Verdict::Optimal);
}
