//! What the `[service]` table of a site file means.

use std::net::SocketAddr;
use std::path::PathBuf;

use optimiser::site::{Sink, Source, Store};
use optimiser::units::Fraction;

use super::app;
use super::commands::Feeder;
use super::homie::{TreeSink, TreeSource, TreeSpec, TreeStore};
use super::link::Topic;
use super::prices::ListMap;
use super::readings::{Limits, Shape, Unit};
use super::state::Role;
use super::wire::topics::level;
use crate::house::House;
use crate::series::PriceUnit;

/// What the service works with, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceSettings {
    /// The broker.
    pub broker: BrokerSettings,
    /// What is measured.
    pub inputs: Vec<InputSettings>,
    /// Where prices come from; nowhere if the tariff follows none.
    pub prices: Option<PriceSource>,
    /// Where forecasts come from.
    pub forecasts: Vec<ForecastSource>,
    /// The Homie tree.
    pub homie: HomieSettings,
    /// Whether the battery obeys set-points; otherwise it regulates itself.
    pub commands_battery: bool,
    /// Whether switching on is spread over ten minutes.
    pub start_offset: bool,
    /// Share of its import cost that a new schedule must save to take the place of
    /// the one that is out.
    pub change_share: f64,
    /// Where health is answered over HTTP.
    pub http: Option<SocketAddr>,
    /// Folder of what is remembered.
    pub state_folder: Option<PathBuf>,
    /// Form of the log.
    pub log_format: LogFormat,
}

/// The broker, as the site file names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerSettings {
    /// Name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Name of the service at the broker.
    pub client_id: String,
    /// First levels of the own topics.
    pub prefix: String,
    /// Name of the user and where the password is.
    pub login: Option<(String, SecretPlace)>,
    /// TLS; plain text if it is not asked for.
    pub tls: Option<TlsSettings>,
}

/// TLS to the broker, as the site file names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TlsSettings {
    /// File of the authorities that the broker's certificate must lead to; the
    /// system's if there is none.
    pub authority: Option<PathBuf>,
    /// File of our own certificate, and where its key is.
    pub identity: Option<(PathBuf, SecretPlace)>,
}

/// Where a secret is; never in the site file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecretPlace {
    /// In a file.
    File(PathBuf),
    /// Among the credentials of the systemd unit, under this name.
    Credential(String),
}

/// An input, as the site file names it.
#[derive(Debug, Clone, PartialEq)]
pub struct InputSettings {
    /// Name in messages.
    pub name: String,
    /// Where it arrives.
    pub topic: Topic,
    /// What it is to the plant room.
    pub role: Role,
    /// Height of a probe as a share of the store's.
    pub height: Option<Fraction>,
    /// Where the number is in the payload.
    pub shape: Shape,
    /// Unit of the number.
    pub unit: Unit,
    /// What it may physically be.
    pub limits: Limits,
}

/// Where a document comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A file that is read when it changes.
    File(PathBuf),
    /// A topic.
    Topic(Topic),
    /// An address that is asked every so many seconds.
    Url(String, u64),
}

/// Where prices come from.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceSource {
    /// The place.
    pub place: Place,
    /// Their form.
    pub form: PriceForm,
}

/// Form of a price document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PriceForm {
    /// A CSV series.
    Series,
    /// A list in JSON, its values in this unit.
    Json(Box<ListMap>, PriceUnit),
    /// OpenADR 3 events.
    OpenAdr,
}

/// What a forecast is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ForecastOf {
    /// Sun, temperature and wind.
    Weather,
    /// The PV system.
    Pv,
    /// The rest of the house.
    Load,
    /// Hot water.
    Draws,
    /// The air outside.
    Outdoor,
}

impl ForecastOf {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Weather, Self::Pv, Self::Load, Self::Draws, Self::Outdoor];

    /// Its key in the site file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Weather => "weather",
            Self::Pv => "pv",
            Self::Load => "load",
            Self::Draws => "draws",
            Self::Outdoor => "outdoor",
        }
    }
}

/// Where a forecast comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForecastSource {
    /// What it is of.
    pub of: ForecastOf,
    /// The place.
    pub place: Place,
    /// An older one is not planned with [s].
    pub max_age_s: i64,
}

/// The Homie tree, as the site file wants it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HomieSettings {
    /// Whether it is shown; an earlier one is taken down otherwise.
    pub on: bool,
    /// Whether it is mirrored as Homie 4.
    pub mirror: bool,
    /// First level of its topics.
    pub domain: String,
}

impl HomieSettings {
    /// What the tree of a house shows.
    pub fn spec(&self, house: &House) -> TreeSpec {
        let names = |store: &Store| store.elements.iter().map(|e| e.name.clone()).collect();
        let stores = house.site.stores.iter();
        TreeSpec {
            domain: self.domain.clone(),
            instance: level(&house.name),
            name: house.name.clone(),
            currency: house.tariff.currency.clone(),
            stores: stores
                .map(|store| TreeStore { name: store.name.clone(), heaters: names(store) })
                .collect(),
            sources: app::feeders(house)
                .into_iter()
                .map(|own| TreeSource {
                    pump: matches!(own.feeder, Feeder::Source(Source::HeatPump(_))),
                    name: own.name,
                })
                .collect(),
            sinks: app::sinks(house)
                .into_iter()
                .map(|(sink, name)| TreeSink { name, rooms: sink == Sink::Rooms })
                .collect(),
            battery: house.site.battery.is_some(),
        }
    }
}

/// Form of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

/// Reads a unit of price such as `EUR/MWh` or `p/kWh`; `None` if it is none, or
/// in another currency than this one.
pub fn price_unit(text: &str, currency: &str) -> Option<PriceUnit> {
    let (money, energy) = text.split_once('/')?;
    let money = money.trim();
    let is_major = money.eq_ignore_ascii_case(currency);
    let minor: &[&str] = match currency {
        "GBP" => &["p", "pence", "minor"],
        _ => &["c", "ct", "cent", "cents", "öre", "øre", "minor"],
    };
    let is_minor = minor.contains(&money.to_lowercase().as_str());
    match (is_major, is_minor, energy.trim().to_lowercase().as_str()) {
        (true, _, "mwh") => Some(PriceUnit::MajorPerMwh),
        (true, _, "kwh") => Some(PriceUnit::MajorPerKwh),
        (_, true, "kwh") => Some(PriceUnit::MinorPerKwh),
        (_, true, "mwh") => Some(PriceUnit::MinorPerMwh),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_price_unit_has_money_and_energy() {
        assert_eq!(price_unit("EUR/MWh", "EUR"), Some(PriceUnit::MajorPerMwh));
        assert_eq!(price_unit("eur/KWH", "EUR"), Some(PriceUnit::MajorPerKwh));
        assert_eq!(price_unit("p/kWh", "GBP"), Some(PriceUnit::MinorPerKwh));
        assert_eq!(price_unit("ct/kWh", "EUR"), Some(PriceUnit::MinorPerKwh));
        for bad in ["EUR", "GBP/MWh", "p/kWh", "EUR/MW", "kWh/EUR"] {
            assert_eq!(price_unit(bad, "EUR"), None, "{bad}");
        }
    }
}
