//! The check of schedules: a sound plan is spoilt in one place, and exactly the
//! rules that this breaks are reported.

use optimiser::check::violations;
use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::problem::{ByHand, Guard, HeaterId, Problem, Watch};
use optimiser::schedule::{Evidence, SlotPlan};
use optimiser::site::Control;
use optimiser::time::Series;
use optimiser::units::{Energy, Power, Temperature};
use stowheat_tests::houses::{MONDAY, battery, celsius, day, draw, element, kw, kwh, price, store};

/// A battery that may do nothing but serve the house, sun, and one element at
/// half-time in slot 2.
fn sound() -> (Problem, Planned) {
    let mut cylinder = store(200.0, vec![element("e", 3.0, 0.0)]);
    cylinder.heat_loss = optimiser::units::HeatLoss::constant(2.0);
    let mut problem = day(vec![cylinder], &[30.0, 30.0, 10.0, 30.0, 30.0, 30.0]);
    problem.base_load = Series::constant(&problem.horizon, kwh(0.5));
    let sun = [0.0, 0.0, 0.0, 2.0, 0.0, 0.0].map(kwh).to_vec();
    problem.pv = Series::new("pv", &problem.horizon, sun).expect("six slots");
    problem.draws.push(draw(1.5, 25.0));
    problem.site.battery = Some(optimiser::site::Battery {
        charges_from_grid: false,
        exports: false,
        feeds_heaters: false,
        reserve: kwh(0.5),
        ..battery()
    });
    problem.state.battery = kwh(2.0);
    let problem = problem.validated().expect("a valid problem");
    match Planner::default().with_effort(Effort::NONE).plan(&problem) {
        Outcome::Planned(planned) => (problem, *planned),
        other => panic!("no plan: {other:?}"),
    }
}

fn broken(problem: &Problem, planned: &Planned) -> Vec<&'static str> {
    let found = violations(problem, &planned.schedule, Some(&planned.solution));
    let mut rules: Vec<&str> = found.iter().map(|v| v.rule).collect();
    rules.sort_unstable();
    rules.dedup();
    rules
}

/// Spoils one slot of the sound plan.
fn spoilt(slot: usize, spoil: impl Fn(&mut SlotPlan)) -> Vec<&'static str> {
    let (problem, mut planned) = sound();
    spoil(&mut planned.schedule.slots[slot]);
    broken(&problem, &planned)
}

fn more(energy: &mut Energy, by: f64) {
    *energy = kwh(energy.kwh() + by);
}

const NODE: &str = "what flows in flows out";
const IMPORT_MONEY: &str = "import costs what the slots add up to";
const INCOME: &str = "export earns what the slots add up to";
const WEAR: &str = "wear costs what the slots add up to";
const LEVEL: &str = "its level follows its flows";

#[test]
fn a_sound_plan_breaks_no_rule() {
    let (problem, planned) = sound();
    assert!(broken(&problem, &planned).is_empty());
    assert!(planned.schedule.slots[2].heaters[0].energy.kwh() > 0.5);
    assert!(planned.schedule.slots[3].charge.kwh() > 0.5);
    assert!(planned.schedule.slots[0].discharge.kwh() > 0.4);
}

#[test]
fn what_is_spoilt_at_the_node_is_found() {
    assert_eq!(spoilt(1, |s| more(&mut s.base_load, 0.2)), ["it is the load of the problem", NODE]);
    assert_eq!(spoilt(2, |s| more(&mut s.import, 0.2)), [IMPORT_MONEY, NODE]);
    assert_eq!(
        spoilt(3, |s| more(&mut s.curtailed, 0.2)),
        ["used and curtailed make the forecast"]
    );
    assert_eq!(
        spoilt(2, |s| s.import_price = s.export_price),
        [IMPORT_MONEY, "it is the price of the problem"]
    );
    let later = |s: &mut SlotPlan| {
        let by = s.slot.seconds();
        s.slot =
            optimiser::time::Slot::new(s.slot.start() + by, s.slot.end() + by).expect("a slot");
    };
    assert_eq!(spoilt(5, later), ["its slots are those of the horizon"]);
}

#[test]
fn what_is_spoilt_at_the_meter_is_found() {
    // Both registers at once, in balance.
    let both = |s: &mut SlotPlan| {
        more(&mut s.import, 0.2);
        more(&mut s.export, 0.2);
    };
    let found = spoilt(2, both);
    assert!(found.contains(&"import or export, not both"), "{found:?}");
    assert!(!found.contains(&NODE));
    let swing = |s: &mut SlotPlan| s.swing = kwh(0.2);
    let only = "only a switched element or a battery that stops passes both ways";
    assert!(spoilt(2, swing).contains(&only));
    let (mut problem, planned) = sound();
    problem.site.grid.import_limit = kw(2.0);
    assert_eq!(
        broken(&problem, &planned),
        ["import is within the limit at every instant"],
        "half an hour's mean is within 2 kW, the element at 3 kW is not"
    );
    problem.site.grid.import_limit = kw(0.5);
    assert!(broken(&problem, &planned).contains(&"import is within the limit"));
    let (mut problem, mut planned) = sound();
    let slot = &mut planned.schedule.slots[3];
    let spare = slot.charge.kwh();
    slot.charge = kwh(0.0);
    more(&mut slot.export, spare);
    problem.site.grid.export_limit = kw(0.1);
    let found = broken(&problem, &planned);
    assert!(found.contains(&"export is within the limit"), "{found:?}");
    assert!(found.contains(&INCOME) || problem.export_price[3].per_kwh().abs() < 1e-9);
}

