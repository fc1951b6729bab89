//! What prices to expect where none are published yet.

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::Price;

use super::Prices;
use crate::local_time::{local_date, occurrence, time_of_day};

/// Where a price comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Published by the market or the supplier.
    Published,
    /// Expected from prices of earlier days.
    Forecast,
}

/// The price of a slot, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The slot.
    pub slot: Slot,
    /// Its price; `None` only if no price at all is known.
    pub price: Option<Price>,
    /// Where the price comes from.
    pub origin: Origin,
}

/// Prices of every slot of a horizon: published ones where they cover the slot,
/// and expected ones elsewhere.
///
/// `known_until` is the end of what was published at the moment of planning; a
/// replay has later prices in its file, and they are not looked at. An expected
/// price is the mean of three, as far as they are known, all at the same local
/// time of day: the latest day, the mean of the seven latest days, and the
/// latest day of the same weekday within four weeks. Failing all of them it is
/// the mean of every known day at that time, and last the mean of all prices.
pub fn outlook(
    history: &Prices,
    horizon: &Horizon,
    known_until: Instant,
    zone: Tz,
) -> Vec<Expected> {
    let published = history.until(known_until);
    let past = Past { published: &published, zone };
    horizon
        .slots()
        .iter()
        .map(|slot| match published.mean_over(*slot) {
            Some(price) => Expected { slot: *slot, price: Some(price), origin: Origin::Published },
            None => Expected { slot: *slot, price: past.expect(*slot), origin: Origin::Forecast },
        })
        .collect()
}

/// Published prices, looked up by local day and time of day.
struct Past<'a> {
    published: &'a Prices,
    zone: Tz,
}

impl Past<'_> {
    fn expect(&self, slot: Slot) -> Option<Price> {
        let date = local_date(slot.start(), self.zone);
        let time = time_of_day(slot.start(), self.zone);
        let back =
            |days: u64| self.on(date.checked_sub_days(Days::new(days))?, time, slot.seconds());

        let latest = (1..=7).find(|days| back(*days).is_some());
        let week = latest.and_then(|first| mean((first..first + 7).filter_map(back)));
        let weekday = [7, 14, 21, 28].into_iter().find_map(back);
        let blend = [latest.and_then(back), week, weekday];
        mean(blend.into_iter().flatten())
            .or_else(|| self.mean_at(time, slot.seconds()))
            .or_else(|| mean(self.published.known().map(|(_, price)| price)))
    }

    /// Mean over a slot of a length [s] that begins at a local time of a day.
    fn on(&self, date: NaiveDate, time: NaiveTime, seconds: i64) -> Option<Price> {
        let start = occurrence(date, time, self.zone).first();
        self.published.mean_over(Slot::new(start, start + seconds)?)
    }

    /// Mean over all known days at a local time of day.
    fn mean_at(&self, time: NaiveTime, seconds: i64) -> Option<Price> {
        let first = local_date(self.published.known().next()?.0.start(), self.zone);
        let last = local_date(self.published.known_until()?, self.zone);
        let days = first.iter_days().take_while(|date| *date <= last);
        mean(days.filter_map(|date| self.on(date, time, seconds)))
    }
}

