use super::*;

// A plan made within the half-hour must not put a start off again and again.
#[test]
fn plans_within_a_slot_do_not_postpone_the_start() {
    let mut state = running(&[0]);
    let offset = start_offset_s("Mill House");
    assert!(offset > 20, "the name was chosen for it");
    let mut fresh = schedule(&[0]);
    let begin = offset - 10;
    fresh.issued_at = at(begin);
    let first = &mut fresh.schedule.slots[0];
    first.slot = Slot::new(at(begin), at(1_800)).expect("a slot");
    state.apply(at(begin), Event::Planned(Ok(fresh)));
    let told = run(&mut state, begin + 10, begin + 30, warming);
    assert_eq!(told.last().map(|s| s.power_w), Some(3_000));
}

// A few seconds between two runs are not worth switching twice; minutes are.
#[test]
fn a_short_pause_is_bridged() {
    let changes = |minutes: f64| {
        let mut plan = schedule(&[0, 1]);
        plan.schedule.slots[0].heaters[0].minutes = minutes;
        let mut state = running_by(Settings { start_offset: false, ..settings() }, plan);
        starts(&run(&mut state, 0, 3_700, warming))
    };
    assert_eq!(changes(29.5).iter().map(|(at, _)| *at).collect::<Vec<_>>(), [90, 3_600]);
    assert_eq!(changes(20.0).len(), 4, "on, off, on, off");
}

// Contacts wear by switching: schedules that change their mind within minutes do not
// reach an element, unless the network limits the house or something else decides.
#[test]
fn schedules_that_change_at_once_do_not_switch_an_element() {
    let prompt = || Settings { start_offset: false, ..settings() };
    let planned = |state: &mut State, second, current| {
        state.apply(at(second), Event::Planned(Ok(current)));
        state.told[&HEATER]
    };
    let ticked = |state: &mut State, second| {
        state.apply(at(second), tick());
        state.told[&HEATER]
    };
    let mut state = running_by(prompt(), schedule(&[0]));
    assert_eq!(state.told[&HEATER], 3_000);
    assert_eq!(planned(&mut state, 60, schedule(&[])), 3_000);
    assert_eq!(ticked(&mut state, 290), 3_000);
    assert_eq!(ticked(&mut state, 301), 0);
    assert_eq!(planned(&mut state, 320, schedule(&[0])), 0);
    assert_eq!(ticked(&mut state, 605), 3_000);
    let limited = Current { is_limited: true, ..schedule(&[]) };
    assert_eq!(planned(&mut state, 620, limited), 0, "a limit does not wait");
}
