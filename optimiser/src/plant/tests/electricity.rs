//! The meter, the battery and the money.

use super::*;
use crate::schedule::BatteryMode;

/// 10 kWh, 3 kW, 95 % one way, 1 kWh in reserve, wear 5 per kWh, all allowed.
fn battery() -> Battery {
    Battery {
        capacity: Energy::constant(10.0),
        reserve: Energy::constant(1.0),
        charge_limit: Power::constant(3.0),
        discharge_limit: Power::constant(3.0),
        charge_efficiency: Fraction::constant(0.95),
        discharge_efficiency: Fraction::constant(0.95),
        wear: Price::constant(5.0),
        charges_from_grid: true,
        exports: true,
        feeds_heaters: true,
    }
}

/// One slot with a battery at a level, in a mode, with PV, base load and
/// heater in kW.
fn slot(battery: Battery, level: f64, told: (BatteryMode, f64), kw: [f64; 3]) -> HouseSlot {
    let house = site(store(), Some(battery));
    let mut weather = Weather::with(1, 10.0, kw[0], kw[1]);
    weather.state.battery = Energy::constant(level);
    let mut commands = Commands::idle(&house, 1);
    commands.battery[0] = BatteryCommand { mode: told.0, power: Power::constant(told.1) };
    commands.heaters[0][0] =
        HeaterCommand { power: Power::constant(kw[2]), minutes: 30.0, delay_minutes: 0.0 };
    let outcome = run(&house, &weather, &commands, Physics::default());
    close(outcome.house[0].residual_kwh(), 0.0, 1e-12);
    outcome.house[0]
}

// C33 (common practice, no published source): 1.5 kW of surplus and a 3 kW
// on/off element for half of a half-hour: 0.375 kWh in, 0.375 kWh out, 15.0 for
// 0.75 kWh of heat against 11.25 when modulated. The half-hour mean hides it.
#[test]
fn both_registers_count_inside_a_half_hour() {
    for (control, flow, cost) in [(Control::OnOff, 0.375, 15.0), (Control::Modulating, 0.0, 11.25)]
    {
        let mut house = site(store(), None);
        house.stores[0].elements[0].control = control;
        let weather = Weather::with(1, 10.0, 1.5, 0.0);
        let wish = [vec![Energy::constant(0.75)]];
        let commands = Commands::heating(&house, &weather.horizon, &wish);
        let outcome = run(&house, &weather, &commands, Physics::default());
        close(outcome.house[0].import_kwh, flow, 1e-9);
        close(outcome.house[0].export_kwh, flow, 1e-9);
        let mut plant = Plant::new(&house);
        let scene = plant.scene(&weather.conditions()).expect("conditions that fit");
        let idle = plant.simulate(&scene, &Commands::idle(&house, 1));
        let difference = outcome.cost(&house, &scene).total() - idle.cost(&house, &scene).total();
        close(difference, cost, 1e-9);
    }
}

#[test]
fn each_mode_does_what_it_says() {
    let hold = slot(battery(), 5.0, (BatteryMode::Hold, 0.0), [2.0, 0.5, 0.0]);
    close(hold.export_kwh, 0.75, 1e-12);
    close(hold.battery_kwh, 5.0, 0.0);
    let follow = slot(battery(), 5.0, (BatteryMode::Follow, 0.0), [2.0, 0.5, 0.0]);
    close(follow.charge_kwh, 0.75, 1e-12);
    close(follow.battery_kwh, 5.0 + 0.75 * 0.95, 1e-12);
    let follow = slot(battery(), 5.0, (BatteryMode::Follow, 0.0), [0.0, 2.0, 0.0]);
    close(follow.import_kwh, 0.0, 1e-12);
    close(follow.battery_kwh, 5.0 - 1.0 / 0.95, 1e-12);
    let charge = slot(battery(), 5.0, (BatteryMode::Charge, 2.0), [0.0, 0.5, 0.0]);
    close(charge.import_kwh, 1.25, 1e-12);
    let discharge = slot(battery(), 5.0, (BatteryMode::Discharge, 2.0), [0.0, 0.5, 0.0]);
    close(discharge.export_kwh, 0.75, 1e-12);
}

#[test]
fn full_and_reserve_end_the_flow_inside_the_slot() {
    let full = slot(battery(), 9.525, (BatteryMode::Charge, 3.0), [0.0, 0.0, 0.0]);
    close(full.battery_kwh, 10.0, 1e-9);
    close(full.charge_kwh, 0.5, 1e-9);
    let empty = slot(battery(), 1.5, (BatteryMode::Follow, 0.0), [0.0, 3.0, 0.0]);
    close(empty.battery_kwh, 1.0, 1e-9);
    close(empty.import_kwh, 1.5 - 0.475, 1e-9);
}

