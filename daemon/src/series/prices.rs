//! Prices in time, as a file, a topic or a test gives them.

use optimiser::time::{Instant, Slot};
use optimiser::units::Price;

use super::plausibility::{UnitSlip, unit_slip};
use super::{Column, ColumnError, Dimension, PriceUnit, SeriesFile, resample};

/// Prices of slots in order of time, which may leave gaps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Prices(Vec<(Slot, Option<Price>)>);

/// Why a file does not give prices.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PriceError {
    /// There is no such column.
    #[error(transparent)]
    Column(#[from] ColumnError),
    /// The column holds something else.
    #[error(
        "{file}, column {header} holds {dimension}, not prices; name a column such as \
         price_eur_per_mwh"
    )]
    NotPrices {
        /// Name of the file.
        file: String,
        /// Header of the column.
        header: String,
        /// What it holds.
        dimension: Dimension,
    },
    /// The prices are in another currency than the tariff.
    #[error(
        "{file}, column {header} is in {found}, but the tariff is in {wanted}; state the tariff \
         in {found}, or give prices in {wanted}"
    )]
    Currency {
        /// Name of the file.
        file: String,
        /// Header of the column.
        header: String,
        /// Currency of the column.
        found: String,
        /// Currency of the tariff.
        wanted: String,
    },
    /// The prices look as if they were in another unit.
    #[error("{file}, column {header}: {slip}")]
    UnitSlip {
        /// Name of the file.
        file: String,
        /// Header of the column.
        header: String,
        /// What looks wrong.
        slip: UnitSlip,
    },
}

impl Prices {
    /// Takes prices; `None` unless each slot ends before or where the next begins.
    pub fn new(points: Vec<(Slot, Option<Price>)>) -> Option<Self> {
        points.windows(2).all(|pair| pair[0].0.end() <= pair[1].0.start()).then_some(Self(points))
    }

    /// The same prices so many seconds later.
    #[must_use]
    pub fn later(&self, seconds: i64) -> Self {
        let moved = |slot: Slot| Slot::new(slot.start() + seconds, slot.end() + seconds);
        Self(self.0.iter().filter_map(|&(slot, price)| Some((moved(slot)?, price))).collect())
    }

    /// The slots with their prices.
    pub fn points(&self) -> &[(Slot, Option<Price>)] {
        &self.0
    }

    /// Mean over a slot, weighted by time; `None` if any part has no price.
    pub fn mean_over(&self, slot: Slot) -> Option<Price> {
        let pieces = self.touching(slot).map(|(piece, price)| (piece, price.map(Price::per_kwh)));
        resample::mean(pieces, slot).map(Price::clamped)
    }

    /// End of the last slot with a price.
    pub fn known_until(&self) -> Option<Instant> {
        self.known().next_back().map(|(slot, _)| slot.end())
    }

    /// The prices that are not missing.
    pub fn known(&self) -> impl DoubleEndedIterator<Item = (Slot, Price)> {
        self.0.iter().filter_map(|(slot, price)| Some((*slot, (*price)?)))
    }

    /// Those whose slot has ended by an instant.
    #[must_use]
    pub fn until(&self, instant: Instant) -> Self {
        let count = self.0.partition_point(|(slot, _)| slot.end() <= instant);
        Self(self.0[..count].to_vec())
    }

    /// The points that touch a slot.
    pub(crate) fn touching(&self, slot: Slot) -> impl Iterator<Item = (Slot, Option<Price>)> {
        let first = self.0.partition_point(|(point, _)| point.end() <= slot.start());
        self.0[first..].iter().copied().take_while(move |(point, _)| point.start() < slot.end())
    }
}

impl SeriesFile {
    /// The prices of a column for a tariff in a currency; without a header, of
    /// the only column of prices.
    ///
    /// # Errors
    /// If there is no such column, it holds something else or is in another
    /// currency, or the prices look as if they were in another unit.
    pub fn prices(&self, header: Option<&str>, currency: &str) -> Result<Prices, PriceError> {
        let (column, unit) = self.price_column(header)?;
        let prices = self.stated(column, currency)?;
        match unit_slip(&prices, currency, unit) {
            None => Ok(prices),
            Some(slip) => Err(PriceError::UnitSlip {
                file: self.name().into(),
                header: column.header().into(),
                slip,
            }),
        }
    }

    /// The prices as the header states them, for a user who insists that an
    /// unlikely unit is right.
    ///
    /// # Errors
    /// As [`prices`](Self::prices), but for the unit.
    pub fn prices_as_stated(
        &self,
        header: Option<&str>,
        currency: &str,
    ) -> Result<Prices, PriceError> {
        self.stated(self.price_column(header)?.0, currency)
    }

    fn price_column(&self, header: Option<&str>) -> Result<(&Column, PriceUnit), PriceError> {
        let column = match header {
            Some(header) => self.column(header)?,
            None => self.only(Dimension::Price)?,
        };
        let unit = column.price_unit().ok_or_else(|| PriceError::NotPrices {
            file: self.name().into(),
            header: column.header().into(),
            dimension: column.dimension(),
        })?;
        Ok((column, unit))
    }

    fn stated(&self, column: &Column, currency: &str) -> Result<Prices, PriceError> {
        if let Some(found) = column.currency().filter(|found| *found != currency) {
            return Err(PriceError::Currency {
                file: self.name().into(),
                header: column.header().into(),
                found: found.into(),
                wanted: currency.into(),
            });
        }
        let points = self.starts().iter().zip(column.values()).filter_map(|(start, value)| {
            let slot = Slot::new(*start, *start + self.step_seconds())?;
            Some((slot, value.map(Price::clamped)))
        });
        Ok(Prices(points.collect()))
    }
}
