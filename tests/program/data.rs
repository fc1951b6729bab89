//! Plans from real series, and from series with holes.

use std::fmt::Write as _;
use std::fs;

use serde_json::Value;

use super::{DEMO, DEMO_AT, DEMO_PRICES, done, fixture, says, top, written};

const AT: &str = "2023-07-02T06:00:00+01:00";

/// The path of a file of the shared data; `None` where the data are absent.
#[expect(clippy::print_stderr, reason = "a check that is left out says so")]
fn shared(name: &str) -> Option<String> {
    let path = top().join("../shared/data").join(name);
    if !path.exists() {
        eprintln!("left out: {} is not there", path.display());
        return None;
    }
    Some(path.display().to_string())
}

fn json(arguments: &[&str]) -> (Value, String) {
    let ran = done(&[arguments, &["--json"]].concat());
    (serde_json::from_str(&ran.data).expect("JSON"), ran.messages)
}

fn sum(plan: &Value, field: &str) -> f64 {
    let slots = plan["slots"].as_array().expect("slots");
    slots.iter().map(|slot| slot[field].as_f64().expect("an energy")).sum()
}

#[test]
fn a_summer_day_of_great_britain() {
    let Some(prices) = shared("price_30min_GB_2023.csv") else { return };
    let arguments = ["plan", DEMO, "--prices", &prices, "--at", AT];
    let (dull, messages) = json(&arguments);
    says(&messages, &["where no weather is known, PV is counted as on a dull day"]);
    assert_eq!(dull["issued_at"], AT);
    says(&done(&arguments).data, &["Sun 2 Jul 06:00", "Harbour Row"]);

    // A reference year that is stamped 2023; its sun is that of Bremerhaven.
    let Some(weather) = shared("weather_60min_DE-Bremerhaven_TRY2010.csv") else { return };
    let (sunny, messages) = json(&[&arguments[..], &["--weather", &weather]].concat());
    assert!(!messages.contains("no weather is known"), "{messages}");
    assert!(sum(&sunny, "pv_kwh") > 5.0, "{}", sum(&sunny, "pv_kwh"));
    assert!((sum(&sunny, "pv_kwh") - sum(&dull, "pv_kwh")).abs() > 0.1);
}

// The months of 2025 in the Belgian record, stamped 2023 instead: neither year
// is a leap year, so only the year in the stamps differs.
#[test]
fn weather_of_another_year_is_moved_to_be_used() {
    let (Some(prices), Some(weather)) = (
        shared("price_30min_GB_2023.csv"),
        shared("weather_60min_BE_reanalysis_2024-10_2025-09.csv"),
    ) else {
        return;
    };
    let arguments = ["plan", DEMO, "--prices", &prices, "--at", AT];
    // As it stands it knows nothing of 2023, and the plan says so.
    let (_, messages) = json(&[&arguments[..], &["--weather", &weather]].concat());
    says(&messages, &["where no weather is known"]);
    let moved = fs::read_to_string(&weather).expect("the weather").replace("2025-", "2023-");
    let moved: String = moved.lines().filter(|line| !line.starts_with("2024-")).fold(
        String::new(),
        |mut text, line| {
            let _ = writeln!(text, "{line}");
            text
        },
    );
    let path = written("weather-2023.csv", &moved);
    let (plan, messages) = json(&[&arguments[..], &["--weather", &path]].concat());
    assert!(!messages.contains("no weather is known"), "{messages}");
    assert!(sum(&plan, "pv_kwh") > 5.0);
}

/// The demo's prices without some of their rows, counted from 1 after the header.
fn without_rows(name: &str, gone: impl Fn(usize) -> bool) -> String {
    let text = fixture(DEMO_PRICES);
    let kept = text.lines().enumerate().filter(|(row, _)| *row == 0 || !gone(*row));
    written(name, &(kept.map(|(_, line)| line).collect::<Vec<_>>().join("\n") + "\n"))
}

fn with_prices(path: &str) -> (Value, String) {
    json(&["plan", DEMO, "--prices", path, "--at", DEMO_AT])
}

