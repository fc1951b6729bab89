//! A week of planning every half-hour with the plain program, solved hot and timed, as
//! JSON for `tests/peers/rolling_reference.py`, which solves the same in Python.
//!
//! Usage: `rolling_week [STEPS]`, 336 for the whole week. Two cylinders of two
//! modulating elements each and a battery; export earns less than import costs, so that
//! the plain program is exact. Each step starts from where the one before has led.

use std::io::{self, Write as _};

use optimiser::model::{Formulation, Refinement};
use optimiser::problem::{Draw, EndValue, Problem, State, ValueStep, Weights};
use optimiser::site::Control;
use optimiser::solution::Solution;
use optimiser::solve::{Live, SolveLimits, Verdict};
use optimiser::time::{Horizon, Series};
use optimiser::units::{Energy, Flow, Volume};
use serde_json::{Value, json};
use stowheat_tests::clock::Stopwatch;
use stowheat_tests::family::cylinder;
use stowheat_tests::houses::{MONDAY, battery, celsius, day, kwh, price};
use stowheat_tests::record::record;

const WEEK: usize = 336;
const AHEAD: usize = 96;
const HALF_HOUR: i64 = 1_800;

/// Half-hour of the day and litres at 40 °C, from each cylinder.
const DRAWS: [(usize, f64); 5] = [(13, 45.0), (14, 60.0), (25, 10.0), (37, 25.0), (41, 90.0)];

/// Import price of a half-hour of the week: cheap nights, dear evenings, restless days.
fn buy(slot: usize) -> f64 {
    let hour = (slot % 48) as f64 / 2.0;
    let evening = (-(hour - 18.0).powi(2) / 6.0).exp();
    let night = (-(hour - 3.0).powi(2) / 8.0).exp();
    let restless = 2.5 * (slot as f64 * 1.7).sin() + 4.0 * (slot as f64 / 53.0).cos();
    (18.0 + 22.0 * evening - 10.0 * night + restless).max(0.5)
}

fn sun(slot: usize) -> f64 {
    let hour = (slot % 48) as f64 / 2.0 + 0.25;
    let cloud = 0.65 + 0.35 * (slot as f64 / 29.0).sin();
    1.7 * cloud * (std::f64::consts::PI * (hour - 6.0) / 12.0).sin().max(0.0)
}

fn load(slot: usize) -> f64 {
    0.2 + 0.15 * f64::from(u8::from(slot % 48 > 33)) + 0.05 * (slot as f64 * 0.9).sin()
}

/// What is planned at the start of a half-hour of the week.
fn problem(first: usize, state: State) -> Problem {
    let slots = || first..first + AHEAD;
    let stores: Vec<_> = ["house", "annexe"]
        .into_iter()
        .map(|name| {
            let mut store = cylinder(name);
            for element in &mut store.elements {
                element.control = Control::Modulating;
            }
            store
        })
        .collect();
    let import: Vec<f64> = slots().map(buy).collect();
    let count = stores.len();
    let mut problem = day(stores, &import);
    let start = MONDAY + first as i64 * HALF_HOUR;
    problem.horizon = Horizon::regular(start, HALF_HOUR, AHEAD).expect("half-hours");
    let horizon = problem.horizon.clone();
    let energies = |of: fn(usize) -> f64| {
        Series::new("energy", &horizon, slots().map(|slot| kwh(of(slot).max(0.0))).collect())
            .expect("as many")
    };
    (problem.pv, problem.base_load) = (energies(sun), energies(load));
    problem.import_price =
        Series::new("import", &horizon, slots().map(|s| price(buy(s))).collect()).expect("as many");
    problem.export_price =
        Series::new("export", &horizon, slots().map(|s| price(0.6 * buy(s))).collect())
            .expect("as many");
    problem.weights = Weights { change_per_kwh: 0.0, ..Weights::for_prices(&problem.import_price) };
    problem.weights.unmet_per_kwh = 400.0;
    problem.weights.short_per_kwh = 120.0;
    problem.site.battery = Some(battery());
    problem.state = state;
    problem.draws = slots()
        .flat_map(|slot| {
            let own = DRAWS.into_iter().filter(move |&(at, _)| at == slot % 48);
            own.flat_map(move |(_, litres)| (0..count).map(move |store| (slot, store, litres)))
        })
        .map(|(slot, store, litres)| Draw {
            store,
            start: MONDAY + slot as i64 * HALF_HOUR,
            volume: Volume::clamped(litres),
            temperature: celsius(40.0),
            flow: Flow::constant(8.0),
        })
        .collect();
    let worth = |per_kwh: f64| ValueStep { width: kwh(5.0), value: price(per_kwh) };
    problem.end_value = EndValue {
        stores: vec![vec![worth(16.0), worth(10.0), worth(4.0)]; count],
        battery: vec![worth(18.0), worth(12.0)],
        ..EndValue::default()
    };
    problem
}

