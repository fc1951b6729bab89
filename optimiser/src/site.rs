//! What stands in the plant room: grid connection, battery, stores, elements.
//!
//! These are facts about the house, without time. [`Site::faults`] lists every
//! physical contradiction at once; a [`crate::Problem`] is only made from a
//! site without faults.

use crate::units::{Energy, Fraction, HeatLoss, Power, Price, Temperature, Volume};
use crate::water;

/// No store may be planned hotter than this, whatever the site says.
/// Handbook rule after BS EN 1490:2000 and the usual unvented chain: 80 °C and
/// at least 5 K below the cut-out.
pub const HARD_CEILING: Temperature = Temperature::constant(80.0);

/// Least distance of the ceiling from the cut-out [K].
pub const CUT_OUT_MARGIN_K: f64 = 5.0;

/// Smallest distance between two rungs of the ladder [K].
const RUNG_SPACING_K: f64 = 2.0;

/// A house: one grid connection, perhaps a battery, and at least one store.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// The connection to the grid.
    pub grid: Grid,
    /// The battery, if there is one.
    pub battery: Option<Battery>,
    /// The heat stores.
    pub stores: Vec<Store>,
}

/// Limits of the grid connection, as power at every instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Most that may be taken from the grid: the fuse, or a lower agreed limit.
    pub import_limit: Power,
    /// Most that may be fed into the grid; zero where export is not allowed.
    pub export_limit: Power,
}

/// A battery seen from its AC side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Battery {
    /// Energy between empty and full.
    pub capacity: Energy,
    /// Level that is never drawn below.
    pub reserve: Energy,
    /// Most AC power into the battery.
    pub charge_limit: Power,
    /// Most AC power out of the battery.
    pub discharge_limit: Power,
    /// Stored energy for each unit of AC energy taken in.
    pub charge_efficiency: Fraction,
    /// AC energy given out for each unit of stored energy.
    pub discharge_efficiency: Fraction,
    /// Cost of wear for each kWh given out.
    pub wear: Price,
    /// Whether it may charge from the grid.
    pub charges_from_grid: bool,
    /// Whether it may discharge into the grid.
    pub exports: bool,
    /// Whether it may feed immersion elements.
    pub feeds_heaters: bool,
}

/// A vertical hot-water store heated by immersion elements.
#[derive(Debug, Clone, PartialEq)]
pub struct Store {
    /// Name used in the schedule and on the wire.
    pub name: String,
    /// Water content.
    pub volume: Volume,
    /// Height of the water column [m].
    pub height_m: f64,
    /// Standing loss of the whole store as installed.
    pub heat_loss: HeatLoss,
    /// Temperature around the store.
    pub surroundings: Temperature,
    /// Temperature of the cold water that replaces a draw.
    pub mains: Temperature,
    /// Temperature from which water is of use at the tap.
    pub use_temperature: Temperature,
    /// No water is planned hotter than this.
    pub ceiling: Temperature,
    /// Non-self-resetting cut-out of the store, if known.
    pub cut_out: Option<Temperature>,
    /// Litres kept at the use temperature for draws that nobody foresaw.
    pub held_back: Volume,
    /// A pump that moves top water to the base, so that a pasteurisation
    /// reaches the water below the lowest element.
    pub destratification_pump: bool,
    /// Equal layers of the simulated tank; also sets its mixing (see
    /// [`crate::plant`]).
    pub layers: usize,
    /// Immersion elements, from low to high or in any order.
    pub elements: Vec<Element>,
}

/// An immersion element: resistance heat into the water above it.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Name used in the schedule and on the wire.
    pub name: String,
    /// Electrical power when fully on.
    pub power: Power,
    /// Height of the element as a share of the store's height.
    pub height: Fraction,
    /// How its power can be set.
    pub control: Control,
    /// Its own thermostat cuts out at this temperature.
    pub thermostat: Temperature,
}

/// How the power of an element can be set.
#[derive(Debug, Clone, PartialEq)]
pub enum Control {
    /// Fully on or off: part of a slot at full power.
    OnOff,
    /// One of these powers or off, in rising order, the last one full power.
    Staged(Vec<Power>),
    /// Any power up to its full power.
    Modulating,
}

