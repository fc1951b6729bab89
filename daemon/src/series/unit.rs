//! Units of a series, as the header of a column states them.

use std::fmt;

use optimiser::units::{Price, Temperature};

/// What kind of quantity a column holds, which also fixes the unit its values
/// are kept in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Price of energy [minor unit/kWh].
    Price,
    /// Energy of the interval \[kWh\].
    Energy,
    /// Mean power over the interval \[kW\].
    Power,
    /// Mean irradiance over the interval [W/m²].
    Irradiance,
    /// Radiant energy of the interval [Wh/m²].
    Irradiation,
    /// Temperature [°C].
    Temperature,
    /// Speed of wind [m/s].
    Speed,
    /// Volume of the interval \[L\].
    Volume,
    /// Depth of rain or snow of the interval \[mm\].
    Depth,
    /// Pressure \[hPa\].
    Pressure,
    /// Share of a whole, such as relative humidity [%].
    Share,
}

impl Dimension {
    /// Unit that values are kept in.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Price => "minor unit/kWh",
            Self::Energy => "kWh",
            Self::Power => "kW",
            Self::Irradiance => "W/m²",
            Self::Irradiation => "Wh/m²",
            Self::Temperature => "°C",
            Self::Speed => "m/s",
            Self::Volume => "L",
            Self::Depth => "mm",
            Self::Pressure => "hPa",
            Self::Share => "%",
        }
    }

    /// Whether a value is an amount that belongs to its interval, so that half
    /// the interval holds half of it. Otherwise it is a mean over the interval.
    pub const fn is_extensive(self) -> bool {
        matches!(self, Self::Energy | Self::Irradiation | Self::Volume | Self::Depth)
    }

    /// Smallest and largest value accepted. A reading beyond is a fault of the
    /// sensor or a code for a missing value, never weather or a household.
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Price => (Price::MIN, Price::MAX),
            Self::Energy => (-10_000.0, 10_000.0),
            Self::Power => (-1_000.0, 1_000.0),
            // Pyranometers read a few W/m² below zero at night.
            Self::Irradiance | Self::Irradiation => (-20.0, 2_000.0),
            Self::Temperature => (Temperature::MIN, Temperature::MAX),
            Self::Speed => (0.0, 120.0),
            Self::Volume => (0.0, 100_000.0),
            Self::Depth => (0.0, 1_000.0),
            Self::Pressure => (400.0, 1_200.0),
            // Hygrometers read a little over 100 % in fog.
            Self::Share => (0.0, 110.0),
        }
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Price => "price",
            Self::Energy => "energy",
            Self::Power => "power",
            Self::Irradiance => "irradiance",
            Self::Irradiation => "irradiation",
            Self::Temperature => "temperature",
            Self::Speed => "speed",
            Self::Volume => "volume",
            Self::Depth => "depth",
            Self::Pressure => "pressure",
            Self::Share => "share",
        })
    }
}

/// A unit in a header, with the way from it to the unit values are kept in:
/// `(value + shift) · times / over`. Two whole numbers keep decimal figures
/// exact where one factor would not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unit {
    pub(super) suffix: &'static str,
    pub(super) dimension: Dimension,
    shift: f64,
    times: f64,
    over: f64,
}

impl Unit {
    pub(super) fn convert(&self, value: f64) -> f64 {
        (value + self.shift) * self.times / self.over
    }
}

const fn unit(suffix: &'static str, dimension: Dimension, times: f64, over: f64) -> Unit {
    Unit { suffix, dimension, shift: 0.0, times, over }
}

/// Every unit but prices, which have as many as there are currencies.
pub(super) const UNITS: [Unit; 26] = [
    unit("kwh", Dimension::Energy, 1.0, 1.0),
    unit("wh", Dimension::Energy, 1.0, 1_000.0),
    unit("mwh", Dimension::Energy, 1_000.0, 1.0),
    unit("kw", Dimension::Power, 1.0, 1.0),
    unit("w", Dimension::Power, 1.0, 1_000.0),
    unit("w_per_m2", Dimension::Irradiance, 1.0, 1.0),
    unit("kw_per_m2", Dimension::Irradiance, 1_000.0, 1.0),
    unit("wh_per_m2", Dimension::Irradiation, 1.0, 1.0),
    unit("kwh_per_m2", Dimension::Irradiation, 1_000.0, 1.0),
    unit("c", Dimension::Temperature, 1.0, 1.0),
    unit("degc", Dimension::Temperature, 1.0, 1.0),
    Unit { shift: -273.15, ..unit("k", Dimension::Temperature, 1.0, 1.0) },
    Unit { shift: -32.0, ..unit("f", Dimension::Temperature, 5.0, 9.0) },
    Unit { shift: -32.0, ..unit("degf", Dimension::Temperature, 5.0, 9.0) },
    unit("m_per_s", Dimension::Speed, 1.0, 1.0),
    unit("km_per_h", Dimension::Speed, 1_000.0, 3_600.0),
    unit("knots", Dimension::Speed, 1_852.0, 3_600.0),
    unit("mph", Dimension::Speed, 1_609.344, 3_600.0),
    unit("l", Dimension::Volume, 1.0, 1.0),
    unit("litres", Dimension::Volume, 1.0, 1.0),
    unit("m3", Dimension::Volume, 1_000.0, 1.0),
    unit("mm", Dimension::Depth, 1.0, 1.0),
    unit("pa", Dimension::Pressure, 1.0, 100.0),
    unit("hpa", Dimension::Pressure, 1.0, 1.0),
    unit("kpa", Dimension::Pressure, 10.0, 1.0),
    unit("pct", Dimension::Share, 1.0, 1.0),
];

