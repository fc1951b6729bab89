//! Place, grid connection, battery and base load.

use std::str::FromStr as _;

use chrono::NaiveTime;
use chrono_tz::{TZ_VARIANTS, Tz};
use optimiser::site::{Battery, Grid};
use optimiser::standards::electrics;
use optimiser::units::{Current, Energy, Fraction, Power, Price};

use super::fault::{Faults, nearest};
use super::steps::steps;
use super::tree::Node;
use crate::house::{BaseLoad, Location, Supply};
use crate::series::Marks;

/// Highest voltage of one phase against neutral in public supplies [V].
const PHASE_VOLTS_MAX: f64 = 277.0;

/// What the rows of the site's series mark.
pub(super) fn series_marks(site: &Node) -> Marks {
    if site.maybe_text("series_mark") == Some("end") { Marks::End } else { Marks::AsNamed }
}

/// The time zone; UTC after a fault.
pub(super) fn time_zone(site: &Node, faults: &mut Faults) -> Tz {
    let Some(name) = site.maybe_text("time_zone") else { return Tz::UTC };
    Tz::from_str(name).unwrap_or_else(|_| {
        let by_place = |zone: &&Tz| {
            zone.name().rsplit('/').next().is_some_and(|place| place.eq_ignore_ascii_case(name))
        };
        let meant = TZ_VARIANTS
            .iter()
            .find(by_place)
            .map(|zone| zone.name())
            .or_else(|| nearest(name, TZ_VARIANTS.iter().map(|zone| zone.name())));
        faults.error(
            site.span_of("time_zone"),
            &site.path_of("time_zone"),
            format!("unknown time zone \"{name}\""),
            Some(meant.map_or_else(
                || {
                    "take a name of the IANA time zone database, such as \"Europe/London\""
                        .to_owned()
                },
                |zone| format!("did you mean \"{zone}\"?"),
            )),
        );
        Tz::UTC
    })
}

/// The currency code.
pub(super) fn currency(site: &Node, faults: &mut Faults) -> String {
    let code = site.text("currency").to_owned();
    let three_letters = code.len() == 3 && code.chars().all(|c| c.is_ascii_alphabetic());
    if !three_letters || code != code.to_uppercase() {
        faults.error(
            site.span_of("currency"),
            &site.path_of("currency"),
            format!("\"{code}\" is not a currency code of ISO 4217"),
            Some(if three_letters {
                format!("write \"{}\"", code.to_uppercase())
            } else {
                "three capital letters, such as \"GBP\" or \"EUR\"".to_owned()
            }),
        );
    }
    code
}

/// The place on Earth.
pub(super) fn location(node: &Node) -> Location {
    Location {
        latitude: node.number("latitude_degrees"),
        longitude: node.number("longitude_degrees"),
        altitude_m: node.number("altitude_metres"),
    }
}

/// The electrical supply.
pub(super) fn supply(grid: &Node, faults: &mut Faults) -> Supply {
    let phases = phases(grid, faults);
    let volts = grid.number("voltage_volts");
    if volts > PHASE_VOLTS_MAX {
        faults.error(
            grid.span_of("voltage_volts"),
            &grid.path_of("voltage_volts"),
            format!("{volts} V is a voltage between phases; one phase against neutral has at most {PHASE_VOLTS_MAX} V"),
            Some(format!("write `voltage_volts = {:.0}`", volts / 3.0_f64.sqrt())),
        );
    }
    Supply { fuse: grid.quantity("fuse_amperes", Current::new), phases, volts }
}

/// Phases of the supply or of an element.
pub(super) fn phases(node: &Node, faults: &mut Faults) -> u8 {
    let phases = node.number("phases") as u8;
    if phases == 2 {
        faults.error(
            node.span_of("phases"),
            &node.path_of("phases"),
            "two phases have no meaning here".to_owned(),
            Some("write 1, or 3 for a three-phase connection".to_owned()),
        );
        return 1;
    }
    phases
}

