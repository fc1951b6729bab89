//! Made-up houses and days by the hundred, each from its seed.

use optimiser::problem::{
    Ambient, Comfort, Draw, EndValue, Hygiene, PlantRoomState, Problem, Ready, State, ValueStep,
    Weights,
};
use optimiser::published::Published;
use optimiser::schedule::BatteryMode;
use optimiser::site::{Battery, Control, Element, Grid, PlantRoom, Site, Store};
use optimiser::time::{Horizon, Series, Slot};
use optimiser::units::{Flow, Fraction, HeatLoss, Volume};

use crate::houses::{MONDAY, celsius, kw, kwh, price};

/// Random numbers that are the same on every machine: SplitMix64, after Steele,
/// Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014,
/// doi:10.1145/2660193.2660195.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// Dice that fall the same way for the same seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`, in hundredths: sizes are round in life,
    /// and round numbers make ties, which are worth testing.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = (self.next() >> 11) as f64 / (1_u64 << 53) as f64;
        ((low + share * (high - low)) * 100.0).round() / 100.0
    }

    /// A whole number from 0 to below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    /// True once in `times`.
    pub fn once_in(&mut self, times: usize) -> bool {
        self.below(times) == 0
    }
}

/// The house and day of a seed. One in eight has a main fuse that the devices
/// together exceed.
pub fn problem(seed: u64) -> Problem {
    let mut dice = Dice::new(seed);
    let horizon = horizon(&mut dice);
    let stores: Vec<Store> = (0..=dice.below(2)).map(|i| store(&mut dice, i)).collect();
    let battery = (!dice.once_in(3)).then(|| battery(&mut dice));
    let sun = if dice.once_in(4) { 0.0 } else { dice.between(1.0, 7.0) };
    let tight = dice.once_in(8);
    let all: f64 = stores.iter().flat_map(|s| &s.elements).map(|e| e.power.kw()).sum();
    let charge = battery.map_or(0.0, |b| b.charge_limit.kw());
    let grid = Grid {
        import_limit: kw(if tight { 3.0 + 0.6 * all } else { 3.0 + all + charge }),
        export_limit: kw([0.0, 3.68, 3.68, 10.0][dice.below(4)]),
    };
    let hours: Vec<f64> = horizon.slots().iter().map(|s| s.hours()).collect();
    let (import, export) = prices(&mut dice, &horizon);
    let pv = horizon.slots().iter().map(|slot| kwh(sun * sunshine(*slot) * slot.hours())).collect();
    let load = hours.iter().map(|h| kwh(dice.between(0.1, 1.5) * h)).collect();
    let state = State {
        battery: kwh(battery.map_or(0.0, |b| dice.between(0.0, b.capacity.kwh()))),
        stores: stores.iter().map(|s| profile(&mut dice, s)).collect(),
        plant_room: PlantRoomState::default(),
    };
    let import_price = Series::new("import", &horizon, import).expect("a price for each slot");
    let weights = Weights {
        change_per_kwh: if dice.once_in(2) { 0.0 } else { dice.between(0.1, 2.0) },
        ..Weights::for_prices(&import_price)
    };
    let mut problem = Problem {
        export_price: Series::new("export", &horizon, export).expect("a price for each slot"),
        pv: Series::new("pv", &horizon, pv).expect("a value for each slot"),
        base_load: Series::new("load", &horizon, load).expect("a value for each slot"),
        site: Site { grid, battery, stores, plant_room: PlantRoom::default() },
        horizon,
        import_price,
        draws: Vec::new(),
        ready: Vec::new(),
        hygiene: Vec::new(),
        ambient: Ambient::default(),
        comfort: Comfort::default(),
        state,
        end_value: EndValue::default(),
        weights,
        by_hand: Vec::new(),
        published: None,
    };
    comfort(&mut dice, &mut problem);
    problem.end_value = end_value(&mut dice, &problem);
    problem.published = dice.once_in(3).then(|| published(&mut dice, &problem));
    problem
}

/// 12 to 96 slots of 15, 30, 60 minutes, or of all three after a short first.
fn horizon(dice: &mut Dice) -> Horizon {
    let most = if dice.once_in(4) { 85 } else { 37 };
    let count = 12 + dice.below(most);
    let kind = dice.below(4);
    let mut start = MONDAY + 1_800 * dice.below(48) as i64;
    let slots = (0..count)
        .filter_map(|index| {
            let minutes = match kind {
                3 if index == 0 => 7,
                3 => [15, 30, 60][index * 3 / count],
                even => [15, 30, 60][even],
            };
            let slot = Slot::new(start, start + minutes * 60)?;
            start = slot.end();
            Some(slot)
        })
        .collect();
    Horizon::new(slots).expect("slots that touch")
}

fn store(dice: &mut Dice, index: usize) -> Store {
    let mains = dice.between(5.0, 15.0);
    let ceiling = [50.0, 60.0, 61.0, 65.0, 75.0, 80.0][dice.below(6)];
    let count = 1 + dice.below(3);
    let elements = (0..count)
        .map(|e| {
            let power = [1.0, 2.0, 3.0, 3.0, 6.0, 9.0][dice.below(6)];
            let control = match dice.below(3) {
                0 => Control::OnOff,
                1 => Control::Modulating,
                _ if dice.once_in(2) => Control::Staged(vec![kw(power / 2.0), kw(power)]),
                _ => Control::Staged(vec![kw(power / 3.0), kw(power / 1.5), kw(power)]),
            };
            Element {
                name: format!("element {e}"),
                power: kw(power),
                height: Fraction::constant([0.0, 0.03, 0.1, 0.33, 0.5, 0.65, 0.8][dice.below(7)]),
                control,
                thermostat: celsius(dice.between(48.0, 80.0)),
            }
        })
        .collect();
    let litres = dice.between(80.0, 400.0);
    Store {
        name: format!("store {index}"),
        volume: Volume::new(litres).expect("litres of an invention"),
        height_m: dice.between(0.8, 2.0),
        heat_loss: HeatLoss::new(dice.between(0.0, 4.0)).expect("a loss of an invention"),
        surroundings: celsius(dice.between(2.0, 25.0)),
        mains: celsius(mains),
        use_temperature: celsius(dice.between(38.0, 45.0)),
        ceiling: celsius(ceiling),
        cut_out: None,
        held_back: Volume::new(if dice.once_in(2) { 0.0 } else { dice.between(5.0, 60.0) })
            .expect("litres of an invention"),
        destratification_pump: dice.once_in(3),
        layers: [10, 20][dice.below(2)],
        elements,
        coils: Vec::new(),
        return_loop: None,
    }
}

