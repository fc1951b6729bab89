//! Prints random cases of the simulated tank with our results as JSON, for
//! `tests/peers/tank_reference.py`, which integrates the same layers with a
//! general-purpose solver.

use optimiser::plant::{Heat, Stream, Tank, Water};
use serde_json::{Value, json};

const CASES: u64 = 24;
const SAMPLES: usize = 6;
const SAMPLE_SECONDS: f64 = 1_800.0;

/// No source stops here [°C].
const NO_LIMIT: f64 = 150.0;

/// Numbers in (0, 1) that follow from a seed alone: the additive recurrence
/// with the golden ratio.
struct Spread(f64);

impl Spread {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = (self.0 + 0.618_033_988_749_895).fract();
        low + (high - low) * self.0
    }
}

fn case(number: u64) -> Value {
    let mut spread = Spread((number as f64 * 0.137).fract());
    let litres = spread.between(100.0, 400.0);
    let height_m = spread.between(1.0, 2.0);
    let layers = spread.between(8.0, 30.0) as usize;
    let loss = spread.between(0.5, 4.0);
    let surroundings = spread.between(5.0, 25.0);
    let conductivity = spread.between(0.5, 2.0);
    let (cold, warm, hot) =
        (spread.between(8.0, 20.0), spread.between(20.0, 40.0), spread.between(45.0, 60.0));
    let kw = if number.is_multiple_of(3) { 0.0 } else { spread.between(0.5, 3.0) };
    let heated = (spread.between(0.0, 0.8) * layers as f64) as usize;
    let flow = if number.is_multiple_of(2) { 0.0 } else { spread.between(0.05, 0.3) };
    let entering = spread.between(6.0, cold);

    let tank = Tank::new(litres, height_m, layers, loss, surroundings, conductivity);
    let mut water = Water::new(&[cold, cold, warm, hot], layers);
    let start = water.layers().to_vec();
    let mut heats = [Heat { layer: heated, kw, limit: NO_LIMIT, given_kwh: 0.0 }];
    let streams =
        [Stream { inlet: 0, outlet: layers - 1, litres_per_minute: flow, temperature: entering }];
    let samples: Vec<Vec<f64>> = (0..SAMPLES)
        .map(|_| {
            tank.advance(&mut water, SAMPLE_SECONDS, &mut heats, &streams);
            water.layers().to_vec()
        })
        .collect();
    json!({
        "litres": litres,
        "height_m": height_m,
        "loss_w_per_k": loss,
        "surroundings_c": surroundings,
        "conductivity_w_per_mk": conductivity,
        "heated_layer": heated,
        "heat_kw": kw,
        "flow_litres_per_minute": flow,
        "entering_c": entering,
        "start_c": start,
        "sample_seconds": SAMPLE_SECONDS,
        "samples_c": samples,
    })
}

#[expect(clippy::print_stdout, reason = "its output is its purpose")]
fn main() {
    let cases: Vec<Value> = (0..CASES).map(case).collect();
    println!("{}", json!({ "cases": cases }));
}
