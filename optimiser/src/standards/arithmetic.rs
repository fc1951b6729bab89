//! Outside checks of the hot-water arithmetic that everything builds on.

use crate::problem::Draw;
use crate::time::Instant;
use crate::units::{Flow, Temperature, Volume};
use crate::water::{
    heat_kwh, heat_up_hours, hot_share, loss_from_daily, mixed_litres_per_litre, mixed_store_after,
    time_constant_hours,
};

fn within(actual: f64, expected: f64, relative: f64) {
    let tolerance = relative * expected.abs();
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

/// Hours without loss.
fn lossless(litres: f64, from: f64, to: f64, kw: f64) -> f64 {
    heat_up_hours(from, to, 20.0, litres, 0.0, kw).expect("no loss stops it")
}

// HW-01, HW-06, HW-08, HW-11: recomputed in closed form.
#[test]
fn heat_and_heat_up_time() {
    within(heat_kwh(210.0, 50.0), 12.212, 1e-3);
    for (kw, hours) in [(3.0, 4.070), (6.0, 2.035), (9.0, 1.357)] {
        within(lossless(210.0, 10.0, 60.0, kw), hours, 2e-3);
    }
    within(lossless(250.0, 10.0, 65.0, 6.0), 2.665, 2e-3);
    within(loss_from_daily(1.5, 45.0), 1.389, 1e-3);
}

// HW-07, HW-09, HW-10: recomputed in closed form.
#[test]
fn loss_slows_heating_and_cools_the_store() {
    within(heat_up_hours(10.0, 60.0, 20.0, 210.0, 1.6, 3.0).expect("it gets there"), 4.104, 2e-3);
    within(time_constant_hours(210.0, 1.6), 152.6, 1e-3);
    let after_a_day = mixed_store_after(60.0, 20.0, 210.0, 1.6, 0.0, 24.0);
    assert!((after_a_day - 54.18).abs() <= 0.1, "{after_a_day}");
    within(heat_kwh(210.0, 60.0 - after_a_day), 1.421, 2e-3);
    within(time_constant_hours(210.0, 1.6) * (40.0_f64 / 30.0).ln(), 43.9, 5e-3);
    within(mixed_store_after(60.0, 20.0, 210.0, 1.6, 0.0, 43.9), 50.0, 5e-3);
    assert_eq!(heat_up_hours(10.0, 60.0, 20.0, 210.0, 1.6, 0.05), None);
}

// ST-11: recomputed; the upper third of 210 L. ST-12: recomputed.
#[test]
fn part_of_a_store() {
    within(heat_kwh(70.0, 50.0), 4.07, 2e-3);
    within(lossless(70.0, 10.0, 60.0, 3.0), 1.357, 2e-3);
    let turnover = Draw {
        store: 0,
        start: Instant::from_unix(0),
        volume: Volume::constant(210.0),
        temperature: Temperature::constant(40.0),
        flow: Flow::constant(2.0),
    };
    assert_eq!(turnover.end() - turnover.start, 6_300);
}

// C01, common practice, no published source; the table agrees with a published
// owner's table.
#[test]
fn reheat_time() {
    within(heat_kwh(125.0, 55.0), 7.996, 0.01);
    within(lossless(125.0, 10.0, 65.0, 3.0), 2.665, 0.01);
    for (kw, litres, minutes) in
        [(5.0, 300.0, 167.5), (7.0, 250.0, 99.7), (5.0, 150.0, 83.7), (3.0, 200.0, 186.1)]
    {
        within(lossless(litres, 10.0, 50.0, kw) * 60.0, minutes, 0.01);
    }
}

// C02, C03, common practice, no published source.
#[test]
fn mixed_and_stored_litres_are_different_things() {
    within(heat_kwh(120.0, 50.0), 6.98, 0.01);
    within(lossless(120.0, 10.0, 60.0, 3.0), 2.33, 0.01);
    within(lossless(35.0, 10.0, 60.0, 6.0) * 60.0, 20.4, 0.01);
    let stored = 35.0 * hot_share(60.0, 40.0, 10.0);
    within(stored, 21.0, 0.01);
    within(heat_kwh(stored, 50.0), 1.22, 0.01);
    within(lossless(stored, 10.0, 60.0, 6.0) * 60.0, 12.2, 0.01);
}

// C04, common practice, no published source.
#[test]
fn usable_water_divides_by_the_hot_share() {
    within(150.0 * mixed_litres_per_litre(60.0, 41.0, 10.0), 241.9, 0.01);
    within(300.0 * mixed_litres_per_litre(50.0, 41.0, 10.0), 387.0, 0.01);
}

// C07, common practice, no published source.
#[test]
fn a_boost_element_heats_the_upper_third() {
    within(heat_kwh(100.0, 45.0), 5.23, 0.01);
    within(lossless(100.0, 15.0, 60.0, 3.0), 1.74, 0.01);
    within(heat_kwh(300.0, 45.0), 15.70, 0.01);
    for (kw, hours) in [(3.0, 5.23), (6.0, 2.62), (9.0, 1.74)] {
        within(lossless(300.0, 15.0, 60.0, kw), hours, 0.01);
    }
}

// C11, common practice, no published source: 180 L, 2 W/K, 55 °C in 20 °C.
#[test]
fn switching_off_while_away_saves_the_standing_loss() {
    for (days, saving) in [(14.0, 16.5), (7.0, 5.9), (2.0, 0.67)] {
        let hours = 24.0 * days;
        let held = 2.0 * 35.0 * hours / 1_000.0;
        let end = mixed_store_after(55.0, 20.0, 180.0, 2.0, 0.0, hours);
        within(held - heat_kwh(180.0, 55.0 - end), saving, 0.01);
    }
    within(2.0 * 35.0 * 336.0 / 1_000.0, 23.5, 0.01);
    let end = mixed_store_after(55.0, 20.0, 180.0, 2.0, 0.0, 336.0);
    within(end, 21.4, 0.01);
    within(heat_kwh(180.0, 55.0 - end), 7.0, 0.01);
}

// C14, C15, common practice, no published source.
#[test]
fn heat_of_a_pasteurisation() {
    let cycle = heat_kwh(300.0, 10.0);
    within(cycle, 3.489, 0.01);
    within(cycle * 365.0, 1_273.0, 0.01);
    within(cycle * 52.0, 181.0, 0.01);
    within(cycle * 52.0 * 5.0, 907.0, 0.01);
    within(heat_kwh(200.0, 18.0), 4.19, 0.01);
}
