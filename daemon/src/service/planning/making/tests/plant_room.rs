use optimiser::problem::Band;
use optimiser::site::{Sink, Source};

use super::*;
use crate::service::commands::Feeder;

/// Boiler and element on cylinder, buffer, rooms and pool; banded prices. The cylinder
/// is without its element where a test asks so.
const FOUNDRY: &str = include_str!("../../../../../../fixtures/sites/old-foundry.toml");

fn without_element() -> String {
    let begin = FOUNDRY.find("[[store.element]]").expect("the element");
    let end = FOUNDRY.find("[[store.coil]]").expect("the coil");
    format!("{}{}", &FOUNDRY[..begin], &FOUNDRY[end..])
}

fn given(made: &Made, source: Source, sink: impl Fn(Sink) -> bool, span: Slot) -> f64 {
    let slots = made.schedule.slots.iter().filter(|plan| span.contains(plan.slot.start()));
    let jobs = slots.flat_map(|plan| &plan.jobs);
    let own = jobs.filter(|job| job.route.source == source && sink(job.route.sink));
    own.map(|job| job.heat.kwh()).sum()
}

fn into_coil(sink: Sink) -> bool {
    matches!(sink, Sink::Coil { .. })
}

#[test]
fn the_state_of_buffer_rooms_and_pool_is_planned_from() {
    let mut warm = snapshot(FOUNDRY);
    let pool = Temperature::constant(16.0);
    warm.plant_room.pool = Some(pool);
    warm.unmeasured = vec!["the buffer"];
    let made = made(&warm);
    assert_eq!(made.problem.state.plant_room.pool, Some(pool));
    let first = made.schedule.slots[0].plant_room.pool.expect("a pool");
    assert!((first.celsius() - 16.0).abs() < 0.3, "{first}");
    assert!(made.notes.iter().any(|note| note.contains("the buffer is carried on")));
}

#[test]
fn what_is_off_by_hand_is_planned_around() {
    let span = first_hours(4);
    let free = made(&snapshot(FOUNDRY));
    let boiler = |made: &Made| given(made, Source::Boiler, |_| true, span);
    assert!(boiler(&free) > 20.0, "{}", boiler(&free));
    let wishes = vec![wish(0.0..4.0, WishKind::FeederOff(Feeder::Source(Source::Boiler)))];
    let held = made(&Snapshot { wishes, ..snapshot(FOUNDRY) });
    assert!(boiler(&held) < 1e-9, "{}", boiler(&held));
    let pool = |made: &Made| given(made, Source::Buffer, |sink| sink == Sink::Pool, span);
    let wishes = vec![wish(0.0..4.0, WishKind::FeederOff(Feeder::Circuit(Sink::Pool)))];
    let dry = made(&Snapshot { wishes, ..snapshot(FOUNDRY) });
    assert!(pool(&dry) < 1e-9, "{}", pool(&dry));
    // Everything off is everything off.
    let still = made(&Snapshot { wishes: vec![off(0.0..4.0)], ..snapshot(FOUNDRY) });
    let jobs: f64 = still.schedule.slots[..4].iter().map(|s| s.jobs.len() as f64).sum();
    assert!(jobs < 1.0 && heat(&still, span) < 1e-9, "{jobs} jobs");
}

#[test]
fn rooms_may_be_asked_to_be_colder() {
    let low = Temperature::constant(15.0);
    let wishes = vec![wish(0.0..6.0, WishKind::Rooms(low))];
    let colder = made(&Snapshot { wishes, ..snapshot(FOUNDRY) });
    let bands = colder.problem.comfort.rooms.as_ref().expect("comfort").values();
    assert_eq!((bands[0].low, bands[0].high), (low, Temperature::constant(22.0)));
    assert_eq!(bands.last().expect("slots").low, Temperature::constant(19.0));
}

