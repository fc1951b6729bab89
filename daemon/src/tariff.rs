//! How prices become unit rates in minor units per kWh.

mod bands;
mod rates;

pub use bands::{BandFault, band_faults};
pub use rates::{Rated, Wholesale, unit_rates};

use chrono::NaiveTime;
use optimiser::units::Price;

/// A tariff: how import and export are priced.
#[derive(Debug, Clone, PartialEq)]
pub struct Tariff {
    /// ISO 4217 code of the currency, such as `GBP`.
    pub currency: String,
    /// Import.
    pub import: Rates,
    /// Export.
    pub export: Rates,
    /// Charge per day, whatever is used \[minor\].
    pub standing_charge_per_day: f64,
    /// Local time at which the prices of the next local day become known, where
    /// they follow a series.
    pub published_at: NaiveTime,
}

/// How one direction is priced.
#[derive(Debug, Clone, PartialEq)]
pub enum Rates {
    /// Unit rates by local time of day.
    Bands(Vec<Band>),
    /// From a price series, by the contract's formula.
    Indexed(Index),
}

/// A unit rate from a local time of day until another; `until` at or before
/// `from` runs past midnight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Start of the band.
    pub from: NaiveTime,
    /// End of the band.
    pub until: NaiveTime,
    /// Unit rate, all included.
    pub rate: Price,
}

/// A contract that follows a price series:
/// `clamp((price·factor + adder(local time))·(1 + VAT), floor, cap)`.
#[derive(Debug, Clone, PartialEq)]
pub struct Index {
    /// Column of the price file, such as `price_eur_per_mwh`.
    pub column: Option<String>,
    /// Factor on the series.
    pub factor: f64,
    /// Added by local time of day, before VAT; none means zero.
    pub adders: Vec<Band>,
    /// Value-added tax, 0.05 for 5 %.
    pub vat: f64,
    /// The unit rate is never above this.
    pub cap: Option<Price>,
    /// The unit rate is never below this.
    pub floor: Option<Price>,
}