fn battery(dice: &mut Dice) -> Battery {
    let capacity = dice.between(2.0, 15.0);
    let share = |value| Fraction::new(value).expect("a share of an invention");
    Battery {
        capacity: kwh(capacity),
        reserve: kwh(0.1 * capacity),
        charge_limit: kw(dice.between(1.0, 5.0)),
        discharge_limit: kw(dice.between(1.0, 5.0)),
        charge_efficiency: share(dice.between(0.88, 1.0)),
        discharge_efficiency: share(dice.between(0.88, 1.0)),
        wear: price([0.0, 0.5, 2.0][dice.below(3)]),
        charges_from_grid: !dice.once_in(3),
        exports: !dice.once_in(3),
        feeds_heaters: !dice.once_in(3),
    }
}

/// Prices of each slot: calm, varied, below zero at times, or with an export
/// price above that of import at times.
fn prices(
    dice: &mut Dice,
    horizon: &Horizon,
) -> (Vec<optimiser::units::Price>, Vec<optimiser::units::Price>) {
    let kind = dice.below(4);
    let fixed = dice.between(3.0, 16.0);
    horizon
        .slots()
        .iter()
        .map(|_| {
            let import = match kind {
                0 => [7.0, 28.0][usize::from(!dice.once_in(3))],
                2 => dice.between(-12.0, 30.0),
                _ => dice.between(5.0, 40.0),
            };
            let export = match kind {
                3 => dice.between(0.0, 45.0),
                2 => dice.between(-3.0, 15.0),
                _ => fixed.min(import),
            };
            (price(import), price(export))
        })
        .unzip()
}

/// Share of full sun at the middle of a slot.
fn sunshine(slot: Slot) -> f64 {
    let middle = (slot.start().unix() + slot.seconds() / 2).rem_euclid(86_400) as f64 / 3_600.0;
    (1.0 - ((middle - 13.0) / 6.0).powi(2)).max(0.0)
}

fn profile(dice: &mut Dice, store: &Store) -> Vec<optimiser::units::Temperature> {
    let (cold, hot) = (store.mains.celsius(), dice.between(20.0, store.ceiling.celsius() + 3.0));
    let warm = dice.below(11);
    (0..10)
        .map(|layer| celsius(if layer < warm { cold + 0.03 * (hot - cold) } else { hot }))
        .collect()
}

/// Draws at 40 and 55 °C, promises and pasteurisations.
fn comfort(dice: &mut Dice, problem: &mut Problem) {
    let (start, length) =
        (problem.horizon.start(), problem.horizon.end() - problem.horizon.start());
    let at = |dice: &mut Dice| start + (dice.between(-0.05, 1.1) * length as f64) as i64;
    let volume = |litres| Volume::new(litres).expect("litres of an invention");
    for _ in 0..dice.below(9) {
        problem.draws.push(Draw {
            store: dice.below(problem.site.stores.len()),
            start: at(dice),
            volume: volume(dice.between(2.0, 120.0)),
            temperature: celsius([40.0, 55.0][usize::from(dice.once_in(3))]),
            flow: Flow::constant(6.0),
        });
    }
    for _ in 0..dice.below(3) {
        problem.ready.push(Ready {
            store: dice.below(problem.site.stores.len()),
            by: at(dice),
            volume: volume(dice.between(20.0, 200.0)),
            temperature: celsius([40.0, 45.0, 60.0][dice.below(3)]),
        });
    }
    if dice.once_in(4) {
        problem.hygiene.push(Hygiene {
            store: dice.below(problem.site.stores.len()),
            due: start + (0.9 * length as f64) as i64,
            temperature: celsius(60.0),
            hold_seconds: 3_600,
        });
    }
}

fn end_value(dice: &mut Dice, problem: &Problem) -> EndValue {
    let mut steps = |first: f64, width: f64| -> Vec<ValueStep> {
        let mut value = first;
        (0..dice.below(4))
            .map(|_| {
                value -= dice.between(0.5, 8.0);
                ValueStep { width: kwh(dice.between(0.5, width)), value: price(value) }
            })
            .collect()
    };
    EndValue {
        stores: problem.site.stores.iter().map(|_| steps(25.0, 6.0)).collect(),
        battery: steps(30.0, 5.0),
        ..EndValue::default()
    }
}

fn published(dice: &mut Dice, problem: &Problem) -> Published {
    let heaters = problem
        .heaters()
        .map(|id| {
            let power = problem.site.stores[id.store].elements[id.element].power;
            problem
                .horizon
                .slots()
                .iter()
                .map(|slot| {
                    let share = if dice.once_in(3) { dice.between(0.0, 1.0) } else { 0.0 };
                    power.over_hours(share * slot.hours())
                })
                .collect()
        })
        .collect();
    let slots = problem.horizon.len();
    Published { slots, heaters, battery: vec![(BatteryMode::Hold, kw(0.0)); slots] }
}
