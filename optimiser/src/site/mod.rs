//! What stands in the plant room: grid connection, battery, stores, elements,
//! and whatever else makes, holds and uses heat ([`PlantRoom`]).
//!
//! These are facts about the house, without time. [`Site::faults`] lists every
//! physical contradiction at once; a [`crate::Problem`] is only made from a
//! site without faults.

mod battery;
mod boiler;
mod buffer;
mod collectors;
mod heat_pump;
mod phases;
mod plant_room;
mod pool;
mod rooms;
mod store;
mod store_faults;

pub use battery::Battery;
pub use boiler::{Boiler, Fuel};
pub use buffer::Buffer;
pub use collectors::{Collectors, SolarPriority};
pub use heat_pump::{CapacityLine, HeatPump, HeatSource, Performance, RatingPoint};
pub use phases::{Connection, Metering, Phases};
pub use plant_room::{PlantRoom, Route, Sink, Source};
pub use pool::{Evaporation, Exposure, Pool};
pub use rooms::{HeatingCurve, Rooms};
pub use store::{Coil, Control, Element, ReturnLoop, Store};

use crate::units::{Power, Temperature};
use battery::battery_faults;
use store_faults::store_faults;

/// No store may be planned hotter than this, whatever the site says.
/// Handbook rule after BS EN 1490:2000 and the usual unvented chain: 80 °C and
/// at least 5 K below the cut-out.
pub const HARD_CEILING: Temperature = Temperature::constant(80.0);

/// Least distance of the ceiling from the cut-out [K].
pub const CUT_OUT_MARGIN_K: f64 = 5.0;

/// A house: one grid connection, perhaps a battery, and at least one store.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// The connection to the grid.
    pub grid: Grid,
    /// The battery, if there is one.
    pub battery: Option<Battery>,
    /// The heat stores.
    pub stores: Vec<Store>,
    /// Sources, circuits and sinks beyond elements and stores.
    pub plant_room: PlantRoom,
}

/// Limits of the grid connection, as power at every instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Most that may be taken from the grid: the fuse, or a lower agreed limit.
    pub import_limit: Power,
    /// Most that may be fed into the grid; zero where export is not allowed.
    pub export_limit: Power,
}

/// A contradiction in a site, with the place it was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{place}: {rule}")]
pub struct SiteFault {
    /// Where: `grid`, `battery`, ``store `name` ``, ``element `name` of store
    /// `name` ``, ``heat pump `name` ``, `boiler`, `pool` and so on.
    pub place: String,
    /// Index of the store, where the fault is in one.
    pub store: Option<usize>,
    /// Index of the element, where the fault is in one.
    pub element: Option<usize>,
    /// Field at fault, as named in this module.
    pub field: &'static str,
    /// The rule that is broken, with the values, and what would mend it.
    pub rule: String,
}

impl Site {
    /// Every contradiction in the site, in the order grid, battery, stores,
    /// plant room.
    pub fn faults(&self) -> Vec<SiteFault> {
        let mut faults = Vec::new();
        if self.grid.import_limit.kw() <= 0.0 {
            faults.push(fault(
                "grid",
                "import_limit",
                "the import limit is zero; give the main fuse or the agreed limit",
            ));
        }
        if let Some(battery) = &self.battery {
            battery_faults(battery, &mut faults);
        }
        if self.stores.is_empty() {
            faults.push(fault("site", "stores", "there is no store; describe at least one"));
        }
        for (index, store) in self.stores.iter().enumerate() {
            store_faults(index, store, &mut faults);
            if self.stores[..index].iter().any(|other| other.name == store.name) {
                faults.push(SiteFault {
                    store: Some(index),
                    ..fault(
                        &format!("store `{}`", store.name),
                        "name",
                        "another store has the same name; names must differ",
                    )
                });
            }
        }
        self.plant_room.faults(&self.stores, &mut faults);
        faults
    }
}

fn fault(place: &str, field: &'static str, rule: &str) -> SiteFault {
    SiteFault { place: place.to_owned(), store: None, element: None, field, rule: rule.to_owned() }
}

/// Adds a fault unless a plain number is finite and in a range.
fn expect_within(
    faults: &mut Vec<SiteFault>,
    place: &str,
    field: &'static str,
    value: f64,
    (low, high, unit): (f64, f64, &str),
) {
    if !(value.is_finite() && (low..=high).contains(&value)) {
        let rule = format!("{value} {unit} is out of range; {low} to {high} {unit} is accepted");
        faults.push(fault(place, field, &rule));
    }
}
