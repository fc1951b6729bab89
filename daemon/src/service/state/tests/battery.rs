use optimiser::schedule::BatteryMode;

use super::*;
use crate::present::document;
use crate::service::planning::BatteryOrder;
use crate::service::wire::BatterySetPoint;

fn order(mode: BatteryMode, power_w: u32) -> BatteryOrder {
    BatteryOrder { mode, power_w, reason: mode.name().to_owned() }
}

/// Charges in the first slot, gives in the second, holds then.
fn commanded() -> State {
    let battery = vec![
        order(BatteryMode::Charge, 2_000),
        order(BatteryMode::Supply, 0),
        order(BatteryMode::Hold, 0),
        order(BatteryMode::Hold, 0),
    ];
    let settings = Settings { commands_battery: true, ..settings() };
    running_by(settings, Current { battery, ..schedule(&[]) })
}

fn told(effects: Vec<Effect>) -> Vec<BatterySetPoint> {
    let of_battery = |effect| match effect {
        Effect::BatterySetPoint(set_point) => Some(set_point),
        _ => None,
    };
    effects.into_iter().filter_map(of_battery).collect()
}

fn lived(state: &mut State, seconds: std::ops::Range<i64>) -> Vec<BatterySetPoint> {
    let ticks = seconds.step_by(10);
    ticks.flat_map(|second| told(state.apply(at(second), tick()))).collect()
}

#[test]
fn a_battery_that_takes_commands_is_told_what_the_plan_wants_of_it() {
    let mut state = commanded();
    let all = lived(&mut state, 10..3_600);
    let modes = |mode| all.iter().filter(move |s| s.mode == mode).collect::<Vec<_>>();
    let charging = modes(document::BatteryMode::Charge);
    assert!(charging.len() > 15, "refreshed: {}", charging.len());
    assert!(charging.iter().all(|s| s.power_w == 2_000 && s.valid_until.0 <= at(1_800)));
    assert!(!modes(document::BatteryMode::Supply).is_empty());
    let numbers: Vec<u64> = all.iter().map(|s| s.seq).collect();
    assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1), "{numbers:?}");
    for set_point in &all {
        let lasts = set_point.valid_until.0 - set_point.issued_at.0;
        assert!((1..=600).contains(&lasts), "{set_point:?}");
    }
    // Nothing is said into the void, and it is said again when somebody listens.
    state.apply(at(3_600), Event::Link(LinkEvent::Down { cause: "gone".into() }));
    assert_eq!(lived(&mut state, 3_610..3_700), []);
    assert_eq!(told(state.apply(at(3_700), Event::Link(LinkEvent::Up))).len(), 1);
}

#[test]
fn without_a_schedule_or_the_time_of_day_it_regulates_itself() {
    let mut state = commanded();
    let unsure = Event::Tick { clock_is_right: false, step_s: None };
    let said = told(state.apply(at(10), unsure));
    assert_eq!(said[0].mode, document::BatteryMode::Follow);
    assert!(said[0].reason.contains("time of day"), "{}", said[0].reason);
    // The schedule holds until 02:00.
    let late = lived(&mut state, 7_200..7_260);
    assert!(late[0].reason.contains("no schedule"), "{}", late[0].reason);
    let mut state = commanded();
    lived(&mut state, 10..100);
    let bye = told(state.apply(at(100), Event::Stop));
    assert_eq!((bye.len(), bye[0].mode), (1, document::BatteryMode::Follow));
}

#[test]
fn one_that_takes_no_commands_is_left_alone() {
    let battery = vec![order(BatteryMode::Charge, 2_000); 4];
    let mut state = running_by(settings(), Current { battery, ..schedule(&[]) });
    assert_eq!(lived(&mut state, 10..1_800), []);
    assert_eq!(told(state.apply(at(1_800), Event::Stop)), []);
    let shadow = Settings { commands_battery: true, shadow: true, ..settings() };
    let battery = vec![order(BatteryMode::Charge, 2_000); 4];
    let mut state = running_by(shadow, Current { battery, ..schedule(&[]) });
    assert_eq!(lived(&mut state, 10..1_800), []);
}
