//! The rules that stowheat is compared with do what their names say.

use optimiser::replay::baseline::{Kind, Rule, Ruled, Window, settings, tune};
use optimiser::replay::{Ledger, Planning, Run, Settings, Stage, Timeline};
use optimiser::units::{Temperature, Volume};

use super::{celsius, house, record, start, timeline, weekly_hygiene};

fn run(timeline: &Timeline, rule: Rule, dial: Temperature) -> (Run, Ledger) {
    let site = house();
    let stage = Stage::new(&site, timeline, &start()).expect("a stage");
    let mut ruled = Ruled::new(&site, rule, dial, None, false);
    let run = stage.run(&mut ruled, &mut |_| {});
    let ledger = Ledger::of(&stage, &run, 0..stage.horizon().len());
    (run, ledger)
}

fn slots_on(run: &Run, element: usize, slots: std::ops::Range<usize>) -> usize {
    run.commands.heaters[element][slots].iter().filter(|command| command.minutes > 0.0).count()
}

#[test]
fn a_thermostat_with_power_enough_leaves_nobody_cold() {
    let (_, ledger) = run(&timeline(record(5)), Rule::Thermostat, celsius(60.0));
    assert!(ledger.taps.asked_kwh > 15.0, "{:?}", ledger.taps);
    assert!(ledger.taps.unmet_kwh < 1e-9, "{:?}", ledger.taps);
    assert_eq!(ledger.taps.failed, 0);
}

#[test]
fn the_cheapest_six_half_hours_are_six_each_day_and_the_cheapest() {
    let record = record(4);
    let first = record.judged.start;
    let timeline = timeline(record.clone());
    let (run, _) = run(&timeline, Rule::CheapestSlots(6), celsius(70.0));
    for day in 0..4 {
        let slots = day * 48..(day + 1) * 48;
        assert_eq!(slots_on(&run, 0, slots.clone()), 6);
        let on = |slot: &usize| run.commands.heaters[0][*slot].minutes > 0.0;
        let paid = |slot: usize| record.import_price[first + slot].expect("a price");
        let dearest_on =
            slots.clone().filter(on).map(paid).fold(paid(0), |a, b| if b > a { b } else { a });
        let cheaper = slots.filter(|slot| paid(*slot) < dearest_on).count();
        assert!(cheaper <= 6, "{cheaper} half-hours are cheaper than one that was chosen");
    }
}

#[test]
fn a_timer_heats_in_its_window_only() {
    let window = Window { from: 46, length: 6 };
    let (run, _) = run(&timeline(record(3)), Rule::Timer(window), celsius(60.0));
    for slot in 0..3 * 48 {
        let inside = slot % 48 >= 46 || slot % 48 < 4;
        assert_eq!(run.commands.heaters[0][slot].minutes > 0.0, inside, "slot {slot}");
    }
}

#[test]
fn a_rule_proves_its_pasteurisation_in_time() {
    let mut record = record(7);
    record.hygiene = vec![weekly_hygiene()];
    let window = Window { from: 2, length: 6 };
    let (run, _) = run(&timeline(record), Rule::Timer(window), celsius(50.0));
    assert!(run.holds[0].len() >= 2, "{:?}", run.holds);
}

#[test]
fn stowheat_proves_every_pasteurisation_in_time() {
    let mut record = record(8);
    record.hygiene = vec![weekly_hygiene()];
    let (site, timeline) = (house(), timeline(record));
    let stage = Stage::new(&site, &timeline, &start()).expect("a stage");
    let run = stage.run(&mut Planning::new(&site, Settings::default()), &mut |_| {});
    let mut last = stage.horizon().start();
    for hold in &run.holds[0] {
        assert!(hold.hours_since(last) <= 72.0, "{:?}", run.holds);
        last = *hold;
    }
    assert!(stage.horizon().end().hours_since(last) <= 72.0, "{:?}", run.holds);
}

#[test]
fn tuning_finds_settings_that_keep_the_water_hot() {
    let timeline = timeline(record(7));
    let site = house();
    let stage = Stage::new(&site, &timeline, &start()).expect("a stage");
    let worth = stage.stored_worth();
    for kind in Kind::ALL {
        let tuned = tune(&stage, kind, 0.001, worth).expect("every rule makes sense here");
        assert!(
            tuned.comfortable,
            "{} leaves {} kWh unmet",
            kind.name(),
            tuned.run.outcome.unmet_kwh()
        );
    }
}

/// The best of all settings, each lived through slot by slot to its end.
fn plainly_tuned(stage: &Stage<'_>, kind: Kind, allowed: f64) -> (String, Run, bool) {
    let worth = stage.stored_worth();
    let all = settings(stage, kind).into_iter().map(|mut ruled| {
        let run = stage.run(&mut ruled, &mut |_| {});
        let ledger = Ledger::of(stage, &run, 0..stage.horizon().len());
        let warm = ledger.is_comfortable(allowed);
        let measure = if warm { ledger.cost(worth) } else { ledger.discomfort() };
        (ruled.to_string(), run, warm, measure)
    });
    let better = |a: &(String, Run, bool, f64), b: &(String, Run, bool, f64)| {
        b.2.cmp(&a.2).then(a.3.total_cmp(&b.3))
    };
    let (ruled, run, warm, _) = all.min_by(better).expect("settings");
    (ruled, run, warm)
}

#[test]
fn tuning_finds_what_trying_every_setting_to_its_end_finds() {
    // With a pasteurisation and without, with comfort that can be kept and not; all hours
    // of the clock once only, for there are many.
    let few = [Kind::Thermostat, Kind::CheapestSlots, Kind::Threshold];
    let cases: [(_, _, _, _, &[Kind]); 3] =
        [(3, false, 0.001, 1.0, &few), (4, true, 0.02, 1.0, &Kind::ALL), (3, true, 0.0, 2.5, &few)];
    for (days, hygiene, allowed, heat, kinds) in cases {
        let mut record = record(days);
        if hygiene {
            record.hygiene = vec![weekly_hygiene()];
        }
        for draw in &mut record.draws {
            draw.volume = Volume::new(heat * draw.volume.litres()).expect("litres");
        }
        let (site, timeline) = (house(), timeline(record));
        let stage = Stage::new(&site, &timeline, &start()).expect("a stage");
        for &kind in kinds {
            let (ruled, run, warm) = plainly_tuned(&stage, kind, allowed);
            let tuned = tune(&stage, kind, allowed, stage.stored_worth()).expect("a setting");
            assert_eq!(tuned.ruled.to_string(), ruled, "{days} days");
            assert_eq!(tuned.comfortable, warm, "{days} days, {ruled}");
            assert!(tuned.run == run, "{days} days, {ruled}: other runs");
        }
    }
}