#[test]
fn what_is_spoilt_at_the_battery_is_found() {
    assert_eq!(spoilt(5, |s| more(&mut s.battery, 0.2)), [LEVEL]);
    let both = |s: &mut SlotPlan| {
        more(&mut s.charge, 0.1);
        more(&mut s.discharge, 0.1);
    };
    let found = spoilt(0, both);
    assert!(found.contains(&"charge or discharge, not both"), "{found:?}");
    let from_grid = |s: &mut SlotPlan| {
        more(&mut s.charge, 0.3);
        more(&mut s.import, 0.3);
    };
    assert!(spoilt(2, from_grid).contains(&"it does not charge from the grid"));
    let to_heater = |s: &mut SlotPlan| {
        more(&mut s.discharge, 0.3);
        s.import = kwh(s.import.kwh() - 0.3);
    };
    let found = spoilt(2, to_heater);
    assert!(found.contains(&"it does not feed heaters") && found.contains(&WEAR), "{found:?}");
    let to_grid = |s: &mut SlotPlan| {
        more(&mut s.discharge, 0.3);
        more(&mut s.export, 0.3);
    };
    assert!(spoilt(0, to_grid).contains(&"it does not export"));
    let (mut problem, planned) = sound();
    let battery = problem.site.battery.as_mut().expect("a battery");
    battery.charge_limit = kw(0.1);
    assert_eq!(broken(&problem, &planned), ["it charges within its power"]);
    let battery = problem.site.battery.as_mut().expect("a battery");
    (battery.charge_limit, battery.discharge_limit) = (kw(5.0), kw(0.1));
    assert_eq!(broken(&problem, &planned), ["it discharges within its power"]);
    let battery = problem.site.battery.as_mut().expect("a battery");
    (battery.discharge_limit, battery.capacity) = (kw(5.0), kwh(1.2));
    assert!(broken(&problem, &planned).contains(&"it stays within its capacity"));
    let battery = problem.site.battery.as_mut().expect("a battery");
    (battery.capacity, battery.reserve) = (kwh(10.0), kwh(1.5));
    assert_eq!(broken(&problem, &planned), ["it stays above its reserve"]);
    problem.site.battery = None;
    assert!(broken(&problem, &planned).contains(&"there is none"));
}

#[test]
fn what_is_spoilt_at_an_element_is_found() {
    let on =
        |spoil: fn(&mut optimiser::schedule::HeaterPlan)| spoilt(2, |s| spoil(&mut s.heaters[0]));
    assert_eq!(on(|h| h.delay_minutes = 29.0), ["its run fits the slot"]);
    assert_eq!(on(|h| more(&mut h.pv, 0.2)), ["its sources add up to its energy"]);
    assert_eq!(on(|h| h.minutes -= 5.0), ["energy is power times time"]);
    let weaker = |h: &mut optimiser::schedule::HeaterPlan| {
        h.power = Power::constant(2.9);
        h.minutes = h.energy.kwh() / 2.9 * 60.0;
    };
    assert_eq!(on(weaker), ["it runs at a power it has"]);
    let stronger = |h: &mut optimiser::schedule::HeaterPlan| {
        h.power = Power::constant(3.1);
        h.minutes = h.energy.kwh() / 3.1 * 60.0;
    };
    let found = on(stronger);
    assert_eq!(found, ["it runs at a power it has", "its power is within its rating"]);
    let (mut problem, planned) = sound();
    problem.site.stores[0].elements[0].control = Control::Staged(vec![kw(1.0), kw(3.0)]);
    assert!(broken(&problem, &planned).is_empty(), "full power is a stage");
    let nameless = |s: &mut SlotPlan| s.heaters[0].id.element = 1;
    assert!(spoilt(2, nameless).contains(&"it names every heater once"));
}

