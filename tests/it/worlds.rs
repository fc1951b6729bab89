//! The worlds of the closed loop have what their houses have.

use chrono::{Days, NaiveDate};
use stowheat::assemble::period;
use stowheat_tests::worlds::{MARKETS, world};

/// Days that are looked at.
const DAYS: u64 = 5;

/// Weather that stayed in the year of its file once left two markets in the dark
/// for most of the year.
#[test]
fn the_sun_shines_in_every_market_in_its_summer_and_at_its_noon() {
    for market in &MARKETS {
        let Some((house, known)) = world("harbour-row", market) else {
            #[expect(clippy::print_stderr, reason = "a skipped test says so")]
            {
                eprintln!("skipped: the shared series are not at hand");
            }
            return;
        };
        let first: NaiveDate = market.first_day.parse().expect("a day");
        let last: NaiveDate = market.last_day.parse().expect("a day");
        let southern = market.name.starts_with("VIC");
        let summer = on(first, last, if southern { "01-10" } else { "06-20" });
        let winter = on(first, last, if southern { "06-20" } else { "12-10" });
        let [most, least] = [summer, winter].map(|from| {
            let days = (Some(from), Some(from + Days::new(DAYS - 1)));
            let period = period(&house, &known, None, days).expect("a period");
            let record = period.timeline.record();
            let slots = period.timeline.judged();
            let kwh: f64 = slots.clone().map(|slot| record.pv[slot].kwh()).sum();
            let hours = |slot: usize| 0.5 * f64::from(record.marks[slot].half_hour) + 0.25;
            let middle: f64 = slots.map(|slot| record.pv[slot].kwh() * hours(slot)).sum();
            (kwh, middle / kwh)
        });
        // A peak of 4.2 kW yields 2 to 7 hours of it on a day of a northern summer.
        let per_day = most.0 / DAYS as f64;
        assert!((8.0..30.0).contains(&per_day), "{}: {per_day} kWh a day", market.name);
        assert!((11.0..15.0).contains(&most.1), "{}: the middle at {}", market.name, most.1);
        assert!(least.0 < 0.6 * most.0, "{}: {least:?} in winter, {most:?}", market.name);
    }
}

/// A date within a year of prices, whenever that begins.
fn on(first: NaiveDate, last: NaiveDate, date: &str) -> NaiveDate {
    let mut days = first.iter_days().take_while(|day| *day <= last);
    days.find(|day| day.format("%m-%d").to_string() == date).expect("a whole year")
}