/// The state after the first slot of an answer: in each zone the hottest water on top.
fn after(problem: &Problem, solution: &Solution) -> State {
    let flows = &solution.slots[0];
    let stores = (0..problem.site.stores.len())
        .map(|store| {
            let rungs = &solution.rungs[store];
            let layers = problem.site.stores[store].layers;
            let layer = problem.site.stores[store].volume.litres() / layers as f64;
            // Litres in each band, from the bottom of the store to its top.
            let mut bands: Vec<(f64, f64)> = Vec::new();
            for (zone, above) in flows.stores[store].litres.iter().enumerate() {
                for rung in 0..rungs.len() {
                    let from =
                        if rung == 0 { solution.zones[store][zone] } else { above[rung - 1] };
                    let litres = from - above.get(rung).copied().unwrap_or(0.0);
                    bands.push((litres.max(0.0), rungs[rung]));
                }
            }
            let mut bands = bands.into_iter();
            let mut open = bands.next().expect("a band");
            let fill = |_| {
                let (mut missing, mut heat) = (layer, 0.0);
                while missing > 1e-9 {
                    let litres = open.0.min(missing);
                    heat += litres * open.1;
                    missing -= litres;
                    open.0 -= litres;
                    if open.0 <= 1e-12 {
                        let Some(next) = bands.next() else { break };
                        open = next;
                    }
                }
                celsius(heat / (layer - missing))
            };
            (0..layers).map(fill).collect()
        })
        .collect();
    State { battery: Energy::clamped(flows.battery), stores, ..problem.state.clone() }
}

fn main() -> io::Result<()> {
    let argument = std::env::args().nth(1);
    let steps = argument.map_or(WEEK, |text| text.parse().expect("a number of steps"));
    let mut state = State {
        battery: kwh(3.0),
        stores: vec![vec![celsius(45.0); 20]; 2],
        ..day(vec![cylinder("any")], &[1.0]).state
    };
    let mut live: Option<Live> = None;
    let mut cases: Vec<Value> = Vec::new();
    for step in 0..steps {
        let problem = problem(step, state).validated().expect("a valid problem");
        let watch = Stopwatch::start();
        let mut formulation = Formulation::new(&problem, &Refinement::default());
        let program = std::mem::take(&mut formulation.program);
        match &mut live {
            Some(live) => live.load(program).expect("a program"),
            None => live = Some(Live::new(program).expect("a program")),
        }
        let answer = live.as_mut().expect("just made").solve(SolveLimits::default());
        let answer = answer.expect("an answer");
        let solution = Solution::new(&problem, &formulation, &answer);
        let milliseconds = watch.elapsed().as_secs_f64() * 1e3;
        assert_eq!(answer.verdict, Verdict::Optimal, "step {step}");
        state = after(&problem, &solution);
        cases.push(json!({
            "problem": record(&problem),
            "objective": solution.objective,
            "milliseconds": milliseconds,
        }));
    }
    let mut out = io::BufWriter::new(io::stdout().lock());
    serde_json::to_writer(&mut out, &cases)?;
    writeln!(out)
}
