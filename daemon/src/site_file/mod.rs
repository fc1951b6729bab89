//! The site file: a house in TOML, read with all its problems at once.
//!
//! One table of keys drives both the reader and the JSON Schema.
//! The reader first walks the whole document and records every unknown key,
//! wrong type, missing key and number out of range; then it gives the values
//! their meaning and checks them against each other. Nothing stops at the
//! first fault.

mod broker;
mod cautions;
mod fault;
mod habits;
mod inputs;
mod keys;
mod money;
mod options;
mod patterns;
mod place;
mod plant_room;
mod pv;
mod scalar;
mod schema;
mod service;
mod shape;
mod steps;
mod stores;
mod summary;
mod supply;
mod tree;

use optimiser::problem::HeaterId;
use optimiser::site::Site;
use optimiser::units::{Current, HeatLoss};

use self::fault::Faults;
pub use self::fault::{Fault, Report, Severity};
pub use self::options::{Offer, Options, options};
pub use self::place::{Place, place, with_numbers};
pub use self::schema::schema;
pub use self::summary::summary;
pub(crate) use self::summary::{electric, highest_load, sink_in_words, source_in_words};
use crate::house::House;
use crate::service::settings::ServiceSettings;

/// A house that passed every check, with what its summary needs besides.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// The house.
    pub house: House,
    /// What is allowed but deserves a look, in the order of the file.
    pub warnings: Vec<Fault>,
    /// Circuits with a stated rating.
    pub circuits: Vec<Circuit>,
    /// Each element's wiring, store by store.
    pub wiring: Vec<Wiring>,
    /// For each store, where its loss is known from.
    pub losses: Vec<LossBasis>,
    /// What the background service works with, if the file says.
    pub service: Option<ServiceSettings>,
}

/// A circuit that feeds elements.
#[derive(Debug, Clone, PartialEq)]
pub struct Circuit {
    /// Its name; `store / element` for the circuit of one element.
    pub name: String,
    /// Rating of its protective device.
    pub rating: Current,
    /// Current with all its elements on.
    pub load: Current,
}

/// How an element is wired.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wiring {
    /// The element.
    pub heater: HeaterId,
    /// Phases it is wired to.
    pub phases: u8,
    /// Current on each of them.
    pub current: Current,
    /// Index of its circuit, if it is stated.
    pub circuit: Option<usize>,
}

/// Where a store's loss is known from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossBasis {
    /// Loss by the label, if the label was given.
    pub label: Option<HeatLoss>,
    /// Loss as installed over loss by the label, if stated.
    pub site_factor: Option<f64>,
    /// Insulation, if stated.
    pub insulation: Option<Insulation>,
}

/// Insulation of a store.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Insulation {
    /// A loose jacket rather than factory insulation.
    pub jacket: bool,
    /// Thickness [mm].
    pub millimetres: f64,
}

/// Reads a site file; `file_name` is only used in messages.
///
/// # Errors
/// Every problem of the file at once, each with line, column, the text at
/// fault, the rule and what would mend it.
pub fn read(text: &str, file_name: &str) -> Result<Checked, Report> {
    let mut faults = Faults::new(text, file_name);
    let checked = tree::parse(text, &keys::ROOT, &mut faults)
        .map(|root| checked(&root, &mut faults))
        .filter(|_| !faults.any_error());
    match checked {
        Some(checked) => Ok(Checked { warnings: faults.sorted(Severity::Warning), ..checked }),
        None => Err(Report { faults: faults.sorted(Severity::Error) }),
    }
}

fn checked(root: &tree::Node, faults: &mut Faults) -> Checked {
    let named = root.part("site");
    let supply = supply::supply(root.part("grid"), faults);
    let (mut stores, mut cold_water, mut losses) = (Vec::new(), Vec::new(), Vec::new());
    for node in root.tables("store") {
        let (store, by_month, loss) = stores::store(node, faults);
        stores.push(store);
        cold_water.push(by_month);
        losses.push(loss);
    }
    let (room, facts) = plant_room::plant_room(root, &stores, &supply, faults);
    let site = Site {
        grid: supply::grid(root.part("grid"), &supply, faults),
        battery: root.table("battery").map(|node| supply::battery(node, faults)),
        stores,
        plant_room: room,
    };
    stores::site_faults(&site, root, faults);
    let (wiring, circuits) = stores::wiring(root, &site, &supply, faults);
    let currency = supply::currency(named, faults);
    let house = House {
        name: named.text("name").to_owned(),
        time_zone: supply::time_zone(named, faults),
        series_marks: supply::series_marks(named),
        location: root.table("location").map(supply::location),
        supply,
        tariff: money::tariff(root.part("tariff"), currency, faults),
        pv: root.table("pv").and_then(|node| pv::pv(node, root, faults)),
        base_load: supply::base_load(root.part("base_load"), faults),
        draws: habits::draws(root, &site.stores, faults),
        ready: habits::ready(root, &site.stores, faults),
        hygiene: habits::hygiene(root, &site.stores, faults),
        state: habits::state(root, &site, &facts, faults),
        plant_room: facts,
        cold_water,
        site,
    };
    let service =
        root.table("service").and_then(|node| service::service(node, root, &house, faults));
    if !faults.any_error() {
        cautions::warn(root, &house, &losses, &wiring, faults);
    }
    Checked { house, warnings: Vec::new(), circuits, wiring, losses, service }
}
