use proptest::prelude::*;

use super::*;

const ZONES: [Tz; 8] = [
    Tz::Europe__London,
    Tz::Europe__Brussels,
    Tz::Australia__Melbourne,
    Tz::Australia__Lord_Howe,
    Tz::Atlantic__Azores,
    Tz::America__Havana,
    Tz::Asia__Kathmandu,
    Tz::UTC,
];

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn time(text: &str) -> NaiveTime {
    NaiveTime::parse_from_str(text, "%H:%M").expect("a time")
}

fn count(day: &str, zone: Tz, seconds: i64) -> usize {
    day_slots(date(day), zone, seconds).len()
}

// TT-01 and C34: Elexon glossary, "Settlement Period". TT-04: dates of the
// change recomputed from the IANA time-zone database. TT-06: 96, 92 or 100
// quarter-hours in the European day-ahead market.
#[test]
fn change_days_in_europe() {
    for zone in [Tz::Europe__London, Tz::Europe__Brussels] {
        for day in ["2025-03-30", "2026-03-29", "2027-03-28", "2028-03-26"] {
            assert_eq!(count(day, zone, 1_800), 46, "{day} {zone}");
            assert_eq!(count(day, zone, 900), 92, "{day} {zone}");
            assert_eq!(count(day, zone, 3_600), 23, "{day} {zone}");
        }
        for day in ["2025-10-26", "2026-10-25", "2027-10-31", "2028-10-29"] {
            assert_eq!(count(day, zone, 1_800), 50, "{day} {zone}");
            assert_eq!(count(day, zone, 900), 100, "{day} {zone}");
            assert_eq!(count(day, zone, 3_600), 25, "{day} {zone}");
        }
        assert_eq!(count("2026-07-01", zone, 1_800), 48);
        assert_eq!(count("2026-07-01", zone, 900), 96);
        let changes = |year: i32| {
            NaiveDate::from_ymd_opt(year, 1, 1)
                .expect("a date")
                .iter_days()
                .take(365)
                .filter(|day| day_slots(*day, zone, 1_800).len() != 48)
                .count()
        };
        assert_eq!((changes(2025), changes(2026)), (2, 2));
    }
}

// From the IANA time-zone database; Lord Howe shifts by 30 minutes.
#[test]
fn change_days_in_australia() {
    let melbourne = Tz::Australia__Melbourne;
    assert_eq!(count("2025-04-06", melbourne, 1_800), 50);
    assert_eq!(count("2025-10-05", melbourne, 1_800), 46);
    assert_eq!(count("2026-04-05", melbourne, 900), 100);
    assert_eq!(count("2026-10-04", melbourne, 900), 92);
    let lord_howe = Tz::Australia__Lord_Howe;
    assert_eq!(count("2025-04-06", lord_howe, 1_800), 49);
    assert_eq!(count("2025-10-05", lord_howe, 1_800), 47);
    assert_eq!(count("2026-04-05", lord_howe, 900), 98);
    assert_eq!(count("2026-10-04", lord_howe, 900), 94);
    let hours = day_slots(date("2025-04-06"), lord_howe, 3_600);
    assert_eq!((hours.len(), hours[24].seconds()), (25, 1_800));
}

// TT-02: Elexon settlement period conversion table, short day 2026-03-29.
#[test]
fn periods_of_the_short_day() {
    let slots = day_slots(date("2026-03-29"), Tz::Europe__London, 1_800);
    assert_eq!(slots[2].start(), at("2026-03-29T01:00:00Z"));
    assert_eq!(time_of_day(slots[2].start(), Tz::Europe__London), time("02:00"));
    assert_eq!(slots[45].start(), at("2026-03-29T22:30:00Z"));
}

// TT-03: recomputed; that period 5 is the second 01:00 is Elexon's rule for
// 2023-10-29.
#[test]
fn periods_of_the_long_day() {
    let slots = day_slots(date("2026-10-25"), Tz::Europe__London, 1_800);
    for (period, text, shown) in [
        (1, "2026-10-24T23:00:00Z", "00:00"),
        (3, "2026-10-25T00:00:00Z", "01:00"),
        (5, "2026-10-25T01:00:00Z", "01:00"),
        (50, "2026-10-25T23:30:00Z", "23:30"),
    ] {
        assert_eq!(slots[period - 1].start(), at(text));
        assert_eq!(time_of_day(at(text), Tz::Europe__London), time(shown));
    }
}

// TT-05: recomputed.
#[test]
fn a_summer_day_in_universal_time() {
    let span = day(date("2026-07-01"), Tz::Europe__London).expect("a day");
    assert_eq!((span.start(), span.end()), (at("2026-06-30T23:00Z"), at("2026-07-01T23:00Z")));
}

// C35: on the day of 23 hours the price at 17:00 is element 16 of the list.
#[test]
fn a_list_is_not_a_clock() {
    let slots = day_slots(date("2025-03-30"), Tz::Europe__Brussels, 3_600);
    assert_eq!(slots.len(), 23);
    let wanted = occurrence(date("2025-03-30"), time("17:00"), Tz::Europe__Brussels);
    assert_eq!(wanted, Occurrence::Once(slots[16].start()));
}

