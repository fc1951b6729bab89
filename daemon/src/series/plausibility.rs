//! Prices that look as if they were in another unit, or of another day.
//!
//! A slip of the unit moves the whole distribution by a power of ten, so it
//! moves both the median and the 95th percentile of the price without its sign.
//! Wild but true prices move one of them alone: spikes to hundreds of times the
//! mean leave the median where it was, and a windy week of prices near zero
//! leaves the 95th percentile. So a series is refused only when both lie outside
//! their band on the same side.
//!
//! Bands in euro cent per kWh: median 1.2 to 55, 95th percentile 3.5 to 110. In
//! five years of wholesale and imbalance prices from four markets the medians of
//! a year are 6.8 to 9.7 and the 95th percentiles 14 to 30, so that a factor of
//! ten either way is outside both; flat household rates of 10 to 50 are inside.
//! A few days may be much cheaper than any year: under four weeks of prices the
//! lower limits are 0.1 and 0.25, and a factor of ten too small passes unseen.
//!
//! What this cannot see: VAT charged twice, a year of prices truly below
//! 1.2 cent, and a currency that is not in the table.

use std::fmt;

use chrono::NaiveDate;
use chrono_tz::Tz;
use optimiser::units::Price;

use super::Prices;
use super::unit::PriceUnit;
use crate::local_time::local_date;

/// Largest median and 95th percentile [euro cent/kWh].
const HIGH: (f64, f64) = (55.0, 110.0);
/// Smallest median and 95th percentile of at least [`LONG_HOURS`] of prices.
const LOW: (f64, f64) = (1.2, 3.5);
/// Smallest median and 95th percentile of less.
const LOW_OF_DAYS: (f64, f64) = (0.1, 0.25);
/// A usual median, between wholesale and household prices [euro cent/kWh].
const USUAL: f64 = 10.0;
/// Four weeks [h].
const LONG_HOURS: f64 = 28.0 * 24.0;

/// Currencies with the minor units that make about one euro cent: rounded
/// exchange rates of the 2020s, from memory; only the magnitude counts, and all
/// dollars and francs count as one.
const MAGNITUDES: [(&str, f64); 33] = [
    ("EUR", 1.0),
    ("GBP", 1.0),
    ("USD", 1.0),
    ("CHF", 1.0),
    ("AUD", 1.0),
    ("CAD", 1.0),
    ("NZD", 1.0),
    ("SGD", 1.0),
    ("BGN", 2.0),
    ("ILS", 4.0),
    ("PLN", 4.5),
    ("AED", 4.0),
    ("SAR", 4.0),
    ("MYR", 5.0),
    ("RON", 5.0),
    ("BRL", 6.0),
    ("DKK", 7.5),
    ("CNY", 8.0),
    ("HKD", 8.0),
    ("SEK", 11.0),
    ("NOK", 11.0),
    ("MXN", 20.0),
    ("ZAR", 20.0),
    ("CZK", 25.0),
    ("TWD", 35.0),
    ("THB", 40.0),
    ("UAH", 45.0),
    ("INR", 95.0),
    ("HUF", 400.0),
    // No minor unit in use.
    ("JPY", 1.6),
    ("ISK", 1.5),
    ("KRW", 15.0),
    ("CLP", 10.0),
];

/// Prices that look as if they were in another unit.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitSlip {
    /// Unit that they are stated in.
    pub stated: PriceUnit,
    /// Unit that would make them usual, if there is one.
    pub likely: Option<PriceUnit>,
    /// Currency.
    pub currency: String,
    /// Median of the price without its sign, as stated [minor/kWh].
    pub median: f64,
    /// 95th percentile of the price without its sign, as stated [minor/kWh].
    pub percentile_95: f64,
}