/// Limits of the grid connection.
pub(super) fn grid(node: &Node, supply: &Supply, faults: &mut Faults) -> Grid {
    let carried = supply.fuse.power_at(supply.volts, supply.phases);
    for key in ["import_limit_kw", "export_limit_kw"] {
        let above = node.maybe_number(key).filter(|kw| *kw > carried.kw());
        if let Some(kw) = above
            && !node.blamed("fuse_amperes")
        {
            faults.error(
                node.span_of(key),
                &node.path_of(key),
                format!(
                    "a limit of {kw} kW is more than the main fuse carries: {} on {} × {} V are {:.2} kW",
                    supply.fuse,
                    supply.phases,
                    supply.volts,
                    carried.kw()
                ),
                Some(format!("write at most {:.2}, or correct the fuse", carried.kw())),
            );
        }
    }
    Grid {
        import_limit: node.maybe_quantity("import_limit_kw", Power::new).unwrap_or(carried),
        export_limit: node.quantity("export_limit_kw", Power::new),
    }
}

/// The battery.
pub(super) fn battery(node: &Node, faults: &mut Faults) -> Battery {
    Battery {
        capacity: node.quantity("capacity_kwh", Energy::new),
        reserve: node.quantity("reserve_kwh", Energy::new),
        charge_limit: node.quantity("charge_limit_kw", Power::new),
        discharge_limit: node.quantity("discharge_limit_kw", Power::new),
        charge_efficiency: node.quantity("charge_efficiency_fraction", Fraction::new),
        discharge_efficiency: node.quantity("discharge_efficiency_fraction", Fraction::new),
        wear: wear(node, faults),
        charges_from_grid: node.flag("charges_from_grid"),
        exports: node.flag("exports"),
        feeds_heaters: node.flag("feeds_heaters"),
    }
}

/// Wear as given, or from price and rated cycles.
fn wear(node: &Node, faults: &mut Faults) -> Price {
    let by_price = ["replacement_price_major", "rated_cycles", "cycle_depth_fraction"];
    if node.has("wear_minor_per_kwh") {
        node.stray(&by_price, "the wear is given by `wear_minor_per_kwh`", faults);
        return node.quantity("wear_minor_per_kwh", Price::new);
    }
    let (price, cycles) =
        (node.maybe_number("replacement_price_major"), node.maybe_number("rated_cycles"));
    match (price, cycles) {
        (Some(price), Some(cycles)) => {
            let capacity = node.number("capacity_kwh");
            let depth = node.number("cycle_depth_fraction");
            Price::clamped(100.0 * electrics::wear_per_kwh(price, capacity, cycles, depth))
        }
        (None, None) => Price::constant(0.0),
        (given, _) => {
            let (key, other) = if given.is_some() {
                ("replacement_price_major", "rated_cycles")
            } else {
                ("rated_cycles", "replacement_price_major")
            };
            if !node.blamed(other) {
                faults.error(
                    node.span_of(key),
                    &node.path_of(key),
                    format!("`{key}` without `{other}` gives no wear"),
                    Some(format!("add `{other}`, or give `wear_minor_per_kwh`")),
                );
            }
            Price::constant(0.0)
        }
    }
}

/// What the rest of the house takes.
pub(super) fn base_load(node: &Node, faults: &mut Faults) -> BaseLoad {
    let constant = |power| BaseLoad::Daily(vec![(NaiveTime::MIN, power)]);
    match node.only_one(&["constant_kw", "daily", "series_scale"], faults) {
        Some("daily") => daily_load(node, faults),
        Some("series_scale") => BaseLoad::Series { scale: node.number("series_scale") },
        _ => constant(node.quantity("constant_kw", Power::new)),
    }
}

fn daily_load(node: &Node, faults: &mut Faults) -> BaseLoad {
    let named = ("the base load", "{ from = \"00:00\", power_kw = 0.3 }");
    let power = |step: &Node, _: &mut Faults| step.quantity("power_kw", Power::new);
    BaseLoad::Daily(steps(node, "daily", named, faults, power))
}
