//! Dispatch by the linear program on problems with a known answer.

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::problem::{Problem, Ready, ValueStep};
use optimiser::schedule::BatteryMode;
use optimiser::site::Control;
use optimiser::time::Series;
use optimiser::units::Volume;
use stowheat_tests::houses::{MONDAY, battery, celsius, day, draw, element, kw, kwh, price, store};

/// As the program alone has it.
fn planned(problem: Problem) -> Planned {
    planned_with(Effort::NONE, problem)
}

fn planned_with(effort: Effort, problem: Problem) -> Planned {
    let problem = problem.validated().expect("a valid problem");
    match Planner::default().with_effort(effort).plan(&problem) {
        Outcome::Planned(planned) => *planned,
        other => panic!("no plan: {other:?}"),
    }
}

fn near(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

/// Water that must stand at a temperature throughout by an hour.
fn full_by(hour: f64, litres: f64, temperature: f64) -> Ready {
    Ready {
        store: 0,
        by: MONDAY + (hour * 3_600.0) as i64,
        volume: Volume::new(litres).expect("litres"),
        temperature: celsius(temperature),
        urgency: 1.0,
    }
}

// C06, common practice, no published source: 300 L at 35 °C at 01:00 may reach
// 65 °C and must by 06:00; one hour at -5, two at 4, else 18.
#[test]
fn bigger_elements_pay_on_a_plunge_night_and_not_on_a_calm_one() {
    let plunge = [-5.0, -5.0, 4.0, 4.0, 4.0, 4.0, 18.0, 18.0, 18.0, 18.0];
    let calm = [7.0, 7.0, 7.0, 7.0, 7.0, 7.0, 18.0, 18.0, 18.0, 18.0];
    for (kilowatts, on_plunge, on_calm) in
        [(3.0, 35.4, 89.4), (6.0, -12.1, 73.3), (9.0, -39.1, 73.3)]
    {
        for (prices, expected) in [(plunge, on_plunge), (calm, on_calm)] {
            let mut problem = day(vec![store(300.0, vec![element("e", kilowatts, 0.0)])], &prices);
            problem.state.stores[0] = vec![celsius(35.0); 20];
            problem.ready.push(full_by(5.0, 300.0, 65.0));
            let plan = planned(problem);
            near(plan.schedule.cost.import, expected, 0.1);
            near(plan.schedule.short_kwh, 0.0, 1e-6);
        }
    }
}

// C07, common practice, no published source: a boost element a third of the
// way down heats only the top third of 300 L, 5.23 kWh; the bottom one all.
#[test]
fn a_boost_element_heats_only_the_top() {
    for (height, expected) in [(2.0 / 3.0, 5.2335), (0.0, 15.7005)] {
        let mut boost = store(300.0, vec![element("boost", 9.0, height)]);
        boost.mains = celsius(15.0);
        boost.ceiling = celsius(60.0);
        let mut problem = day(vec![boost], &[-1.0; 20]);
        problem.end_value.stores = vec![vec![ValueStep { width: kwh(100.0), value: price(1.0) }]];
        let plan = planned(problem);
        let last = plan.schedule.slots.last().expect("a slot");
        near(last.stores[0].stored.kwh(), expected, 0.001);
    }
}

// C21, common practice, no published source: 6 kW plant capped to 3.68 kW,
// house 0.5 kW, element 3 kW, export 15: 0.91 kWh of 1.5 would be lost.
#[test]
fn what_an_export_cap_would_lose_is_free() {
    let mut modulating = element("e", 3.0, 0.0);
    modulating.control = Control::Modulating;
    let mut problem = day(vec![store(300.0, vec![modulating])], &[25.0]);
    problem.export_price = Series::constant(&problem.horizon, price(15.0));
    problem.pv = Series::constant(&problem.horizon, kwh(3.0));
    problem.base_load = Series::constant(&problem.horizon, kwh(0.25));
    let without = planned(problem.clone()).schedule;
    near(without.slots[0].export.kwh(), 1.84, 1e-6);
    // Worth just enough to take all of it.
    problem.end_value.stores = vec![vec![ValueStep { width: kwh(1.5), value: price(15.5) }]];
    let with = planned(problem).schedule;
    near(with.slots[0].heaters[0].energy.kwh(), 1.5, 1e-6);
    near(with.cost.net() - without.cost.net(), 8.85, 0.01);
}

// C33, common practice, no published source: 1.5 kW of surplus, 3 kW element
// half of the time: 15.0 for 0.75 kWh on/off, 11.25 modulated.
#[test]
fn an_on_off_element_cannot_hide_behind_the_half_hour_mean() {
    for (control, cost) in [(Control::OnOff, 15.0), (Control::Modulating, 11.25)] {
        let mut single = element("e", 3.0, 0.0);
        single.control = control.clone();
        let mut problem = day(vec![store(300.0, vec![single])], &[25.0]);
        problem.export_price = Series::constant(&problem.horizon, price(15.0));
        problem.pv = Series::constant(&problem.horizon, kwh(0.75));
        let without = planned(problem.clone()).schedule;
        problem.end_value.stores = vec![vec![ValueStep { width: kwh(0.75), value: price(30.0) }]];
        let with = planned(problem).schedule;
        near(with.slots[0].heaters[0].energy.kwh(), 0.75, 1e-6);
        near(with.cost.net() - without.cost.net(), cost, 0.01);
        let swing = if control == Control::OnOff { 0.375 } else { 0.0 };
        near(with.slots[0].swing.kwh(), swing, 1e-6);
        near(with.slots[0].import.kwh().min(with.slots[0].export.kwh()), 0.0, 0.0);
    }
}

// The same half-hour with a battery at 5 kWh, whose charge is worth 18 at the end:
// worth more than 15 / 0.95 of export and less than (25 − 4) · 0.95 of import. So
// it takes what the element leaves while off and gives what it needs while on.
#[test]
fn a_battery_follows_the_house_while_an_element_switches() {
    let mut problem = day(vec![store(300.0, vec![element("e", 3.0, 0.0)])], &[25.0]);
    problem.export_price = Series::constant(&problem.horizon, price(15.0));
    problem.pv = Series::constant(&problem.horizon, kwh(0.75));
    problem.site.battery = Some(battery());
    problem.state.battery = kwh(5.0);
    problem.end_value.stores = vec![vec![ValueStep { width: kwh(0.75), value: price(30.0) }]];
    problem.end_value.battery = vec![ValueStep { width: kwh(10.0), value: price(18.0) }];
    let plan = planned_with(Effort::COLD, problem).schedule;
    let slot = &plan.slots[0];
    assert_eq!(slot.battery_mode, Some(BatteryMode::Follow));
    near(slot.heaters[0].energy.kwh(), 0.75, 1e-6);
    near(slot.charge.kwh(), 0.375, 1e-6);
    near(slot.discharge.kwh(), 0.375, 1e-6);
    near(slot.import.kwh() + slot.export.kwh() + slot.swing.kwh(), 0.0, 1e-6);
    near(slot.battery.kwh(), 5.0 + 0.375 * 0.95 - 0.375 / 0.95, 1e-6);
}

// C19, common practice, no published source: export now at 4, import paid -3
// at 14:00; filling later gains 7 for each kWh.
#[test]
fn a_paid_slot_later_beats_the_surplus_now() {
    let mut prices = vec![20.0; 4];
    prices.extend([-3.0; 4]);
    let mut modulating = element("e", 3.0, 0.0);
    modulating.control = Control::Modulating;
    let mut problem = day(vec![store(172.0, vec![modulating])], &prices);
    problem.site.stores[0].ceiling = celsius(40.0 + 2.0);
    problem.site.grid.export_limit = kw(10.0);
    problem.export_price = Series::constant(&problem.horizon, price(4.0));
    let sun = [1.5, 1.5, 1.5, 1.5, 0.0, 0.0, 0.0, 0.0].map(kwh).to_vec();
    problem.pv = Series::new("pv", &problem.horizon, sun).expect("eight slots");
    problem.ready.push(full_by(4.0, 150.0, 40.0));
    let plan = planned(problem).schedule;
    let early: f64 = plan.slots[..4].iter().map(|s| s.heaters[0].energy.kwh()).sum();
    near(early, 0.0, 1e-6);
    near(plan.cost.export_income, 24.0, 0.01);
    assert!(plan.cost.import < 0.0);
}

// C45, common practice, no published source: 13 kWh a day through a battery,
// night 19, day 30, one way 0.9 and 0.85 round trip: 99 or 116 saved.
#[test]
fn a_night_charge_saves_what_the_losses_leave() {
    for (round_trip, saved) in [(0.85_f64, 99.0), (0.90, 116.0)] {
        let mut prices = vec![19.0; 14];
        prices.extend([30.0; 26]);
        let mut problem = day(vec![store(100.0, vec![element("e", 3.0, 0.0)])], &prices);
        let mut own = battery();
        own.capacity = kwh(20.0);
        own.wear = price(0.0);
        own.charge_efficiency =
            optimiser::units::Fraction::new(round_trip.sqrt()).expect("a share");
        own.discharge_efficiency = own.charge_efficiency;
        let load: Vec<_> = (0..40).map(|i| kwh(if i < 14 { 0.0 } else { 0.5 })).collect();
        problem.base_load = Series::new("load", &problem.horizon, load).expect("forty slots");
        let without = planned(problem.clone()).schedule.cost.net();
        problem.site.battery = Some(own);
        let with = planned(problem).schedule.cost.net();
        near(without - with, saved, 0.6);
    }
}

#[test]
fn dearer_slots_are_left_out_and_a_draw_is_served() {
    let mut prices = vec![30.0; 12];
    prices[3] = 5.0;
    prices[4] = 6.0;
    let mut problem = day(vec![store(200.0, vec![element("e", 3.0, 0.0)])], &prices);
    problem.draws.push(draw(5.0, 60.0));
    problem.base_load = Series::constant(&problem.horizon, kwh(0.1));
    let plan = planned(problem);
    near(plan.schedule.unmet_kwh, 0.0, 1e-6);
    let on: Vec<usize> =
        (0..12).filter(|&s| plan.schedule.slots[s].heaters[0].energy.kwh() > 1e-6).collect();
    assert_eq!(on, [3, 4]);
    // 60 L raised by 30 K.
    let used: f64 = plan.schedule.slots.iter().map(|s| s.heaters[0].energy.kwh()).sum();
    near(used, 2.0934, 1e-4);
    // The last kWh of heat comes from the slot at 6.
    near(plan.schedule.slots[5].stores[0].value.per_kwh(), 6.0, 1e-6);
    near(plan.schedule.slots[0].electricity_value.per_kwh(), 30.0, 1e-6);
}
