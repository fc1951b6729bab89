//! The closed loop on past data: what is known when, what is counted, and the
//! rules that stowheat is compared with.

mod counting;
mod knowledge;
mod plant_room;
mod real_plant_room;
mod rolling;
mod rules;
mod sizing;
mod week;

use optimiser::forecast::Mark;
use optimiser::problem::{Draw, State};
use optimiser::replay::{Foreknown, HygieneRule, LOOK_AHEAD, Record, Timeline};
use optimiser::site::Site;
use optimiser::time::{Horizon, Instant};
use optimiser::units::{Energy, Flow, Price, Volume};
use stowheat_tests::houses::{MONDAY, battery, celsius, element, kw, kwh, price, store};

const DAY: i64 = 86_400;

/// 200 L with a low and a high element of 3 kW, PV, a battery that may not export.
fn house() -> Site {
    let mut cylinder = store(200.0, vec![element("low", 3.0, 0.05), element("high", 3.0, 0.65)]);
    cylinder.heat_loss = optimiser::units::HeatLoss::constant(1.5);
    cylinder.ceiling = celsius(70.0);
    for element in &mut cylinder.elements {
        element.thermostat = celsius(70.0);
    }
    let mut own = battery();
    own.exports = false;
    Site {
        grid: optimiser::site::Grid { import_limit: kw(15.0), export_limit: kw(5.0) },
        battery: Some(own),
        stores: vec![cylinder],
        plant_room: optimiser::site::PlantRoom::default(),
    }
}

fn start() -> State {
    State {
        battery: kwh(2.0),
        stores: vec![vec![celsius(55.0); 20]],
        plant_room: optimiser::problem::PlantRoomState::default(),
    }
}

/// A small generator of varied but repeatable values in 0 to 1.
fn wobble(seed: u64, index: usize) -> f64 {
    let mut z = seed.wrapping_add((index as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Days of invented data in universal time, after a week of memory.
fn record(days: usize) -> Record {
    let memory = 7 * 48;
    let slots = memory + days * 48 + LOOK_AHEAD + 48;
    let first = MONDAY + -7 * DAY;
    let horizon = Horizon::regular(first, 1_800, slots).expect("slots");
    let marks: Vec<Mark> = (0..slots)
        .map(|slot| Mark {
            day: (slot / 48) as i32,
            month: 0,
            weekend: matches!(slot / 48 % 7, 5 | 6),
            half_hour: (slot % 48) as u8,
        })
        .collect();
    let hour = |slot: usize| (slot % 48) as f64 / 2.0;
    let import = |slot: usize| {
        let evening = if (16.0..19.5).contains(&hour(slot)) { 18.0 } else { 0.0 };
        let night = if hour(slot) < 5.0 { -9.0 } else { 0.0 };
        price(20.0 + evening + night + 8.0 * (wobble(1, slot) - 0.5))
    };
    let sun = |slot: usize| {
        let height = (std::f64::consts::PI * (hour(slot) - 6.0) / 12.0).sin().max(0.0);
        kwh(1.4 * height * wobble(2, slot / 48))
    };
    let draws = (0..slots).filter_map(|slot| draw(slot, horizon.slots()[slot].start()));
    let yesterday_at_one = |slot: usize| first + (slot / 48) as i64 * DAY + (13 - 24) * 3_600;
    Record {
        marks,
        import_price: (0..slots).map(|slot| Some(import(slot))).collect(),
        export_price: vec![Some(price(6.0)); slots],
        published: (0..slots).map(yesterday_at_one).collect(),
        pv: (0..slots).map(sun).collect(),
        base_load: (0..slots).map(|slot| kwh(0.1 + 0.3 * wobble(3, slot))).collect(),
        draws: draws.collect(),
        ready: Vec::new(),
        hygiene: Vec::new(),
        foreknown: Foreknown::default(),
        judged: memory..memory + days * 48,
        mains: vec![celsius(10.0)],
        horizon,
    }
}

/// A morning and an evening draw that shift and vary from day to day.
fn draw(slot: usize, start: Instant) -> Option<Draw> {
    let (day, of_day) = (slot / 48, slot % 48);
    let morning = 14 + (3.0 * wobble(4, day)) as usize;
    let evening = 38 + (4.0 * wobble(5, day)) as usize;
    let litres = match of_day {
        _ if of_day == morning => 40.0 + 30.0 * wobble(6, day),
        _ if of_day == evening => 50.0 + 40.0 * wobble(7, day),
        _ => return None,
    };
    Some(Draw {
        store: 0,
        start,
        volume: Volume::new(litres).expect("litres"),
        temperature: celsius(40.0),
        flow: Flow::constant(8.0),
    })
}

fn timeline(record: Record) -> Timeline {
    Timeline::new(record).expect("a timeline")
}

fn near(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

fn weekly_hygiene() -> HygieneRule {
    HygieneRule {
        store: 0,
        temperature: celsius(60.0),
        hold_seconds: 3_600,
        every_seconds: 3 * DAY,
    }
}

/// Overwrites everything from a slot on with other values.
fn with_another_future(mut record: Record, from: usize) -> Record {
    let begins = record.horizon.slots()[from].start();
    for slot in 0..record.horizon.len() {
        // Prices are known as soon as they are published.
        if record.published[slot] >= begins {
            record.import_price[slot] = Some(Price::constant(3.0));
            record.export_price[slot] = Some(Price::constant(44.0));
        }
        if slot >= from {
            record.pv[slot] = Energy::constant(2.5);
            record.base_load[slot] = Energy::constant(1.7);
        }
    }
    for draw in record.draws.iter_mut().filter(|draw| draw.start >= begins) {
        draw.volume = Volume::constant(150.0);
    }
    record
}