impl fmt::Display for UnitSlip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { stated, likely, currency, median, percentile_95 } = self;
        write!(
            f,
            "read as {}, half of the prices are beyond {} and one in twenty beyond {} minor units \
             per kWh, which no household pays; ",
            stated.words(currency),
            short(*median),
            short(*percentile_95)
        )?;
        match likely {
            Some(unit) => write!(f, "are they {}? then say so", unit.words(currency)),
            None => write!(f, "no other unit fits either, so check where they come from"),
        }
    }
}

fn short(value: f64) -> String {
    if value < 1.0 { format!("{value:.4}") } else { format!("{value:.1}") }
}

/// Looks for a slip of the unit in prices that are stated in a unit.
pub fn unit_slip(prices: &Prices, currency: &str, stated: PriceUnit) -> Option<UnitSlip> {
    let (_, cent) = MAGNITUDES.into_iter().find(|(code, _)| *code == currency)?;
    let mut sizes: Vec<f64> = prices.known().map(|(_, price)| price.per_kwh().abs()).collect();
    if sizes.is_empty() {
        return None;
    }
    sizes.sort_by(f64::total_cmp);
    let at = |share: f64| sizes[((sizes.len() - 1) as f64 * share).round() as usize];
    let (median, percentile_95) = (at(0.5), at(0.95));
    let hours: f64 = prices.known().map(|(slot, _)| slot.hours()).sum();
    let low = if hours < LONG_HOURS { LOW_OF_DAYS } else { LOW };
    let fits = |factor: f64| {
        let (median, percentile_95) = (median * factor / cent, percentile_95 * factor / cent);
        let too_small = median < low.0 && percentile_95 < low.1;
        let too_large = median > HIGH.0 && percentile_95 > HIGH.1;
        !too_small && !too_large
    };
    if fits(1.0) {
        return None;
    }
    let factor = |unit: &PriceUnit| unit.minor_per_kwh(currency) / stated.minor_per_kwh(currency);
    let strangeness = |unit: &PriceUnit| (median * factor(unit) / cent / USUAL).ln().abs();
    let likely = PriceUnit::ALL
        .into_iter()
        .filter(|unit| fits(factor(unit)))
        .min_by(|a, b| strangeness(a).total_cmp(&strangeness(b)));
    Some(UnitSlip { stated, likely, currency: currency.into(), median, percentile_95 })
}

/// Local days whose prices are those of the day before, one by one.
///
/// No market does that; a source that hands out yesterday's list under today's
/// date does. Days with fewer than three different prices are left out, as a
/// tariff of bands repeats itself honestly.
pub fn repeated_days(prices: &Prices, zone: Tz) -> Vec<NaiveDate> {
    let mut days: Vec<(NaiveDate, Vec<Price>)> = Vec::new();
    for (slot, price) in prices.known() {
        let date = local_date(slot.start(), zone);
        match days.last_mut() {
            Some((last, list)) if *last == date => list.push(price),
            _ => days.push((date, vec![price])),
        }
    }
    let varied = |list: &[Price]| {
        let other = list.iter().find(|price| **price != list[0]);
        list.iter().any(|price| *price != list[0] && Some(price) != other)
    };
    days.windows(2)
        .filter(|pair| {
            pair[0].0.succ_opt() == Some(pair[1].0) && pair[0].1 == pair[1].1 && varied(&pair[1].1)
        })
        .map(|pair| pair[1].0)
        .collect()
}

#[cfg(test)]
mod tests {
    use optimiser::time::{Instant, Slot};

    use super::*;
    use crate::local_time::{day_slots, parse_instant};

    /// Half-hours that repeat a list for a number of days.
    fn prices(list: &[f64], days: usize) -> Prices {
        let start = parse_instant("2025-01-01T00:00Z").expect("an instant");
        let point = |index: usize| {
            let from: Instant = start + index as i64 * 1_800;
            let price = Price::constant(list[index % list.len()]);
            (Slot::new(from, from + 1_800).expect("a slot"), Some(price))
        };
        Prices::new((0..days * 48).map(point).collect()).expect("in order")
    }