#[test]
fn the_rules_of_the_battery_hold_at_every_instant() {
    let own = Battery { charges_from_grid: false, ..battery() };
    close(slot(own, 5.0, (BatteryMode::Charge, 3.0), [1.0, 0.5, 0.0]).charge_kwh, 0.25, 1e-12);
    let inward = Battery { exports: false, ..battery() };
    let discharge = slot(inward, 5.0, (BatteryMode::Discharge, 3.0), [0.0, 0.5, 0.0]);
    close(discharge.discharge_kwh, 0.25, 1e-12);
    let house_only = Battery { feeds_heaters: false, ..battery() };
    let follow = slot(house_only, 5.0, (BatteryMode::Follow, 0.0), [0.0, 0.5, 2.0]);
    close(follow.discharge_kwh, 0.25, 1e-12);
    close(follow.import_kwh, 1.0, 1e-9);
}

// C51 (common practice, no published source): at night a held battery leaves
// the element to the grid, and one stretch in a slot is two changes of state.
#[test]
fn a_held_battery_does_not_feed_the_night_element() {
    let night = slot(battery(), 5.0, (BatteryMode::Hold, 0.0), [0.0, 0.3, 3.0]);
    close(night.discharge_kwh, 0.0, 0.0);
    close(night.import_kwh, 1.65, 1e-9);
    let house = site(store(), Some(battery()));
    let weather = Weather::with(4, 10.0, 0.0, 0.3);
    let outcome = run(&house, &weather, &heating(&house, 4, 1..3), Physics::default());
    let changes: usize = (0..4).map(|slot| 2 * outcome.stores[0].spans(slot).len()).sum();
    assert_eq!(changes, 4);
}

#[test]
fn limits_curtail_export_and_cap_charging() {
    let sunny = slot(battery(), 10.0, (BatteryMode::Hold, 0.0), [8.0, 0.5, 0.0]);
    close(sunny.export_kwh, 2.5, 1e-12);
    close(sunny.curtailed_kwh, 1.25, 1e-12);
    close(sunny.pv_kwh, 2.75, 1e-12);
    let push = slot(battery(), 10.0, (BatteryMode::Discharge, 3.0), [8.0, 0.5, 0.0]);
    close(push.discharge_kwh, 0.0, 0.0);
    let tight = slot(battery(), 5.0, (BatteryMode::Charge, 3.0), [0.0, 16.9, 0.0]);
    close(tight.charge_kwh, 0.75, 1e-9);
    close(tight.overload_kwh, 0.0, 1e-12);
    let over = slot(battery(), 5.0, (BatteryMode::Hold, 0.0), [0.0, 18.9, 0.0]);
    close(over.overload_kwh, 0.25, 1e-9);
    close(over.peak_import_kw, 18.9, 1e-9);
}

#[test]
fn pv_can_be_kept_off_the_grid_or_off_altogether() {
    let house = site(store(), None);
    let weather = Weather::with(1, 10.0, 2.0, 0.5);
    for (pv, used, export, import) in [
        (PvUse::Free, 1.0, 0.75, 0.0),
        (PvUse::NoExport, 0.25, 0.0, 0.0),
        (PvUse::LastResort, 0.0, 0.0, 0.25),
    ] {
        let mut commands = Commands::idle(&house, 1);
        commands.pv[0] = pv;
        let record = run(&house, &weather, &commands, Physics::default()).house[0];
        close(record.pv_kwh, used, 1e-12);
        close(record.export_kwh, export, 1e-12);
        close(record.import_kwh, import, 1e-12);
        close(record.pv_kwh + record.curtailed_kwh, 1.0, 1e-12);
    }
}

#[test]
fn wear_is_paid_for_what_is_given_out() {
    let house = site(store(), Some(battery()));
    let mut weather = Weather::with(1, 10.0, 0.0, 0.5);
    weather.state.battery = Energy::constant(5.0);
    let mut commands = Commands::idle(&house, 1);
    commands.battery[0] =
        BatteryCommand { mode: BatteryMode::Discharge, power: Power::constant(2.0) };
    let mut plant = Plant::new(&house);
    let scene = plant.scene(&weather.conditions()).expect("conditions that fit");
    let cost = plant.simulate(&scene, &commands).cost(&house, &scene);
    close(cost.wear, 5.0, 1e-12);
    close(cost.export_income, 0.75 * 15.0, 1e-9);
    close(cost.total(), 5.0 - 11.25, 1e-9);
}