#[test]
fn what_is_spoilt_in_a_store_is_found() {
    let hot = |s: &mut SlotPlan| s.stores[0].top = Temperature::constant(66.0);
    assert_eq!(spoilt(4, hot), ["it stays below its ceiling"]);
    let ladder = |spoil: &dyn Fn(&mut Vec<f64>)| {
        let (problem, mut planned) = sound();
        spoil(&mut planned.solution.slots[5].stores[0].litres[0]);
        broken(&problem, &planned)
    };
    assert_eq!(
        ladder(&|litres| litres[0] = 201.0),
        ["no heat comes from nothing", "no zone holds more than its volume"]
    );
    let (problem, mut planned) = sound();
    let litres = &mut planned.solution.slots[2].stores[0].litres[0];
    litres[1] = litres[0] + 5.0;
    let found = broken(&problem, &planned);
    assert!(found.contains(&"warmer water is part of warm water"), "{found:?}");
    let (problem, mut planned) = sound();
    planned.solution.slots[2].stores[0].litres[0].fill(0.0);
    let found = broken(&problem, &planned);
    assert!(found.contains(&"it loses no more than it can stand and circulate"), "{found:?}");
    let (problem, mut planned) = sound();
    planned.schedule.slots.pop();
    assert_eq!(broken(&problem, &planned), ["it has a slot for each slot of the horizon"]);
}

#[test]
fn money_that_does_not_add_up_is_found() {
    let money = |spoil: fn(&mut optimiser::schedule::Cost)| {
        let (problem, mut planned) = sound();
        spoil(&mut planned.schedule.cost);
        broken(&problem, &planned)
    };
    assert_eq!(money(|c| c.import += 1.0), [IMPORT_MONEY]);
    assert_eq!(money(|c| c.export_income += 1.0), [INCOME]);
    assert_eq!(money(|c| c.wear += 1.0), [WEAR]);
    assert_eq!(money(|c| c.wear = f64::NAN), [WEAR]);
}

/// A house in the sun whose guard wakes for two draws in the first slot, the second time
/// beside the lower element, which is held on by hand from then on.
fn guarded(battery_feeds: bool) -> Problem {
    let cylinder = store(200.0, vec![element("bottom", 3.0, 0.0), element("top", 3.0, 0.6)]);
    let mut problem = day(vec![cylinder], &[40.0, 30.0, 30.0, 30.0, 30.0, 30.0]);
    // No heat is to be made of the sun but by the guard.
    let export = price(if battery_feeds { 5.0 } else { 35.0 });
    problem.export_price = Series::constant(&problem.horizon, export);
    let base = [0.0, 1.0, 1.0, 1.0, 1.0, 1.0].map(kwh).to_vec();
    problem.base_load = Series::new("base", &problem.horizon, base).expect("six slots");
    let sun = [2.0, 0.0, 0.0, 0.0, 0.0, 0.0].map(kwh).to_vec();
    problem.pv = Series::new("pv", &problem.horizon, sun).expect("six slots");
    problem.draws = vec![draw(0.0, 12.0), draw(20.0 / 60.0, 12.0)];
    let top = HeaterId { store: 0, element: 1 };
    let watches = Series::constant(&problem.horizon, Some(Watch::Dial(celsius(45.0))));
    problem.comfort.guards = vec![Guard { heater: top, watches }];
    problem.by_hand = vec![ByHand {
        heater: HeaterId { store: 0, element: 0 },
        from: MONDAY + 1_200,
        until: MONDAY + 1_800,
        on: true,
    }];
    problem.state.stores =
        vec![(0..20).map(|layer| celsius(if layer < 12 { 10.0 } else { 46.0 })).collect()];
    if battery_feeds {
        problem.site.battery = Some(battery());
        problem.state.battery = kwh(0.5);
    }
    problem.validated().expect("a valid problem")
}

// A schedule states one run of each element, so it cannot say that the guard ran twice.
// What then passes battery or meter both ways was refused.
#[test]
fn a_guard_that_wakes_twice_breaks_no_rule() {
    for battery_feeds in [true, false] {
        let problem = guarded(battery_feeds);
        // A longer search would have the guard wake once.
        let hasty = Effort { simulations: 100, ..Effort::STEP };
        let Outcome::Planned(planned) = Planner::default().with_effort(hasty).plan(&problem) else {
            panic!("there is a plan");
        };
        let first = &planned.schedule.slots[0];
        let both = if battery_feeds {
            first.charge.kwh().min(first.discharge.kwh())
        } else {
            first.swing.kwh()
        };
        assert!(both > 0.05, "{both} kWh go both ways: {first:?}");
        assert!(matches!(planned.schedule.evidence, Evidence::Simulated { .. }));
        // More than the sun leaves or elements use passes nothing both ways.
        let mut spoilt = planned.schedule.clone();
        let slot = &mut spoilt.slots[0];
        if battery_feeds {
            more(&mut slot.charge, 2.0);
            more(&mut slot.discharge, 2.0);
        } else {
            slot.swing = kwh(2.1);
        }
        let found = violations(&problem, &spoilt, None);
        let rules = [
            "charge or discharge, not both",
            "only a switched element or a battery that stops passes both ways",
        ];
        assert!(found.iter().any(|own| rules.contains(&own.rule)), "{found:?}");
    }
}