    fn likely(list: &[f64], days: usize, currency: &str, stated: PriceUnit) -> Option<PriceUnit> {
        unit_slip(&prices(list, days), currency, stated).and_then(|slip| slip.likely)
    }

    #[test]
    fn household_rates_pass() {
        for rates in [&[24.5][..], &[7.5, 31.0], &[12.0, 45.0], &[9.0, -3.0, 60.0]] {
            for days in [1, 365] {
                let slip = unit_slip(&prices(rates, days), "GBP", PriceUnit::MinorPerKwh);
                assert_eq!(slip, None, "{rates:?}");
            }
        }
    }

    #[test]
    fn a_slip_names_the_unit_that_fits() {
        // 0.245 pounds written as pence, and 24.5 pence written as pounds.
        assert_eq!(
            likely(&[0.245], 30, "GBP", PriceUnit::MinorPerKwh),
            Some(PriceUnit::MajorPerKwh)
        );
        assert_eq!(
            likely(&[2_450.0], 1, "GBP", PriceUnit::MajorPerKwh),
            Some(PriceUnit::MinorPerKwh)
        );
        // 90 pounds per MWh written as pounds per kWh.
        let slip = unit_slip(&prices(&[9_000.0, -400.0], 1), "GBP", PriceUnit::MajorPerKwh);
        let text = slip.expect("a slip").to_string();
        assert_eq!(
            text,
            "read as GBP per kWh, half of the prices are beyond 9000.0 and one in twenty beyond \
             9000.0 minor units per kWh, which no household pays; are they GBP per MWh? then say so"
        );
    }

    #[test]
    fn currencies_differ_in_magnitude() {
        // Danish: 2.50 kroner are 250 øre; Japanese: 31 yen have no minor unit.
        assert_eq!(likely(&[250.0], 30, "DKK", PriceUnit::MinorPerKwh), None);
        assert_eq!(likely(&[2.5], 30, "DKK", PriceUnit::MinorPerKwh), Some(PriceUnit::MajorPerKwh));
        assert_eq!(likely(&[31.0], 30, "JPY", PriceUnit::MajorPerKwh), None);
        // A currency that is not in the table is not judged.
        assert_eq!(unit_slip(&prices(&[9e4], 30), "XYZ", PriceUnit::MajorPerKwh), None);
    }

    #[test]
    fn spikes_and_calm_weeks_are_no_slip() {
        let mut spiky = vec![9.0; 48];
        spiky[36] = 1_660.0;
        spiky[37] = -99.9;
        spiky[38] = 900.0;
        assert_eq!(unit_slip(&prices(&spiky, 365), "AUD", PriceUnit::MajorPerMwh), None);
        let mut calm = vec![0.05; 48];
        calm[38..42].fill(4.0);
        assert_eq!(unit_slip(&prices(&calm, 7), "EUR", PriceUnit::MajorPerMwh), None);
        assert_eq!(unit_slip(&Prices::default(), "EUR", PriceUnit::MajorPerMwh), None);
    }

    // Yesterday's list under today's date; one price a day or a tariff of two
    // bands repeats itself honestly.
    #[test]
    fn a_relabelled_day_is_found() {
        let zone = Tz::Europe__London;
        let day = |date: &str, shift: f64| {
            let slots = day_slots(date.parse().expect("a date"), zone, 1_800);
            let price = move |index: usize| Some(Price::constant(shift + index as f64));
            slots.into_iter().enumerate().map(move |(index, slot)| (slot, price(index)))
        };
        let points =
            day("2025-07-01", 0.0).chain(day("2025-07-02", 0.0)).chain(day("2025-07-03", 1.0));
        let found = repeated_days(&Prices::new(points.collect()).expect("in order"), zone);
        assert_eq!(found, ["2025-07-02".parse::<NaiveDate>().expect("a date")]);
        let mut bands = vec![7.0; 24];
        bands.resize(48, 28.0);
        assert!(repeated_days(&prices(&bands, 5), zone).is_empty());
    }
}
