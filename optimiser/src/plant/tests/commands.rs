//! How a published schedule becomes commands.

use super::*;
use crate::problem::{Comfort, EndValue, HeaterId, Hygiene, Problem, Weights};
use crate::schedule::{
    BatteryMode, Cost, Evidence, HeaterPlan, Origin, PlantRoomPlan, Reason, Schedule, SlotPlan,
};
use crate::time::Slot;

fn plan(slot: Slot) -> SlotPlan {
    let none = Energy::constant(0.0);
    SlotPlan {
        slot,
        import_price: Price::constant(25.0),
        export_price: Price::constant(15.0),
        import: none,
        export: none,
        swing: none,
        pv: none,
        curtailed: none,
        base_load: none,
        charge: none,
        discharge: none,
        battery: none,
        battery_mode: Some(BatteryMode::Hold),
        electricity_value: Price::constant(25.0),
        heaters: vec![HeaterPlan {
            id: HeaterId { store: 0, element: 0 },
            power: Power::constant(3.0),
            minutes: 12.0,
            delay_minutes: 4.0,
            energy: Energy::constant(0.6),
            pv: none,
            battery: none,
            grid: Energy::constant(0.6),
            why: Reason::Stock,
        }],
        stores: vec![],
        circulation: none,
        jobs: vec![],
        told: vec![],
        plant_room: PlantRoomPlan::default(),
    }
}

fn commands(change: impl Fn(&mut SlotPlan)) -> Commands {
    let weather = Weather::still(3, 40.0);
    let mut house = site(store(), None);
    house.stores[0].destratification_pump = true;
    let schedule = Schedule {
        origin: Origin::Optimal,
        evidence: Evidence::Modelled,
        cost: Cost::default(),
        unmet_kwh: 0.0,
        unmet_litres: 0.0,
        short_kwh: 0.0,
        hygiene: vec![Some(Instant::from_unix(1_800))],
        slots: weather
            .horizon
            .slots()
            .iter()
            .map(|slot| {
                let mut plan = plan(*slot);
                change(&mut plan);
                plan
            })
            .collect(),
    };
    let problem = Problem {
        site: house,
        weights: Weights::for_prices(&weather.import_price),
        horizon: weather.horizon,
        import_price: weather.import_price,
        export_price: weather.export_price,
        pv: weather.pv,
        base_load: weather.base_load,
        draws: vec![],
        ready: vec![],
        hygiene: vec![Hygiene {
            store: 0,
            due: Instant::from_unix(5_400),
            temperature: Temperature::constant(60.0),
            hold_seconds: 1_800,
        }],
        ambient: weather.ambient,
        comfort: Comfort::default(),
        state: weather.state,
        end_value: EndValue::default(),
        by_hand: Vec::new(),
        published: None,
    };
    Commands::of(&problem, &schedule)
}

#[test]
fn a_stretch_and_the_pump_are_taken_over() {
    let commands = commands(|_| ());
    let expected = HeaterCommand { power: Power::constant(3.0), minutes: 12.0, delay_minutes: 4.0 };
    assert_eq!(commands.heaters, [[expected; 3]]);
    assert_eq!(commands.pumps, [[false, true, false]]);
    assert_eq!(commands.battery[0], BatteryCommand::HOLD);
}

#[test]
fn planned_battery_energy_becomes_power() {
    let commands = commands(|plan| {
        plan.battery_mode = Some(BatteryMode::Charge);
        plan.charge = Energy::constant(1.25);
    });
    assert_eq!(commands.battery[0].mode, BatteryMode::Charge);
    close(commands.battery[0].power.kw(), 2.5, 1e-12);
}

#[test]
fn pv_stays_off_the_grid_where_export_costs_and_off_where_import_pays() {
    assert_eq!(commands(|_| ()).pv[0], PvUse::Free);
    let at_the_limit = commands(|plan| {
        plan.curtailed = Energy::constant(0.5);
        plan.export = Energy::constant(2.5);
    });
    assert_eq!(at_the_limit.pv[0], PvUse::Free);
    let negative_export = commands(|plan| plan.export_price = Price::constant(-1.0));
    assert_eq!(negative_export.pv[0], PvUse::NoExport);
    let paid_to_import = commands(|plan| {
        plan.import_price = Price::constant(-5.0);
        plan.import = Energy::constant(2.0);
        plan.curtailed = Energy::constant(0.5);
    });
    assert_eq!(paid_to_import.pv[0], PvUse::LastResort);
}