fn prices(plan: &Value) -> Vec<f64> {
    let slots = plan["slots"].as_array().expect("slots");
    slots.iter().map(|slot| slot["import_price"].as_f64().expect("a price")).collect()
}

// Failure case 17 and C36, common practice, no published source: what is known
// is used, what comes late is a marked estimate, and a gap is not closed by
// moving up what follows.
#[test]
fn late_prices_are_expected_and_marked() {
    // Row 1 is midnight; planning begins with row 13, prices end before row 49.
    let late = without_rows("late.csv", |row| row > 48);
    let (whole, _) = with_prices(DEMO_PRICES);
    let (plan, messages) = with_prices(&late);
    says(
        &messages,
        &["prices from Sat 18 Apr 00:00 are expected from earlier days (1 known), not published"],
    );
    let (whole, plan) = (prices(&whole), prices(&plan));
    assert_eq!(whole.len(), plan.len());
    assert_eq!(whole[..36], plan[..36], "the known part is used");
    assert!(plan.iter().all(|price| *price > 1.0), "an unknown price is never free");
    assert!(whole.iter().any(|price| *price < 0.0), "the true ones would go below zero");
    let table = done(&["plan", DEMO, "--prices", &late, "--at", DEMO_AT]).data;
    says(&table, &["~ marks forecast prices", " ~1"]);
}

#[test]
fn a_gap_stays_where_it_is() {
    let gap = without_rows("gap.csv", |row| (30..36).contains(&row));
    let (whole, _) = with_prices(DEMO_PRICES);
    let (plan, messages) = with_prices(&gap);
    says(&messages, &["Fri 17 Apr 14:30"]);
    let (whole, plan) = (prices(&whole), prices(&plan));
    assert_eq!(whole.len(), plan.len());
    for (slot, (own, with_gap)) in whole.iter().zip(&plan).enumerate() {
        if (17..23).contains(&slot) {
            assert!(*with_gap > 1.0, "slot {slot}: a gap is never free");
        } else if slot < 72 {
            assert!((own - with_gap).abs() < 1e-9, "slot {slot}: {own} became {with_gap}");
        }
    }
}

#[test]
fn rows_that_contradict_each_other_are_refused() {
    let text = fixture(DEMO_PRICES) + "2026-04-17T10:00:00Z,1.0\n";
    let path = written("twice.csv", &text);
    let messages = super::refused(65, &["plan", DEMO, "--prices", &path, "--at", DEMO_AT]);
    says(&messages, &["twice.csv", "2026-04-17T10:00:00Z"]);
}

// The same prices, each stamped with the end of its half-hour and under the
// name `start_utc`, as some feeds do; the site says so.
#[test]
fn rows_stamped_at_the_end_are_read_as_the_site_says() {
    let site =
        fixture(DEMO).replace("currency = \"GBP\"", "currency = \"GBP\"\nseries_mark = \"end\"");
    let site = written("stamped-at-the-end.toml", &site);
    let text = fixture(DEMO_PRICES);
    let mut ends: Vec<&str> =
        text.lines().skip(1).map(|l| l.split(',').next().expect("a start")).collect();
    ends.remove(0);
    let header = text.lines().next().expect("a header");
    let rows = text
        .lines()
        .skip(1)
        .zip(ends)
        .map(|(line, end)| format!("{end},{}", line.split_once(',').expect("two columns").1));
    let rows: Vec<String> = rows.collect();
    let shifted = written("stamped-at-the-end.csv", &format!("{header}\n{}\n", rows.join("\n")));
    let (as_started, _) = with_prices(DEMO_PRICES);
    let (plan, _) = json(&["plan", &site, "--prices", &shifted, "--at", DEMO_AT]);
    let (as_started, as_ended) = (prices(&as_started), prices(&plan));
    for (slot, (own, ended)) in as_started.iter().zip(&as_ended).enumerate() {
        assert!((own - ended).abs() < 1e-9, "slot {slot}: {own} became {ended}");
    }
}