// An empty house keeps rooms and pool from harm, and has them warm at the return.
#[test]
fn who_is_away_needs_neither_rooms_nor_pool() {
    let until = 30.0;
    let gone = Snapshot { wishes: vec![wish(0.0..until, WishKind::Away)], ..snapshot(FOUNDRY) };
    let (home, gone) = (made(&snapshot(FOUNDRY)), made(&gone));
    let lows = |made: &Made, bands: &Option<optimiser::time::Series<Band>>| {
        let bands = bands.as_ref().expect("comfort").values();
        let back = made.problem.horizon.index_at(at() + (until * 3_600.0) as i64 + 1);
        (bands[0].low.celsius(), bands[back.expect("a slot")].low.celsius())
    };
    let (away, back) = lows(&gone, &gone.problem.comfort.rooms);
    let (usual, usual_back) = lows(&home, &home.problem.comfort.rooms);
    assert_eq!((away, back), (14.0, usual_back));
    assert!(usual > away, "{usual}");
    let (away, back) = lows(&gone, &gone.problem.comfort.pool);
    let (usual, usual_back) = lows(&home, &home.problem.comfort.pool);
    let (away_k, back_k) = (usual - away, usual_back - back);
    assert!(away_k > 0.5 && away_k < 10.0 && back_k.abs() < 1e-9, "{away_k} K, {back_k} K");
    let rooms =
        |made: &Made| given(made, Source::Buffer, |sink| sink == Sink::Rooms, first_hours(12));
    assert!(rooms(&gone) < 0.5 * rooms(&home), "{} and {}", rooms(&gone), rooms(&home));
}

// A store that only a boiler heats is hot as soon as the boiler can have it so.
#[test]
fn a_boost_of_a_store_with_a_coil_uses_its_source() {
    let site = without_element();
    let mut plain = snapshot(&site);
    plain.stores = vec![vec![Temperature::constant(42.0); 4]];
    let soon = first_hours(1);
    let coil = |made: &Made| given(made, Source::Boiler, into_coil, soon);
    let boosted = made(&Snapshot { wishes: vec![boost(0.0..2.0, Some(60.0))], ..plain.clone() });
    let (least, more) = (coil(&made(&plain)), coil(&boosted));
    assert!(more > least + 1.0, "{more} kWh with it, {least} kWh without");
}

#[test]
fn a_limit_of_the_network_holds_the_element_of_the_buffer_off_and_not_the_boiler() {
    // Paid for, so that everything electrical would run.
    let begin = FOUNDRY.find("bands = [").expect("the bands");
    let end = FOUNDRY[begin..].find("\n]\n").expect("their end") + begin + 3;
    let band = "bands = [{ from = \"00:00\", until = \"00:00\", rate_minor_per_kwh = 1 }]\n";
    let site = format!("{}{band}{}", &FOUNDRY[..begin], &FOUNDRY[end..]);
    let two_hours = Slot::new(at() + 2 * 3_600, at() + 4 * 3_600).expect("a slot");
    let element = |made: &Made| given(made, Source::Immersion, |_| true, two_hours);
    let boiler = |made: &Made| given(made, Source::Boiler, |_| true, two_hours);
    let free = made(&snapshot(&site));
    assert!(element(&free) > 5.0, "cheaper than oil: {}", element(&free));
    let power = Power::new(2.0).expect("a power");
    let allowances = vec![Allowance { slot: two_hours, power, is_import: true }];
    let known = Arc::new(Known { allowances, ..Known::default() });
    let limited = made(&Snapshot { known, ..snapshot(&site) });
    assert!(element(&limited) < 1e-9, "{}", element(&limited));
    assert!(boiler(&limited) > 5.0, "{}", boiler(&limited));
}

// The chain of what stands in works for sources as for heaters.
#[test]
fn a_program_that_fails_leaves_the_sources_to_the_rule() {
    let by_rule = made(&Snapshot { program: silent, ..snapshot(FOUNDRY) });
    assert_eq!(by_rule.schedule.origin, Origin::Rule);
    let boiler = given(&by_rule, Source::Boiler, |_| true, first_hours(6));
    assert!(boiler > 20.0, "the rule heats the house: {boiler}");
}