/// A contradiction in a site, with the place it was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{place}: {rule}")]
pub struct SiteFault {
    /// Where: `grid`, `battery`, ``store `name` ``, ``element `name` of store `name` ``.
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

impl Store {
    /// Highest temperature that an element can bring water to.
    pub fn reach(&self, element: &Element) -> Temperature {
        let limit = self.ceiling.celsius().min(element.thermostat.celsius());
        Temperature::clamped(limit)
    }

    /// Highest temperature that any element can bring water to.
    pub fn highest_reach(&self) -> Temperature {
        self.elements
            .iter()
            .map(|element| self.reach(element))
            .fold(self.mains, |high, t| if t > high { t } else { high })
    }

    /// Height below which no element heats, as a share of the height. An
    /// element in the lowest layer of the simulated tank warms that layer too.
    pub fn lowest_heated(&self) -> f64 {
        let lowest = self.elements.iter().map(|e| e.height.value()).fold(1.0, f64::min);
        if lowest <= 1.0 / self.layers as f64 { 0.0 } else { lowest }
    }

    /// Fixed temperatures of the ladder above the mains temperature, rising:
    /// the use temperature, a rung between, and the highest temperature an
    /// element reaches; 60 °C is always a rung when in reach, for hygiene.
    /// No rung stands below the use temperature: resistance heat gains nothing
    /// by stopping there, and a ladder without one cannot cheat about it.
    pub fn rungs(&self) -> Vec<Temperature> {
        let useful = self.use_temperature.celsius();
        let top = self.highest_reach().celsius();
        let mut rungs = vec![useful];
        let mut candidates = vec![60.0, top];
        if top < 60.0 {
            candidates.insert(0, 0.5 * (useful + top));
        } else if top - 60.0 < RUNG_SPACING_K {
            candidates = vec![0.5 * (useful + 60.0), top];
        }
        for candidate in candidates {
            if rungs.last().is_some_and(|last| candidate - last >= RUNG_SPACING_K)
                && candidate <= top
            {
                rungs.push(candidate);
            }
        }
        rungs.into_iter().map(Temperature::clamped).collect()
    }

    /// Heat that the store holds at one temperature, above its mains [kWh].
    pub fn heat_at(&self, temperature: Temperature) -> f64 {
        water::heat_kwh(self.volume.litres(), temperature.above(self.mains))
    }
}

impl Element {
    /// Powers the element can run at, besides off.
    pub fn steps(&self) -> Vec<Power> {
        match &self.control {
            Control::OnOff | Control::Modulating => vec![self.power],
            Control::Staged(powers) => powers.clone(),
        }
    }
}

impl Site {
    /// Every contradiction in the site, in the order grid, battery, stores.
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
        faults
    }
}

fn fault(place: &str, field: &'static str, rule: &str) -> SiteFault {
    SiteFault { place: place.to_owned(), store: None, element: None, field, rule: rule.to_owned() }
}

fn battery_faults(battery: &Battery, faults: &mut Vec<SiteFault>) {
    let mut add = |field, rule: &str| faults.push(fault("battery", field, rule));
    if battery.capacity.kwh() <= 0.0 {
        add("capacity", "the capacity is zero; leave the battery out if there is none");
    }
    if battery.reserve > battery.capacity {
        add(
            "reserve",
            &format!("the reserve {} is above the capacity {}", battery.reserve, battery.capacity),
        );
    }
    for (field, efficiency) in [
        ("charge_efficiency", battery.charge_efficiency),
        ("discharge_efficiency", battery.discharge_efficiency),
    ] {
        if efficiency.value() < 0.3 {
            add(
                field,
                &format!(
                    "a one-way efficiency of {} is not a battery's; 0.9 to 0.97 is usual",
                    efficiency.value()
                ),
            );
        }
    }
    if battery.charge_limit.kw() <= 0.0 && battery.discharge_limit.kw() <= 0.0 {
        add("charge_limit", "the battery can neither charge nor discharge; give its power");
    }
    if battery.wear.per_kwh() < 0.0 {
        add("wear", "the wear cost is negative; wear cannot earn money");
    }
}

