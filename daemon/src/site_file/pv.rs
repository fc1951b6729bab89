//! The PV system.

use optimiser::solar::{Albedo, Array, Inverter, PvSystem, SkyModel};
use optimiser::units::{Angle, Fraction, Power, PowerCoefficient};

use super::fault::Faults;
use super::tree::Node;
use crate::house::Pv;

/// Keys that only a peak power gives a meaning to.
const WITH_PEAK: [&str; 2] = ["performance_ratio_fraction", "inverter_limit_kw"];

/// Keys that only arrays give a meaning to.
const WITH_ARRAYS: [&str; 4] = ["inverter", "losses_fraction", "albedo_fraction", "sky_model"];

/// The PV system, stated in one of three ways.
pub(super) fn pv(node: &Node, root: &Node, faults: &mut Faults) -> Option<Pv> {
    match node.only_one(&["forecast_scale", "peak_kw", "arrays"], faults)? {
        "forecast_scale" => {
            let why = "the forecast series is of AC energy already";
            node.stray(&WITH_PEAK, why, faults);
            node.stray(&WITH_ARRAYS, why, faults);
            Some(Pv::Forecast { scale: node.number("forecast_scale") })
        }
        "peak_kw" => {
            node.stray(&WITH_ARRAYS, "it belongs to `arrays`, not to `peak_kw`", faults);
            if node.number("peak_kw") <= 0.0 {
                faults.error(
                    node.span_of("peak_kw"),
                    &node.path_of("peak_kw"),
                    "the PV system has no power".to_owned(),
                    Some("give its peak power, or leave `[pv]` out if there is none".to_owned()),
                );
            }
            Some(Pv::Irradiance {
                peak: node.quantity("peak_kw", Power::new),
                performance_ratio: node.number("performance_ratio_fraction"),
                inverter_limit: node.maybe_quantity("inverter_limit_kw", Power::new),
            })
        }
        _ => arrays(node, root, faults),
    }
}

fn arrays(node: &Node, root: &Node, faults: &mut Faults) -> Option<Pv> {
    let why = "arrays state their losses and their inverter in keys of their own";
    node.stray(&WITH_PEAK, why, faults);
    if !root.has("location") {
        faults.error(
            node.span_of("arrays"),
            &node.path_of("arrays"),
            "PV arrays need to know where the sun stands, and the site has no location".to_owned(),
            Some(
                "add a table `[location]` with `latitude_degrees` and `longitude_degrees`"
                    .to_owned(),
            ),
        );
    }
    if node.tables("arrays").is_empty() {
        faults.error(
            node.span_of("arrays"),
            &node.path_of("arrays"),
            "the PV system has no array".to_owned(),
            Some("add a table `[[pv.arrays]]`, or leave `[pv]` out if there is none".to_owned()),
        );
    }
    if !node.has("inverter") {
        faults.error(
            node.span.clone(),
            &node.path,
            "`inverter` is missing: the inverter that the arrays feed".to_owned(),
            Some("add a table `[pv.inverter]` with `limit_kw`".to_owned()),
        );
    }
    Some(Pv::Arrays(PvSystem {
        arrays: node.tables("arrays").iter().map(array).collect(),
        inverter: inverter(node.table("inverter")?),
        losses: node.quantity("losses_fraction", Fraction::new),
        albedo: Albedo::constant(node.quantity("albedo_fraction", Fraction::new)),
        sky_model: match node.text("sky_model") {
            "isotropic" => SkyModel::Isotropic,
            "perez" => SkyModel::Perez,
            _ => SkyModel::HayDavies,
        },
    }))
}

fn array(node: &Node) -> Array {
    let percent = node.number("temperature_coefficient_percent_per_k");
    Array {
        peak: node.quantity("peak_kw", Power::new),
        tilt: node.quantity("tilt_degrees", Angle::new),
        azimuth: node.quantity("azimuth_degrees", Angle::new),
        temperature_coefficient: PowerCoefficient::clamped(percent / 100.0),
    }
}

fn inverter(node: &Node) -> Inverter {
    Inverter {
        limit: node.quantity("limit_kw", Power::new),
        efficiency: node.quantity("efficiency_fraction", Fraction::new),
    }
}
