//! Lists that look like prices and are not.

use std::fmt;

use super::book::Book;
use super::list::PriceList;

const DAY_S: i64 = 86_400;

/// Values that must differ before a pattern can be told from a plain tariff.
const DISTINCT: usize = 6;

/// Shortest span that is judged [s].
const SPAN_S: i64 = 12 * 3_600;

/// Why a list is not believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suspicion {
    /// It repeats the day before, value by value.
    Relabelled,
    /// It is zero throughout, and the day before is not.
    Zero,
    /// It is the same throughout, and the day before is not.
    Flat,
}

impl Suspicion {
    /// Judges a list against what is known; `None` if nothing speaks against it.
    pub fn of(list: &PriceList, book: &Book) -> Option<Self> {
        let span: i64 = list.points().iter().map(|(slot, _)| slot.seconds()).sum();
        if span < SPAN_S {
            return None;
        }
        let values: Vec<f64> = list.points().iter().map(|(_, value)| *value).collect();
        let before: Vec<Option<f64>> = list
            .points()
            .iter()
            .map(|(slot, _)| book.at(slot.start() + -DAY_S))
            .map(|p| p.map(|p| p.1))
            .collect();
        let known: Vec<f64> = before.iter().copied().flatten().collect();
        // A tariff of a few bands repeats each day and may be flat at night.
        if known.len() * 2 < values.len() || distinct(&known) < DISTINCT {
            return None;
        }
        if distinct(&values) == 1 {
            return Some(if values[0].abs() < 1e-12 { Self::Zero } else { Self::Flat });
        }
        let pairs = values.iter().zip(&before).filter_map(|(value, b)| Some((value, (*b)?)));
        let is_same = pairs.into_iter().all(|(value, before)| (value - before).abs() < 1e-9);
        is_same.then_some(Self::Relabelled)
    }
}

impl fmt::Display for Suspicion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Self::Relabelled => "the list repeats the day before with other dates",
            Self::Zero => "the list is zero throughout, unlike the day before",
            Self::Flat => "the list has one price throughout, unlike the day before",
        };
        write!(f, "{text}; it is not used, and asked for again")
    }
}

fn distinct(values: &[f64]) -> usize {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    sorted.len()
}

#[cfg(test)]
mod tests {
    use optimiser::time::{Instant, Slot};

    use super::super::list::Quantity;
    use super::*;

    fn day(index: i64, price: impl Fn(i64) -> f64) -> PriceList {
        let at = |seconds| Instant::from_unix(1_767_225_600 + index * DAY_S + seconds);
        let points = (0..48)
            .filter_map(|i| Some((Slot::new(at(i * 1_800), at((i + 1) * 1_800))?, price(i))))
            .collect();
        PriceList::new(Quantity::Price, "p/kWh".into(), at(0), u32::MAX, points).0
    }

    fn known(price: impl Fn(i64) -> f64) -> Book {
        let mut book = Book::new(Quantity::Price);
        book.add(day(0, price));
        book
    }

    // C36, failure case 18.
    #[test]
    fn yesterday_with_other_dates_is_not_tomorrow() {
        let book = known(|i| 10.0 + i as f64);
        assert_eq!(Suspicion::of(&day(1, |i| 10.0 + i as f64), &book), Some(Suspicion::Relabelled));
        assert_eq!(Suspicion::of(&day(1, |i| 10.5 + i as f64), &book), None);
        assert_eq!(Suspicion::of(&day(1, |_| 0.0), &book), Some(Suspicion::Zero));
        assert_eq!(Suspicion::of(&day(1, |_| 22.0), &book), Some(Suspicion::Flat));
    }

    #[test]
    fn a_tariff_of_two_bands_may_repeat() {
        let bands = |i: i64| if i < 14 { 9.0 } else { 27.0 };
        assert_eq!(Suspicion::of(&day(1, bands), &known(bands)), None);
        assert_eq!(Suspicion::of(&day(1, |_| 0.0), &Book::new(Quantity::Price)), None);
    }
}
