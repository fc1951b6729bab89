//! Unit rates of the slots of a horizon.

use chrono::NaiveTime;
use chrono_tz::Tz;
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::Price;

use super::bands::{rate_at, seconds};
use super::{Band, Index, Rates, Tariff};
use crate::local_time::{offset_seconds, time_of_day};
use crate::series::{PriceError, Prices, SeriesFile};

/// Every zone has changed its clock at whole quarters of an hour in universal
/// time since 1972, so the local clock runs evenly between two of them [s].
const QUARTER: i64 = 900;

/// The price series behind the two directions of a tariff; empty for a
/// direction that is priced by bands.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wholesale {
    /// Prices that import follows.
    pub import: Prices,
    /// Prices that export follows.
    pub export: Prices,
}

impl Wholesale {
    /// The prices that a tariff follows, from a file.
    ///
    /// # Errors
    /// If a column is missing or ambiguous, or its prices are in another
    /// currency or look as if they were in another unit.
    pub fn from_file(file: &SeriesFile, tariff: &Tariff) -> Result<Self, PriceError> {
        let prices = |rates: &Rates| match rates {
            Rates::Bands(_) => Ok(Prices::default()),
            Rates::Indexed(index) => file.prices(index.column.as_deref(), &tariff.currency),
        };
        Ok(Self { import: prices(&tariff.import)?, export: prices(&tariff.export)? })
    }
}

/// Unit rates of the slots of a horizon; `None` where a price is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Rated {
    /// Price of import.
    pub import: Vec<Option<Price>>,
    /// Price paid for export.
    pub export: Vec<Option<Price>>,
}

/// Unit rates of the slots of a horizon.
///
/// `period_seconds` is the meter's own period, where it is known: its index
/// price is the mean over the whole period, whatever part of it a slot covers.
/// Otherwise each interval of the price series is billed by itself. A slot over
/// several periods or bands has the mean over time of their rates, each with
/// cap and floor applied. The standing charge is in no unit rate.
pub fn unit_rates(
    tariff: &Tariff,
    wholesale: &Wholesale,
    horizon: &Horizon,
    zone: Tz,
    period_seconds: Option<i64>,
) -> Rated {
    let rate = |rates: &Rates, prices: &Prices| {
        let billing = Billing { rates, prices, zone, period: period_seconds.filter(|p| *p > 0) };
        horizon.slots().iter().map(|slot| billing.rate(*slot)).collect()
    };
    Rated {
        import: rate(&tariff.import, &wholesale.import),
        export: rate(&tariff.export, &wholesale.export),
    }
}

impl Index {
    /// The unit rate at an index price and a local time of day.
    pub fn unit_rate(&self, price: Price, time: NaiveTime) -> Price {
        let adder = rate_at(&self.adders, time).map_or(0.0, Price::per_kwh);
        let net = price.per_kwh() * self.factor + adder;
        let gross = net * (1.0 + self.vat);
        let floored = self.floor.map_or(gross, |floor| gross.max(floor.per_kwh()));
        Price::clamped(self.cap.map_or(floored, |cap| floored.min(cap.per_kwh())))
    }
}

/// One direction of a tariff with everything its rates depend on.
struct Billing<'a> {
    rates: &'a Rates,
    prices: &'a Prices,
    zone: Tz,
    period: Option<i64>,
}

impl Billing<'_> {
    /// Mean over time of the rates in a slot.
    fn rate(&self, slot: Slot) -> Option<Price> {
        let mut sum = 0.0;
        for piece in self.pieces(slot) {
            let share = piece.seconds() as f64 / slot.seconds() as f64;
            sum += self.piece_rate(piece)?.per_kwh() * share;
        }
        Some(Price::clamped(sum))
    }

    fn piece_rate(&self, piece: Slot) -> Option<Price> {
        let time = time_of_day(piece.start(), self.zone);
        match self.rates {
            Rates::Bands(bands) => rate_at(bands, time),
            Rates::Indexed(index) => {
                let price = self.prices.mean_over(self.billed(piece))?;
                Some(index.unit_rate(price, time))
            }
        }
    }

    /// The period of the meter that a piece lies in; they begin at midnight on
    /// the local clock.
    fn billed(&self, piece: Slot) -> Slot {
        let Some(period) = self.period else { return piece };
        let offset = offset_seconds(piece.start(), self.zone);
        let into = (piece.start().unix() + offset).rem_euclid(period);
        let start = piece.start() + -into;
        Slot::new(start, start + period).unwrap_or(piece)
    }

    /// A slot, cut wherever the rate can change.
    fn pieces(&self, slot: Slot) -> impl Iterator<Item = Slot> {
        let bands: &[Band] = match self.rates {
            Rates::Bands(bands) => bands,
            Rates::Indexed(index) => &index.adders,
        };
        let mut cuts = vec![slot.start(), slot.end()];
        let grid = self.period.map_or(QUARTER, |period| greatest_common_divisor(QUARTER, period));
        let first = slot.start().unix().div_euclid(grid) + 1;
        cuts.extend(
            (first..).map(|n| Instant::from_unix(n * grid)).take_while(|cut| *cut < slot.end()),
        );
        cuts.extend(self.prices.touching(slot).flat_map(|(point, _)| [point.start(), point.end()]));
        cuts.sort_unstable();
        let edges: Vec<Instant> = cuts
            .windows(2)
            .filter_map(|pair| Slot::new(pair[0], pair[1]))
            .flat_map(|even| self.band_edges(bands, even))
            .collect();
        cuts.extend(edges);
        cuts.retain(|cut| slot.start() <= *cut && *cut <= slot.end());
        cuts.sort_unstable();
        cuts.dedup();
        (1..cuts.len()).filter_map(move |end| Slot::new(cuts[end - 1], cuts[end]))
    }

    /// Instants at which a band begins or ends, in a span over which the local
    /// clock runs evenly.
    fn band_edges(&self, bands: &[Band], span: Slot) -> Vec<Instant> {
        let shown = i64::from(seconds(time_of_day(span.start(), self.zone)));
        bands
            .iter()
            .flat_map(|band| [band.from, band.until])
            .map(|edge| span.start() + (i64::from(seconds(edge)) - shown).rem_euclid(86_400))
            .filter(|edge| span.contains(*edge))
            .collect()
    }
}

fn greatest_common_divisor(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests;
