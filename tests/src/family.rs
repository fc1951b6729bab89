//! A family's days: the problem that benches and comparisons are made on.

use optimiser::problem::{Draw, Problem, Weights};
use optimiser::site::Store;
use optimiser::time::{Horizon, Series};
use optimiser::units::{Energy, Flow, HeatLoss, Volume};
use optimiser::worth::{Ahead, end_value};

use crate::houses::{MONDAY, battery, celsius, day, element, kwh, price, store};

/// Local hour and litres at 40 °C of a family's draws.
const DRAWS: [(f64, f64); 5] =
    [(6.5, 45.0), (7.2, 60.0), (12.75, 10.0), (18.5, 25.0), (20.6, 90.0)];

/// Two elements of 3 kW at 5 % and 65 % of a 250 L cylinder that loses 1.6 W/K.
pub fn cylinder(name: &str) -> Store {
    let mut own = store(250.0, vec![element("bottom", 3.0, 0.05), element("top", 3.0, 0.65)]);
    name.clone_into(&mut own.name);
    own.heat_loss = HeatLoss::constant(1.6);
    own.held_back = Volume::constant(30.0);
    own
}

/// Half-hours from midnight with wavy prices, some negative, sun by day and a
/// family's draws from each store; with a battery. At most four stores.
pub fn family(slots: usize, stores: usize) -> Problem {
    let import: Vec<f64> = (0..slots).map(wave).collect();
    let names = ["cylinder", "annexe", "third", "fourth"];
    let mut problem = day(names[..stores].iter().map(|n| cylinder(n)).collect(), &import);
    problem.site.battery = Some(battery());
    problem.state.battery = kwh(3.0);
    for profile in &mut problem.state.stores {
        *profile = vec![celsius(30.0), celsius(45.0), celsius(52.0), celsius(55.0)];
    }
    problem.pv = series(&problem.horizon, sun);
    problem.base_load = series(&problem.horizon, load);
    problem.export_price = Series::constant(&problem.horizon, price(12.0));
    problem.weights = Weights::for_prices(&problem.import_price);
    for day in 0..slots.div_ceil(48) {
        for store in 0..stores {
            problem.draws.extend(DRAWS.map(|(hour, litres)| Draw {
                store,
                start: MONDAY + day as i64 * 86_400 + (hour * 3_600.0) as i64,
                volume: Volume::clamped(litres),
                temperature: celsius(40.0),
                flow: Flow::constant(8.0),
            }));
        }
    }
    let ahead: Vec<Ahead> = (slots..slots + 96)
        .map(|slot| Ahead {
            hours: 0.5,
            import_price: price(wave(slot)),
            export_price: price(12.0),
            pv: sun(slot),
            base_load: load(slot),
            draws: vec![8.0 / 48.0; stores],
        })
        .collect();
    problem.end_value = end_value(&problem.site, &ahead, &problem.weights);
    problem
}

fn wave(slot: usize) -> f64 {
    let hour = (slot % 48) as f64 / 2.0;
    let evening = (-(hour - 18.0).powi(2) / 6.0).exp();
    let night = (-(hour - 3.0).powi(2) / 8.0).exp();
    18.0 + 22.0 * evening - 14.0 * night - if slot % 97 == 27 { 20.0 } else { 0.0 }
}

fn sun(slot: usize) -> Energy {
    let hour = (slot % 48) as f64 / 2.0 + 0.25;
    Energy::clamped(1.7 * (std::f64::consts::PI * (hour - 6.0) / 12.0).sin().max(0.0))
}

fn load(slot: usize) -> Energy {
    kwh(0.2 + 0.15 * f64::from(u8::from(slot % 48 > 33)))
}

fn series<T: Copy>(horizon: &Horizon, of: impl Fn(usize) -> T) -> Series<T> {
    Series::new("a series", horizon, (0..horizon.len()).map(of).collect())
        .expect("one value per slot")
}
