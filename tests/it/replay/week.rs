//! Real prices, a site file, and days of 46 and 50 half-hours.

use std::path::Path;

use chrono::NaiveDate;
use optimiser::judge::Effort;
use optimiser::replay::Settings;
use optimiser::replay::baseline::{Rule, Ruled};
use optimiser::replay::{Ledger, Stage};
use stowheat::assemble::{Known, Period, period};
use stowheat::house::House;
use stowheat::replay::{day, document, reasons, replay, table};
use stowheat::series::{Marks, read};
use stowheat::tariff::Wholesale;
use stowheat::weather::{Reading, Weather};

use super::near;

fn house() -> House {
    let text = include_str!("../../../fixtures/sites/harbour-row.toml");
    stowheat::site_file::read(text, "harbour-row.toml").expect("the demo house").house
}

fn data(name: &str) -> Option<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data");
    std::fs::read(folder.join(name)).ok()
}

/// The demo house with British prices of 2023 and Belgian weather of 2025.
fn known(house: &House) -> Option<Known> {
    let prices = read("prices", &data("price_30min_GB_2023.csv")?, Marks::AsNamed).expect("prices");
    let weather = data("weather_60min_BE_reanalysis_2024-10_2025-09.csv")?;
    let weather = read("weather", &weather, Marks::AsNamed).expect("weather");
    Some(Known {
        wholesale: Wholesale::from_file(&prices, &house.tariff).expect("prices of the tariff"),
        price_step_seconds: prices.step_seconds(),
        weather: Some(Reading::Dated(Weather::from_series(&weather).expect("weather"))),
        ..Known::default()
    })
}

fn days(house: &House, from: &str, to: &str) -> Option<Period> {
    let Some(known) = known(house) else {
        #[expect(clippy::print_stderr, reason = "a skipped test says so")]
        {
            eprintln!("skipped: the shared series are not there");
        }
        return None;
    };
    let date = |text: &str| text.parse::<NaiveDate>().expect("a day");
    Some(period(house, &known, None, (Some(date(from)), Some(date(to)))).expect("a period"))
}

#[test]
fn days_of_46_and_50_half_hours_are_replayed_whole() {
    let house = house();
    for (from, to, slots, missing) in [
        ("2023-03-25", "2023-03-27", 48 + 46 + 48, 0),
        ("2023-10-28", "2023-10-30", 48 + 50 + 48, 2),
    ] {
        let Some(period) = days(&house, from, to) else { return };
        assert_eq!(period.gaps.slots, slots);
        assert!(period.gaps.prices >= missing, "{:?}", period.gaps);
        let start = optimiser::problem::State {
            battery: house.state.battery,
            stores: house.state.stores.clone(),
            plant_room: optimiser::problem::PlantRoomState::default(),
        };
        let stage = Stage::new(&house.site, &period.timeline, &start).expect("a stage");
        let dial = house.site.stores[0].highest_reach();
        let mut rule = Ruled::new(&house.site, Rule::CheapestSlots(6), dial, None, false);
        let run = stage.run(&mut rule, &mut |_| {});
        let on = run.commands.heaters[0].iter().filter(|command| command.minutes > 0.0).count();
        assert_eq!(on, 18);
        let ledger = Ledger::of(&stage, &run, 0..slots);
        assert_eq!(ledger.unpriced_slots, period.gaps.prices);
    }
}

#[test]
fn a_week_of_british_prices_from_end_to_end() {
    let house = house();
    let Some(period) = days(&house, "2023-05-29", "2023-06-04") else { return };
    assert!(period.notes.iter().any(|note| note.contains("other years")), "{:?}", period.notes);
    let replayed =
        replay(&house, &period, Settings::default(), true, &mut |_| {}).expect("a replay");
    assert_eq!(replayed.stage.horizon().len(), 336);
    assert_eq!(replayed.by_rule.0, 0, "{:?}", replayed.by_rule);
    let own = replayed.stowheat();
    // Months add up to the whole, and a day's rows to the day.
    assert_eq!(own.months.len(), 2);
    let months: f64 = own.months.iter().map(|(_, month)| month.bill()).sum();
    near(months, own.whole.bill(), 1e-6);
    let text = day::render(&replayed, "2023-06-01".parse().expect("a day")).expect("in the period");
    let paid = |line: &str| line.split_whitespace().nth(5).and_then(|n| n.parse::<f64>().ok());
    let rows: Vec<f64> = text.lines().skip(2).take(48).filter_map(paid).collect();
    let sum = text.lines().find(|line| line.starts_with("Sum")).expect("a sum");
    let sum: f64 = sum.split_whitespace().nth(3).expect("paid").parse().expect("a number");
    assert_eq!(rows.len(), 48);
    near(rows.iter().sum(), sum, 0.005 * 48.0);
    // Bounds are below, rules are in hindsight.
    let bounds = replayed.bounds.as_ref().expect("asked for");
    let bound = bounds[0].as_ref().expect("a bound");
    assert!(bound.cost < own.whole.cost(replayed.worth));
    assert!(table::render(&replayed).contains("stowheat"));
    let document = serde_json::to_value(document::Document::new(&replayed)).expect("JSON");
    let schema = document::schema().to_value();
    jsonschema::validator_for(&schema).expect("a schema").validate(&document).expect("valid");
}

#[test]
fn a_day_says_what_limits_and_not_knowing_cost() {
    let house = house();
    let Some(period) = days(&house, "2023-06-03", "2023-06-03") else { return };
    let settings = Settings { effort: Effort::ROLLING, ..Settings::default() };
    let mut replayed = replay(&house, &period, settings, true, &mut |_| {}).expect("a replay");
    replayed.limits = reasons::limits(&replayed);
    let found = reasons::remainder(&replayed, settings, &mut |_| {}).expect("runs");
    // The site's draws and load follow its lists, and are known without asking.
    let what: Vec<&str> = found.iter().map(|one| one.what).collect();
    assert_eq!(what, ["the prices", "the sun", "everything"]);
    let bound = replayed.bounds.as_ref().expect("asked for")[0].as_ref().expect("a bound").cost;
    assert!(found.iter().all(|one| one.cost > bound - 1.0), "{found:?}");
    replayed.remainder = Some(found);
    let text = table::render(&replayed);
    for part in
        ["What a limit cost", "per 100 L", "per kWh", "import limit", "knowing", "everything"]
    {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert_eq!(text.contains("DEARER"), replayed.saving(replayed.best_rule().expect("one")) < 0.0);
    let document = document::Document::new(&replayed);
    assert_eq!(document.remainder.as_ref().map(Vec::len), Some(3));
    let limits = document.limits.as_ref().expect("limits");
    assert!(limits.iter().any(|value| value.capacity == "battery"), "{limits:?}");
    let document = serde_json::to_value(document).expect("JSON");
    let schema = document::schema().to_value();
    jsonschema::validator_for(&schema).expect("a schema").validate(&document).expect("valid");
}
