//! Every key of the site file.

mod habits;
mod money;
pub(super) mod service;
mod sinks;
mod sources;
mod stores;
mod supply;

use super::shape::Kind::{Table, Tables};
use super::shape::{Shape, assumed, optional, required};

/// The whole file.
pub(super) static ROOT: Shape = Shape {
    about: "A house with heat stores, PV and battery, as stowheat plans it. Units are suffixes of the keys; local times are in the zone of the site; money per kWh is in minor units of the currency, such as pence or cents.",
    keys: &[
        required("site", Table(&supply::SITE), "Name, zone and currency."),
        optional("location", Table(&supply::LOCATION), "Place on Earth, for sun and weather."),
        required("grid", Table(&supply::GRID), "Main fuse and limits of the grid connection."),
        required("tariff", Table(&money::TARIFF), "How import and export are priced."),
        optional("pv", Table(&supply::PV), "The PV system."),
        optional("battery", Table(&supply::BATTERY), "The battery, seen from its AC side."),
        required("base_load", Table(&supply::BASE_LOAD), "What the rest of the house takes."),
        optional("circuit", Tables(&supply::CIRCUIT), "Circuits that elements name."),
        required("store", Tables(&stores::STORE), "Hot-water stores."),
        optional("heat_pump", Tables(&sources::HEAT_PUMP), "Heat pumps."),
        optional("boiler", Table(&sources::BOILER), "The boiler."),
        optional("collectors", Table(&sources::COLLECTORS), "Solar thermal collectors."),
        optional("buffer", Table(&sources::BUFFER), "Buffer vessel or low-loss header."),
        optional("rooms", Table(&sinks::ROOMS), "The heated rooms."),
        optional("pool", Table(&sinks::POOL), "The pool."),
        optional("climate", Table(&sinks::CLIMATE), "What is assumed of the weather."),
        optional("draws", Tables(&habits::DRAWS), "Hot-water habits."),
        optional("ready", Tables(&habits::READY), "Hot water promised by a local time."),
        optional("hygiene", Tables(&habits::HYGIENE), "Pasteurisation, at most one per store."),
        assumed("state", Table(&habits::STATE), "State of the plant when the file was written."),
        optional("service", Table(&service::SERVICE), "The background service."),
    ],
};
