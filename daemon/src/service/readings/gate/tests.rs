use optimiser::units::{Power, Volume};
use proptest::prelude::*;

use super::*;

fn at(seconds: i64) -> Instant {
    Instant::from_unix(1_750_000_000 + seconds)
}

fn live(payload: &str) -> Arrival<'_> {
    Arrival { payload: payload.as_bytes(), retained: false }
}

/// A probe in a 250 L store with 6 kW, 50 L of it around the probe.
fn probe() -> Gate {
    let litres = |litres| Volume::new(litres).expect("a volume");
    let limits = Limits::of_probe(Power::constant(6.0), litres(50.0), litres(250.0));
    Gate::new(Shape::Plain, "°C".parse().expect("a unit"), limits)
}

fn stamped(limits: Limits, unit: &str) -> Gate {
    let shape = Shape::Json { value: "/v".into(), time: Some("/t".into()) };
    Gate::new(shape, unit.parse().expect("a unit"), limits)
}

fn with_time(value: f64, time: Instant) -> String {
    format!(r#"{{"v":{value},"t":{}}}"#, time.unix())
}

fn kind(verdict: Verdict) -> Result<f64, Kind> {
    match verdict {
        Verdict::Accepted(reading, _) => Ok(reading.value),
        Verdict::Refused(fault) => Err(fault.kind),
    }
}

fn each_minute(gate: &mut Gate, payloads: &[&str]) -> Vec<Result<f64, Kind>> {
    (0..).zip(payloads).map(|(i, p)| kind(gate.accept(at(60 * i), live(p)))).collect()
}

// C41: common practice, no published source.
#[test]
fn eighty_five_is_believed_only_among_its_like() {
    let seen = each_minute(&mut probe(), &["48.2", "48.1", "85.0", "48.0"]);
    assert_eq!(seen, [Ok(48.2), Ok(48.1), Err(Kind::Sentinel), Ok(48.0)]);
    let seen = each_minute(&mut probe(), &["83.1", "84.2", "85.0", "85.7"]);
    assert_eq!(seen, [Ok(83.1), Ok(84.2), Ok(85.0), Ok(85.7)]);
    assert_eq!(each_minute(&mut probe(), &["85.0", "85"]), [Err(Kind::Sentinel); 2]);
}

#[test]
fn sentinels_and_absent_probes_are_never_temperatures() {
    let seen =
        each_minute(&mut probe(), &["50", "-127", "127", "0", "0.0", "65535", "-0.4", "50.1"]);
    let sentinel = Err(Kind::Sentinel);
    assert_eq!(
        seen,
        [
            Ok(50.0),
            sentinel,
            sentinel,
            sentinel,
            sentinel,
            sentinel,
            Err(Kind::OutOfRange),
            Ok(50.1)
        ]
    );
}

// Failure case 3: the probe talks nonsense while the element is on.
#[test]
fn nonsense_leaves_the_last_reading_to_grow_old() {
    let mut gate = probe();
    assert_eq!(kind(gate.accept(at(0), live("50"))), Ok(50.0));
    for (i, payload) in (1..).zip(["nan", "NaN", "inf", "1e999", "", "unavailable"]) {
        assert!(kind(gate.accept(at(60 * i), live(payload))).is_err());
    }
    assert!(matches!(gate.freshness(at(900)), Freshness::Fresh(_)));
    // C42: silent for more than 15 minutes.
    assert!(matches!(gate.freshness(at(901)), Freshness::Stale { age_s: 901, .. }));
    assert_eq!(gate.refused()[&Kind::NotFinite], 4);
    assert_eq!(gate.refused()[&Kind::Unavailable], 2);
    assert!(matches!(probe().freshness(at(0)), Freshness::Missing));
}

// Failure case 4: frozen while 6 kW run. 250 L warm by 10 K with 2.9 kWh.
#[test]
fn a_frozen_probe_is_found_by_the_heat_that_went_in() {
    let mut gate = probe();
    let mut stopped_after = None;
    for minute in 0..360 {
        let verdict = gate.accept(at(60 * minute), live("50.0"));
        gate.heated(0.1);
        if stopped_after.is_none() && gate.is_heat_spent() {
            stopped_after = Some(minute);
        }
        assert_eq!(kind(verdict).is_err(), minute > 29, "minute {minute}");
    }
    assert_eq!(stopped_after, Some(29), "2.9075 kWh at 0.1 kWh a minute");
    assert_eq!(kind(gate.accept(at(21_600), live("51.0"))), Ok(51.0));
    assert!(!gate.is_heat_spent());
}

// C42: no message at all must stop the heat as well.
#[test]
fn heat_is_spent_without_a_single_message() {
    let mut gate = probe();
    gate.heated(3.0);
    assert!(gate.is_heat_spent());
}

#[test]
fn a_real_jump_is_believed_after_three_witnesses() {
    let seen = each_minute(&mut probe(), &["30", "55", "55.2", "55.1", "55.3"]);
    let steep = Err(Kind::TooSteep);
    assert_eq!(seen, [Ok(30.0), steep, steep, Ok(55.1), Ok(55.3)]);
}

// Failure case 21: a meter that changes its unit overnight.
#[test]
fn a_thousand_fold_jump_is_named() {
    let limits = Limits::of_power(Power::constant(18.4));
    let mut gate = Gate::new(Shape::Plain, "W".parse().expect("a unit"), limits);
    let seen = each_minute(&mut gate, &["354", "354000", "375"]);
    assert_eq!(seen, [Ok(0.354), Err(Kind::ThousandFold), Ok(0.375)]);
    let far = kind(gate.accept(at(300), live("999999999")));
    assert_eq!(far, Err(Kind::OutOfRange));
}

// Failure case 22: the register drops to zero for hours and comes back.
#[test]
fn a_counter_that_resets_credits_nothing() {
    let limits = Limits::of_counter(Power::constant(18.4));
    let mut gate = Gate::new(Shape::Plain, "kWh".parse().expect("a unit"), limits);
    let mut total = 0.0;
    let mut kinds = Vec::new();
    for (i, payload) in (0..).zip(["413.0", "413.2", "0", "0", "0", "0", "0", "413.7", "414.0"]) {
        match gate.accept(at(600 * i), live(payload)) {
            Verdict::Accepted(reading, _) => total += reading.added,
            Verdict::Refused(fault) => kinds.push(fault.kind),
        }
    }
    assert_eq!(kinds, [Kind::CounterReset; 5]);
    assert!((total - 1.0).abs() < 1e-9, "{total}");
    // A new meter starts at zero and counts: believed, without crediting the step.
    let mut added = Vec::new();
    for (i, payload) in (9..).zip(["0.1", "0.2", "0.3", "0.4"]) {
        if let Verdict::Accepted(reading, _) = gate.accept(at(600 * i), live(payload)) {
            added.push((reading.added * 10.0).round() / 10.0);
        }
    }
    assert_eq!(added, [0.0, 0.1]);
}

// Failure case 23: single samples of 0, 100 % and 65535.
#[test]
fn a_charge_cannot_jump() {
    let limits = Limits::of_charge(Power::constant(5.0), 10.0);
    let mut gate = Gate::new(Shape::Plain, "%".parse().expect("a unit"), limits);
    let seen = each_minute(&mut gate, &["55", "0", "55.5", "100", "56", "65535", "56.5"]);
    let steep = Err(Kind::TooSteep);
    let (a, b, c, d) = (Ok(0.55), Ok(0.555), Ok(0.56), Ok(0.565));
    for (seen, expected) in seen.iter().zip([a, steep, b, steep, c, Err(Kind::Sentinel), d]) {
        match (seen, expected) {
            (Ok(x), Ok(y)) => assert!((x - y).abs() < 1e-9),
            (seen, expected) => assert_eq!(*seen, expected),
        }
    }
}

// Failure case 24.
#[test]
fn shuffled_and_repeated_readings_end_like_ordered_ones() {
    let limits = probe().limits;
    let run = |order: &[i64]| {
        let mut gate = stamped(limits, "°C");
        for minute in order {
            let payload = with_time(50.0 + 0.5 * *minute as f64, at(60 * minute));
            gate.accept(at(600), live(&payload));
        }
        gate.freshness(at(600))
    };
    let ordered = run(&[0, 1, 2, 3, 4, 5]);
    assert!(matches!(ordered, Freshness::Fresh(reading) if reading.at == at(300)));
    assert_eq!(run(&[1, 0, 0, 3, 2, 5, 5, 4]), ordered);
}

// Failure case 25.
#[test]
fn a_skewed_clock_is_told_and_the_arrival_counts() {
    let limits = probe().limits;
    let mut ahead = stamped(limits, "°C");
    let payload = with_time(50.0, at(7_200));
    let verdict = ahead.accept(at(0), live(&payload));
    let Verdict::Accepted(reading, Some(note)) = verdict else { panic!("{verdict:?}") };
    assert_eq!((reading.at, note.kind), (at(0), Kind::SkewedClock));
    // Once the clock is right again it is believed at once.
    assert_eq!(kind(ahead.accept(at(60), live(&with_time(50.1, at(60))))), Ok(50.1));

    let mut behind = stamped(limits, "°C");
    let seen: Vec<_> = (0..3)
        .map(|i| behind.accept(at(60 * i), live(&with_time(50.0, at(60 * i - 7_200)))))
        .collect();
    assert!(matches!(&seen[0], Verdict::Refused(fault) if fault.kind == Kind::TooOld));
    for (i, verdict) in (1..).zip(&seen[1..]) {
        let Verdict::Accepted(reading, Some(note)) = verdict else { panic!("{verdict:?}") };
        assert_eq!((reading.at, note.kind), (at(60 * i), Kind::SkewedClock));
    }
}

#[test]
fn a_queue_that_empties_is_old_and_not_skewed() {
    let mut gate = stamped(probe().limits, "°C");
    for minute in 0..100 {
        let payload = with_time(50.0, at(60 * minute - 7_200));
        assert_eq!(kind(gate.accept(at(0), live(&payload))), Err(Kind::TooOld));
    }
}

#[test]
fn a_retained_reading_must_tell_its_age() {
    let kept = |payload| Arrival { payload, retained: true };
    assert_eq!(kind(probe().accept(at(0), kept(b"50"))), Err(Kind::RetainedOfUnknownAge));
    let mut gate = stamped(probe().limits, "°C");
    let old = with_time(50.0, at(-1_000));
    assert_eq!(kind(gate.accept(at(0), kept(old.as_bytes()))), Err(Kind::TooOld));
    assert_eq!(kind(gate.accept(at(60), kept(old.as_bytes()))), Err(Kind::TooOld));
    let recent = with_time(50.0, at(-100));
    assert_eq!(kind(gate.accept(at(60), kept(recent.as_bytes()))), Ok(50.0));
}

#[test]
fn every_fault_has_its_own_name_and_says_what_helps() {
    let names: std::collections::BTreeSet<_> = Kind::ALL.iter().map(|k| k.name()).collect();
    assert_eq!(names.len(), Kind::ALL.len());
    let Verdict::Refused(fault) = probe().accept(at(0), live("-127")) else { panic!("refused") };
    assert_eq!(
        fault.to_string(),
        "-127 is what devices send when they have no value; check the probe and its wiring"
    );
}

// Failure case 26.
proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn no_payload_panics_and_nothing_impossible_gets_in(
        payloads in prop::collection::vec(
            prop_oneof![
                prop::collection::vec(any::<u8>(), 0..64),
                r#"\{"v":(-?[0-9]{1,4}(\.[0-9])?|null|"[a-z0-9.]{0,6}"),"t":-?[0-9]{1,13}\}"#
                    .prop_map(String::into_bytes),
                r#"\[\{"bn":"a","n":"b","v":[0-9]{1,3},"t":-?[0-9e]{1,8}\}\]"#
                    .prop_map(String::into_bytes),
                any::<f64>().prop_map(|x| x.to_string().into_bytes()),
                (0.0..100.0_f64).prop_map(|x| x.to_string().into_bytes()),
            ],
            1..20,
        ),
        shape in 0..3,
        retained: bool,
        step in 0..100_i64,
    ) {
        let shape = match shape {
            0 => Shape::Plain,
            1 => Shape::Json { value: "/v".into(), time: Some("/t".into()) },
            _ => Shape::SenMl { name: "ab".into() },
        };
        let mut gate = Gate::new(shape, "°C".parse().expect("a unit"), probe().limits);
        for (i, payload) in (0..).zip(&payloads) {
            let verdict = gate.accept(at(i * step), Arrival { payload, retained });
            if let Verdict::Accepted(reading, _) = verdict {
                prop_assert!((1.0..=100.0).contains(&reading.value));
                prop_assert!(reading.at <= at(i * step));
            }
        }
    }
}
