//! Unit rates on the slots of a plan: published ones, and beyond them those that a
//! replay would expect as well.

use std::collections::BTreeSet;

use chrono_tz::Tz;
use optimiser::forecast::{self, Diary, Expected};
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::Price;

use crate::house::House;
use crate::local_time::day_and_clock;
use crate::series::Prices;
use crate::tariff::{Rated, Rates, Wholesale, unit_rates};

use super::slots::Spans;
use super::{AssembleError, Known, mark};

/// Days of the past that prices are expected from.
pub const MEMORY_DAYS: i64 = 37;

const HALF_HOUR: i64 = 1_800;

/// Where a price comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Published by the market or the supplier.
    Published,
    /// Expected from prices of earlier days.
    Forecast,
}

/// Unit rates of all slots.
pub(super) struct Priced {
    pub(super) import: Vec<Price>,
    pub(super) export: Vec<Price>,
    pub(super) origins: Vec<Origin>,
}

pub(super) fn prices(
    house: &House,
    known: &Known,
    at: Instant,
    spans: &Spans,
    notes: &mut Vec<String>,
) -> Result<Priced, AssembleError> {
    let published = |rates: &Rates, prices: &Prices| match rates {
        Rates::Bands(_) => Ok(Prices::default()),
        Rates::Indexed(_) => {
            let reach = prices.known_until().ok_or(AssembleError::PricesNeeded)?;
            let begins = prices.points().first().map_or(at, |(slot, _)| slot.start());
            if reach <= at || begins > at {
                let covers = format!("{begins} to {reach}");
                return Err(AssembleError::NoPrices { at, covers });
            }
            // A file of past years reaches far beyond what a plan may know.
            Ok(prices.until(spans.horizon.end()))
        }
    };
    let wholesale = Wholesale {
        import: published(&house.tariff.import, &known.wholesale.import)?,
        export: published(&house.tariff.export, &known.wholesale.export)?,
    };
    let zone = house.time_zone;
    let rated = |slots: &Horizon| unit_rates(&house.tariff, &wholesale, slots, zone, None);
    let Rated { import, export } = rated(&spans.all);
    let origin = |(import, export): (&Option<Price>, &Option<Price>)| match (import, export) {
        (Some(_), Some(_)) => Origin::Published,
        _ => Origin::Forecast,
    };
    let origins: Vec<Origin> = import.iter().zip(&export).map(origin).collect();
    let too_little = || AssembleError::NoPrices {
        at,
        covers: "too little to expect the others from".to_owned(),
    };
    let (half_hours, expected) = if origins.contains(&Origin::Forecast) {
        let diary = diary(&wholesale, spans, zone, rated).ok_or_else(too_little)?;
        if let Some(first) = origins.iter().position(|origin| *origin == Origin::Forecast)
            && first < spans.horizon.len()
        {
            notes.push(format!(
                "prices from {} are expected from earlier days ({} known), not published",
                day_and_clock(spans.horizon.slots()[first].start(), zone),
                days_known(&diary)
            ));
        }
        let coming = diary.horizon.slots()[diary.now..].to_vec();
        let expected = forecast::prices(&diary, coming.len()).ok_or_else(too_little)?;
        (coming, expected)
    } else {
        (Vec::new(), Vec::new())
    };
    let complete = |rates: Vec<Option<Price>>, pick: fn(&Expected) -> Price| {
        let slots = spans.all.slots().iter().zip(rates);
        let or_expected = |(slot, rate): (&Slot, Option<Price>)| {
            rate.unwrap_or_else(|| mean(*slot, &half_hours, &expected, pick))
        };
        slots.map(or_expected).collect()
    };
    Ok(Priced {
        import: complete(import, |expected| expected.import),
        export: complete(export, |expected| expected.export),
        origins,
    })
}

/// Rates of past and coming half-hours, as far as they are published.
fn diary(
    wholesale: &Wholesale,
    spans: &Spans,
    zone: Tz,
    rated: impl Fn(&Horizon) -> Rated,
) -> Option<Diary> {
    let half_hour = |at: Instant| Instant::from_unix(at.unix().div_euclid(HALF_HOUR) * HALF_HOUR);
    let now = half_hour(spans.all.start());
    // What is before the first price says nothing.
    let series = [&wholesale.import, &wholesale.export];
    let firsts = series.into_iter().filter_map(|prices| prices.points().first());
    let oldest = firsts.map(|(slot, _)| half_hour(slot.start())).min()?;
    let start = oldest.max(now + -MEMORY_DAYS * 86_400).min(now);
    let count = (spans.all.end() - start + HALF_HOUR - 1) / HALF_HOUR;
    let horizon = Horizon::regular(start, HALF_HOUR, usize::try_from(count).ok()?).ok()?;
    let Rated { import, export } = rated(&horizon);
    Some(Diary {
        marks: horizon.slots().iter().map(|slot| mark(slot.start(), zone)).collect(),
        now: usize::try_from((now - start) / HALF_HOUR).ok()?,
        import_price: import,
        export_price: export,
        pv: vec![None; horizon.len()],
        base_load: vec![None; horizon.len()],
        litres: Vec::new(),
        last_draw: Vec::new(),
        agreed: None,
        horizon,
    })
}

/// Local days before now that have a price.
fn days_known(diary: &Diary) -> usize {
    let past = (0..diary.now)
        .filter(|&slot| diary.import_price[slot].is_some() && diary.export_price[slot].is_some());
    past.map(|slot| diary.marks[slot].day).collect::<BTreeSet<_>>().len()
}

/// Mean over a slot of what is expected of half-hours.
fn mean(
    slot: Slot,
    half_hours: &[Slot],
    expected: &[Expected],
    pick: fn(&Expected) -> Price,
) -> Price {
    let shares = half_hours.iter().zip(expected).map(|(half_hour, expected)| {
        pick(expected).per_kwh() * half_hour.overlap_seconds(slot) as f64
    });
    Price::clamped(shares.sum::<f64>() / slot.seconds() as f64)
}

#[cfg(test)]
mod tests;