fn store_faults(index: usize, store: &Store, faults: &mut Vec<SiteFault>) {
    let place = format!("store `{}`", store.name);
    let mut add = |field, rule: String| {
        faults.push(SiteFault { store: Some(index), ..fault(&place, field, &rule) });
    };
    if store.volume.litres() < 1.0 {
        add(
            "volume",
            format!("a volume of {} holds no heat; give the water content", store.volume),
        );
    }
    if !(store.height_m.is_finite() && (0.1..=10.0).contains(&store.height_m)) {
        add(
            "height_m",
            format!("a height of {} m is not a store's; 0.1 to 10 m is accepted", store.height_m),
        );
    }
    if store.ceiling > HARD_CEILING {
        add(
            "ceiling",
            format!(
                "a ceiling of {} is above {HARD_CEILING}, the most that is ever planned for a domestic cylinder; lower it",
                store.ceiling
            ),
        );
    }
    if let Some(cut_out) = store.cut_out
        && cut_out.above(store.ceiling) < CUT_OUT_MARGIN_K
    {
        add(
            "ceiling",
            format!(
                "the ceiling {} is less than {CUT_OUT_MARGIN_K} K below the cut-out {cut_out}; lower it to {} °C",
                store.ceiling,
                cut_out.celsius() - CUT_OUT_MARGIN_K
            ),
        );
    }
    if store.use_temperature.above(store.mains) < 5.0 {
        add(
            "use_temperature",
            format!(
                "the use temperature {} is not at least 5 K above the mains {}",
                store.use_temperature, store.mains
            ),
        );
    }
    if store.ceiling.above(store.use_temperature) < RUNG_SPACING_K {
        add(
            "ceiling",
            format!(
                "the ceiling {} leaves no room above the use temperature {}; it must be at least {RUNG_SPACING_K} K higher",
                store.ceiling, store.use_temperature
            ),
        );
    }
    if !(5..=200).contains(&store.layers) {
        add(
            "layers",
            format!("{} layers cannot be simulated; 5 to 200 are accepted", store.layers),
        );
    }
    if store.held_back > store.volume {
        add(
            "held_back",
            format!("{} held back are more than the store's {}", store.held_back, store.volume),
        );
    }
    if store.elements.is_empty() {
        add("elements", "nothing can heat this store; give it an element".to_owned());
    }
    for (number, element) in store.elements.iter().enumerate() {
        element_faults(index, number, store, element, faults);
    }
}

fn element_faults(
    index: usize,
    number: usize,
    store: &Store,
    element: &Element,
    faults: &mut Vec<SiteFault>,
) {
    let place = format!("element `{}` of store `{}`", element.name, store.name);
    let mut add = |field, rule: String| {
        faults.push(SiteFault {
            store: Some(index),
            element: Some(number),
            ..fault(&place, field, &rule)
        });
    };
    if element.power.kw() <= 0.0 {
        add("power", "its power is zero; give the rated power".to_owned());
    }
    if element.height.value() >= 0.95 {
        add(
            "height",
            format!(
                "at {} of the height it heats almost no water; elements stand at 0.95 or lower",
                element.height.value()
            ),
        );
    }
    if element.thermostat.above(store.use_temperature) < RUNG_SPACING_K {
        add(
            "thermostat",
            format!(
                "its thermostat {} keeps it from making useful water; set it at least {RUNG_SPACING_K} K above the use temperature {}",
                element.thermostat, store.use_temperature
            ),
        );
    }
    if store.elements[..number].iter().any(|other| other.name == element.name) {
        add("name", "another element of the store has the same name; names must differ".to_owned());
    }
    if let Control::Staged(powers) = &element.control {
        let rising = powers.windows(2).all(|pair| pair[0] < pair[1]);
        let ends_full = powers.last() == Some(&element.power);
        if powers.is_empty() || !rising || !ends_full || powers[0].kw() <= 0.0 {
            add("control", "its stages must rise from above zero to its full power".to_owned());
        }
    }
}