/// Units that a price can be stated in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PriceUnit {
    /// Such as EUR/MWh, the unit of wholesale markets.
    MajorPerMwh,
    /// Such as EUR/kWh.
    MajorPerKwh,
    /// Such as p/kWh, the unit of bills and the one kept here.
    MinorPerKwh,
    /// Such as cent/MWh; nobody uses it, but a slip can make it.
    MinorPerMwh,
}

impl PriceUnit {
    /// All of them.
    pub const ALL: [Self; 4] =
        [Self::MajorPerMwh, Self::MinorPerKwh, Self::MajorPerKwh, Self::MinorPerMwh];

    /// The words for it in a currency.
    pub fn words(self, currency: &str) -> String {
        match self {
            Self::MajorPerMwh => format!("{currency} per MWh"),
            Self::MajorPerKwh => format!("{currency} per kWh"),
            Self::MinorPerKwh => format!("minor units of {currency} per kWh"),
            Self::MinorPerMwh => format!("minor units of {currency} per MWh"),
        }
    }

    /// Minor units per kWh that one of this unit is.
    pub fn minor_per_kwh(self, currency: &str) -> f64 {
        let (times, over) = self.ratio(currency);
        times / over
    }

    fn ratio(self, currency: &str) -> (f64, f64) {
        match self {
            Self::MajorPerMwh => (minor_units(currency), 1_000.0),
            Self::MajorPerKwh => (minor_units(currency), 1.0),
            Self::MinorPerKwh => (1.0, 1.0),
            Self::MinorPerMwh => (1.0, 1_000.0),
        }
    }

    /// From the money and the energy in a header.
    pub(super) fn from_words(money: &Money, per: &str) -> Option<Self> {
        match (money, per) {
            (Money::Major(_), "mwh") => Some(Self::MajorPerMwh),
            (Money::Major(_), "kwh") => Some(Self::MajorPerKwh),
            (Money::Minor(_), "kwh") => Some(Self::MinorPerKwh),
            (Money::Minor(_), "mwh") => Some(Self::MinorPerMwh),
            _ => None,
        }
    }

    /// As a unit to convert with.
    pub(super) fn unit(self, currency: &str) -> Unit {
        let (times, over) = self.ratio(currency);
        unit("", Dimension::Price, times, over)
    }
}

/// The money in a header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Money {
    /// A currency by its ISO 4217 code.
    Major(String),
    /// A minor unit, with the currency where the word belongs to one alone.
    Minor(Option<&'static str>),
}

impl Money {
    /// The currency, where it is known.
    pub(super) fn currency(&self) -> Option<&str> {
        match self {
            Self::Major(code) => Some(code),
            Self::Minor(code) => *code,
        }
    }

    /// Reads a word of a header in lower case.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        match word {
            "p" | "pence" => Some(Self::Minor(Some("GBP"))),
            "c" | "ct" | "cent" | "cents" | "ore" | "oere" | "øre" | "öre" | "minor" => {
                Some(Self::Minor(None))
            }
            _ if word.len() == 3 && word.bytes().all(|byte| byte.is_ascii_lowercase()) => {
                Some(Self::Major(word.to_uppercase()))
            }
            _ => None,
        }
    }
}

/// Minor units in one major unit of a currency: ISO 4217, list one.
pub fn minor_units(code: &str) -> f64 {
    match code {
        "BIF" | "CLP" | "DJF" | "GNF" | "ISK" | "JPY" | "KMF" | "KRW" | "PYG" | "RWF" | "UGX"
        | "VND" | "VUV" | "XAF" | "XOF" | "XPF" => 1.0,
        "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 1_000.0,
        _ => 100.0,
    }
}