fn mean(prices: impl Iterator<Item = Price>) -> Option<Price> {
    let (sum, count) = prices.fold((0.0, 0), |(sum, n), price| (sum + price.per_kwh(), n + 1));
    (count > 0).then(|| Price::clamped(sum / f64::from(count)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local_time::{day_slots, parse_instant};

    const ZONE: Tz = Tz::Europe__London;

    fn date(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    /// Hours of local days with a price that tells day and hour.
    fn days(first: &str, count: u64, price: impl Fn(u64, usize) -> Option<f64>) -> Prices {
        let points = (0..count)
            .flat_map(|day| {
                let slots = day_slots(date(first) + Days::new(day), ZONE, 3_600);
                slots.into_iter().enumerate().map(move |(hour, slot)| (day, hour, slot))
            })
            .map(|(day, hour, slot)| (slot, price(day, hour).map(Price::constant)))
            .collect();
        Prices::new(points).expect("in order")
    }

    fn horizon(day: &str) -> Horizon {
        Horizon::new(day_slots(date(day), ZONE, 3_600)).expect("a day")
    }

    fn expect(found: &Expected, price: f64, origin: Origin) {
        let value = found.price.expect("a price").per_kwh();
        assert!((value - price).abs() < 1e-9, "{value} is not {price}");
        assert_eq!(found.origin, origin);
    }

    #[test]
    fn blends_latest_day_week_and_weekday() {
        // Day d is worth d, from Monday 2 to Sunday 8 June 2025.
        let history = days("2025-06-02", 7, |day, hour| Some(day as f64 + hour as f64 * 100.0));
        let end = history.known_until().expect("known");
        let found = outlook(&history, &horizon("2025-06-09"), end, ZONE);
        // Latest 6, week (0 + … + 6)/7 = 3, Monday before 0.
        expect(&found[5], 500.0 + (6.0 + 3.0 + 0.0) / 3.0, Origin::Forecast);
        let later = outlook(&history, &horizon("2025-06-10"), end, ZONE);
        // Two days on: the latest is still Sunday; the Tuesday before is 1.
        expect(&later[5], 500.0 + (6.0 + 3.0 + 1.0) / 3.0, Origin::Forecast);
    }

    #[test]
    fn published_prices_are_kept_and_marked() {
        let history = days("2025-06-02", 8, |day, _| Some(day as f64));
        let found =
            outlook(&history, &horizon("2025-06-09"), history.known_until().expect("known"), ZONE);
        assert!(found.iter().all(|slot| slot.origin == Origin::Published));
        expect(&found[0], 7.0, Origin::Published);
    }

    // A replay holds the whole year; what was not published must not leak.
    #[test]
    fn nothing_after_known_until_is_looked_at() {
        let known = parse_instant("2025-06-04T22:00Z").expect("an instant");
        let with = |later: f64| {
            let history = days("2025-06-02", 30, |day, hour| {
                let future = day > 2 || (day == 2 && hour == 23);
                Some(if future { later } else { 10.0 })
            });
            outlook(&history, &horizon("2025-06-05"), known, ZONE)
        };
        assert_eq!(with(-500.0), with(500.0));
        assert!(with(500.0).iter().all(|slot| slot.price == Some(Price::constant(10.0))));
    }

    // C36: prices end at 23:00 and nothing is published for the next day.
    #[test]
    fn the_window_is_never_empty() {
        let history = days("2025-06-02", 1, |_, hour| Some(hour as f64));
        let at = parse_instant("2025-06-02T22:00Z").expect("an instant");
        let window = Horizon::regular(at, 1_800, 50).expect("a horizon");
        let found = outlook(&history, &window, history.known_until().expect("known"), ZONE);
        assert_eq!(found.iter().filter(|slot| slot.origin == Origin::Published).count(), 2);
        expect(&found[0], 23.0, Origin::Published);
        expect(&found[2], 0.0, Origin::Forecast);
        expect(&found[5], 1.0, Origin::Forecast);
    }

    #[test]
    fn a_hole_is_filled_from_the_same_hour_of_known_days() {
        // Only the day after is known at that hour.
        let history = days("2025-06-02", 2, |day, hour| {
            (day == 1 || hour != 5).then_some(day as f64 * 10.0 + hour as f64)
        });
        let found =
            outlook(&history, &horizon("2025-06-02"), history.known_until().expect("known"), ZONE);
        expect(&found[5], 15.0, Origin::Forecast);
        expect(&found[4], 4.0, Origin::Published);
    }

    #[test]
    fn without_that_hour_it_is_the_mean_of_all() {
        let history = days("2025-06-02", 1, |_, hour| (hour < 2).then_some(hour as f64 * 10.0));
        let found =
            outlook(&history, &horizon("2025-06-03"), history.known_until().expect("known"), ZONE);
        expect(&found[1], 10.0, Origin::Forecast);
        expect(&found[12], 5.0, Origin::Forecast);
    }

    #[test]
    fn without_any_price_there_is_none() {
        let found =
            outlook(&Prices::default(), &horizon("2025-06-03"), Instant::from_unix(0), ZONE);
        assert!(found.iter().all(|slot| slot.price.is_none() && slot.origin == Origin::Forecast));
    }

    // The clock goes back on 26 October 2025: 18:00 is another hour in UTC.
    #[test]
    fn the_same_time_of_day_across_a_change_of_the_clock() {
        let history = days("2025-10-25", 1, |_, hour| Some(hour as f64));
        let found =
            outlook(&history, &horizon("2025-10-26"), history.known_until().expect("known"), ZONE);
        assert_eq!(found.len(), 25);
        expect(&found[19], 18.0, Origin::Forecast);
        expect(&found[1], 1.0, Origin::Forecast);
        expect(&found[2], 1.0, Origin::Forecast);
    }
}