#[test]
fn a_time_in_the_gap_is_the_first_instant_after_it() {
    for (day, clock, zone, after) in [
        ("2025-03-30", "01:30", Tz::Europe__London, "2025-03-30T01:00Z"),
        ("2026-03-29", "02:00", Tz::Europe__Brussels, "2026-03-29T01:00Z"),
        ("2025-10-05", "02:59", Tz::Australia__Melbourne, "2025-10-04T16:00Z"),
        ("2025-10-05", "02:15", Tz::Australia__Lord_Howe, "2025-10-04T15:30Z"),
    ] {
        let expected = Occurrence::Skipped { after: at(after) };
        assert_eq!(occurrence(date(day), time(clock), zone), expected);
        assert_eq!(expected.first(), expected.last());
    }
}

#[test]
fn a_time_in_the_fold_is_two_instants() {
    for (day, clock, zone, first, second) in [
        ("2025-10-26", "01:00", Tz::Europe__London, "2025-10-26T00:00Z", "2025-10-26T01:00Z"),
        ("2026-10-25", "02:30", Tz::Europe__Brussels, "2026-10-25T00:30Z", "2026-10-25T01:30Z"),
        ("2025-04-06", "02:59", Tz::Australia__Melbourne, "2025-04-05T15:59Z", "2025-04-05T16:59Z"),
        ("2025-04-06", "01:45", Tz::Australia__Lord_Howe, "2025-04-05T14:45Z", "2025-04-05T15:15Z"),
    ] {
        let found = occurrence(date(day), time(clock), zone);
        assert_eq!(found, Occurrence::Twice { first: at(first), second: at(second) });
        assert_eq!((found.first(), found.last()), (at(first), at(second)));
    }
    let edge = occurrence(date("2025-10-26"), time("02:00"), Tz::Europe__London);
    assert_eq!(edge, Occurrence::Once(at("2025-10-26T02:00Z")));
}

#[test]
fn a_midnight_that_is_skipped_or_comes_twice() {
    // Havana puts the clock forward at midnight and back at 01:00.
    let spring = day(date("2025-03-09"), Tz::America__Havana).expect("a day");
    assert_eq!((spring.start(), spring.seconds()), (at("2025-03-09T05:00Z"), 23 * 3_600));
    let autumn = day(date("2025-11-02"), Tz::America__Havana).expect("a day");
    assert_eq!((autumn.start(), autumn.seconds()), (at("2025-11-02T04:00Z"), 25 * 3_600));
}

#[test]
fn a_date_that_was_left_out_has_no_slots() {
    assert_eq!(day(date("2011-12-30"), Tz::Pacific__Apia), None);
    assert!(day_slots(date("2011-12-30"), Tz::Pacific__Apia, 1_800).is_empty());
    assert_eq!(count("2011-12-31", Tz::Pacific__Apia, 1_800), 48);
}

#[test]
fn a_length_that_is_not_positive_has_no_slots() {
    assert!(day_slots(date("2025-07-01"), Tz::UTC, 0).is_empty());
    assert!(day_slots(date("2025-07-01"), Tz::UTC, -1_800).is_empty());
}

#[test]
fn the_slot_in_progress_is_shorter() {
    let zone = Tz::Europe__London;
    let found =
        horizon(at("2025-10-25T22:40Z"), at("2025-10-27T00:00Z"), zone, 1_800).expect("a horizon");
    assert_eq!(found.slots()[0].seconds(), 1_200);
    assert_eq!(found.len(), 1 + 50);
    assert_eq!(horizon(at("2025-10-25T22:40Z"), at("2025-10-25T22:40Z"), zone, 1_800), None);
}

#[test]
fn far_instants_do_not_panic() {
    for unix in [i64::MIN / 2, i64::MAX / 2] {
        local_date(Instant::from_unix(unix), Tz::Europe__London);
    }
}

proptest! {
    #[test]
    fn slots_cover_the_day_without_a_gap(
        days in 0u64..7_305, zone in 0..ZONES.len(), seconds in prop::sample::select(vec![900, 1_800, 3_600]),
    ) {
        let zone = ZONES[zone];
        let date = date("2015-01-01") + Days::new(days);
        let span = day(date, zone).expect("a day");
        let slots = day_slots(date, zone, seconds);
        prop_assert_eq!(slots[0].start(), span.start());
        prop_assert_eq!(slots[slots.len() - 1].end(), span.end());
        prop_assert!(slots.windows(2).all(|pair| pair[0].end() == pair[1].start()));
        prop_assert!(slots[..slots.len() - 1].iter().all(|slot| slot.seconds() == seconds));
        let tomorrow = day(date + Days::new(1), zone).expect("a day");
        prop_assert_eq!(span.end(), tomorrow.start());
    }

    #[test]
    fn every_slot_round_trips_through_its_clock_reading(
        days in 0u64..7_305, zone in 0..ZONES.len(),
    ) {
        let zone = ZONES[zone];
        let date = date("2015-01-01") + Days::new(days);
        for slot in day_slots(date, zone, 900) {
            prop_assert_eq!(local_date(slot.start(), zone), date);
            let found = occurrence(date, time_of_day(slot.start(), zone), zone);
            prop_assert!(found.first() == slot.start() || found.last() == slot.start());
            let skipped = matches!(found, Occurrence::Skipped { .. });
            prop_assert!(!skipped);
        }
    }
}
