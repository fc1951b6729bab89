//! Heat pumps, boiler, collectors and buffer.

use optimiser::site::{
    Boiler, Buffer, CUT_OUT_MARGIN_K, CapacityLine, Collectors, Fuel, HeatPump, HeatSource,
    Performance, RatingPoint, Sink, SolarPriority, Store,
};
use optimiser::standards::losses;
use optimiser::units::{
    Angle, Energy, Flow, Fraction, HeatLoss, Power, Price, Temperature, Volume,
};

use super::super::fault::Faults;
use super::super::tree::Node;
use super::routes::Sinks;

/// Flow for each m² of collector where none is stated [L/min]: 40 L/h (common
/// practice, no published source).
const FLOW_PER_M2: f64 = 40.0 / 60.0;

/// Share of heat that frost costs an air-source unit where none is stated.
const DEFROST_LOSS: f64 = 0.05;

/// Keys that only a model of the COP gives a meaning to.
const WITH_MODEL: [&str; 5] = [
    "rated_kw",
    "rated_source_celsius",
    "rated_flow_celsius",
    "capacity_percent_per_source_k",
    "capacity_percent_per_flow_k",
];

pub(super) fn heat_pump(node: &Node, sinks: &Sinks<'_>, faults: &mut Faults) -> HeatPump {
    let source = if node.text("source") == "ground" { HeatSource::Ground } else { HeatSource::Air };
    if source == HeatSource::Ground {
        node.stray(&["defrost_loss_fraction"], "no frost grows in the ground circuit", faults);
    }
    let usual_frost = if source == HeatSource::Air { DEFROST_LOSS } else { 0.0 };
    let frost = node.maybe_number("defrost_loss_fraction").unwrap_or(usual_frost);
    HeatPump {
        name: node.text("name").to_owned(),
        source,
        performance: performance(node, faults),
        flow_limit: node.quantity("flow_limit_celsius", Temperature::new),
        least_share: node.quantity("least_share_fraction", Fraction::new),
        defrost_loss: Fraction::clamped(frost),
        start_loss: node.quantity("start_loss_kwh", Energy::new),
        least_run_seconds: seconds(node, "least_run_minutes"),
        least_rest_seconds: seconds(node, "least_rest_minutes"),
        auxiliary: node.quantity("auxiliary_kw", Power::new),
        serves: sinks.of(node, "serves", faults),
    }
}

fn performance(node: &Node, faults: &mut Faults) -> Performance {
    let model = node.text("model");
    if model == "rating-points" {
        node.stray(&WITH_MODEL, "the maker's points say it", faults);
        node.stray(&["field_factor_fraction"], "it belongs to \"ruhnau-2019\"", faults);
        if node.tables("points").is_empty() && !node.blamed("points") {
            faults.error(
                node.span_of("model"),
                &node.path_of("model"),
                "rating points without a point".to_owned(),
                Some("add `points = [{ source_celsius = 7, flow_celsius = 35, capacity_kw = 8, cop = 4.2 }]`".to_owned()),
            );
            // That is the fault; the site shall not complain once more.
            return Performance::Points(vec![usual_point()]);
        }
        return Performance::Points(node.tables("points").iter().map(point).collect());
    }
    node.stray(&["points"], &format!("the model is \"{model}\", not \"rating-points\""), faults);
    if !node.has("rated_kw") {
        faults.error(
            node.span.clone(),
            &node.path,
            "`rated_kw` is missing: heating capacity at the rating".to_owned(),
            Some("add `rated_kw = 8`, with the temperatures it holds at".to_owned()),
        );
    }
    let capacity = CapacityLine {
        rated: node.quantity("rated_kw", Power::new),
        source: node.quantity("rated_source_celsius", Temperature::new),
        flow: node.quantity("rated_flow_celsius", Temperature::new),
        per_source_k: node.number("capacity_percent_per_source_k") / 100.0,
        per_flow_k: node.number("capacity_percent_per_flow_k") / 100.0,
    };
    if model == "ruhnau-2019" {
        let field = node.quantity("field_factor_fraction", Fraction::new);
        Performance::Ruhnau2019 { capacity, field }
    } else {
        node.stray(&["field_factor_fraction"], "it belongs to \"ruhnau-2019\"", faults);
        Performance::Staffell2012(capacity)
    }
}

fn point(node: &Node) -> RatingPoint {
    RatingPoint {
        source: node.quantity("source_celsius", Temperature::new),
        flow: node.quantity("flow_celsius", Temperature::new),
        capacity: node.quantity("capacity_kw", Power::new),
        cop: node.number("cop"),
    }
}

fn usual_point() -> RatingPoint {
    RatingPoint {
        source: Temperature::constant(7.0),
        flow: Temperature::constant(35.0),
        capacity: Power::constant(8.0),
        cop: 4.2,
    }
}

fn seconds(node: &Node, key: &str) -> i64 {
    (node.number(key) * 60.0).round() as i64
}

pub(super) fn boiler(node: &Node, sinks: &Sinks<'_>, faults: &mut Faults) -> Boiler {
    Boiler {
        fuel: if node.text("fuel") == "gas" { Fuel::Gas } else { Fuel::Oil },
        fuel_price: node.quantity("fuel_price_minor_per_kwh", Price::new),
        efficiency: node.quantity("efficiency_fraction", Fraction::new),
        power: node.quantity("power_kw", Power::new),
        least_share: node.quantity("least_share_fraction", Fraction::new),
        flow_limit: node.quantity("flow_limit_celsius", Temperature::new),
        least_run_seconds: seconds(node, "least_run_minutes"),
        auxiliary: node.quantity("auxiliary_kw", Power::new),
        back_up_only: node.flag("back_up_only"),
        serves: sinks.of(node, "serves", faults),
    }
}

pub(super) fn collectors(
    node: &Node,
    root: &Node,
    sinks: &Sinks<'_>,
    faults: &mut Faults,
) -> Collectors {
    if !root.has("location") {
        faults.error(
            node.span.clone(),
            &node.path,
            "collectors need to know where the sun stands, and the site has no location".to_owned(),
            Some(
                "add a table `[location]` with `latitude_degrees` and `longitude_degrees`"
                    .to_owned(),
            ),
        );
    }
    let area_m2 = node.number("area_square_metres");
    let flow = node.maybe_quantity("flow_litres_per_minute", Flow::new);
    let serves = sinks.of(node, "serves", faults);
    let limit = solar_limit(node, &serves, sinks.stores, faults);
    Collectors {
        area_m2,
        eta0: node.quantity("eta0_fraction", Fraction::new),
        a1: node.number("a1_watts_per_m2_k"),
        a2: node.number("a2_watts_per_m2_k2"),
        tilt: node.quantity("tilt_degrees", Angle::new),
        azimuth: node.quantity("azimuth_degrees", Angle::new),
        flow: flow.unwrap_or(Flow::clamped(FLOW_PER_M2 * area_m2)),
        pump: Power::clamped(node.number("pump_watts") / 1_000.0),
        start_difference_k: node.number("start_difference_kelvin"),
        stop_difference_k: node.number("stop_difference_kelvin"),
        limit,
        priority: match node.text("priority") {
            "relative" => SolarPriority::Relative,
            "optimiser" => SolarPriority::Optimiser,
            _ => SolarPriority::Absolute,
        },
        serves,
    }
}

/// The limit as stated, or as far below the stores' ceilings as they stay below
/// their cut-outs: a store overshoots a little before its pump stops.
fn solar_limit(node: &Node, serves: &[Sink], stores: &[Store], faults: &mut Faults) -> Temperature {
    let ceilings = serves.iter().filter_map(|sink| match *sink {
        Sink::Coil { store, .. } => Some(&stores[store]),
        _ => None,
    });
    let lowest = ceilings.min_by(|a, b| a.ceiling.celsius().total_cmp(&b.ceiling.celsius()));
    let most = lowest.map_or(95.0, |store| store.ceiling.celsius() - CUT_OUT_MARGIN_K);
    let stated = node.maybe_quantity("limit_celsius", Temperature::new);
    if let (Some(limit), Some(store)) = (stated, lowest)
        && limit.celsius() > most
    {
        faults.error(
            node.span_of("limit_celsius"),
            &node.path_of("limit_celsius"),
            format!(
                "a limit of {limit} is not {CUT_OUT_MARGIN_K} K below the ceiling {} of store `{}`",
                store.ceiling, store.name
            ),
            Some(format!("write at most {most}, or leave it out")),
        );
    }
    stated.unwrap_or(Temperature::clamped(most))
}

pub(super) fn buffer(node: &Node, sinks: &Sinks<'_>, faults: &mut Faults) -> Buffer {
    let volume = node.quantity("volume_litres", Volume::new);
    let worst = losses::Class::C.limit_watts(volume.litres()) / losses::TEST_DIFFERENCE_K;
    let stated = node.maybe_quantity("heat_loss_watts_per_kelvin", HeatLoss::new);
    Buffer {
        volume,
        heat_loss: stated.unwrap_or(HeatLoss::clamped(worst)),
        surroundings: node.quantity("surroundings_celsius", Temperature::new),
        ceiling: node.quantity("ceiling_celsius", Temperature::new),
        immersion: node.maybe_quantity("immersion_kw", Power::new),
        feeds: sinks.of(node, "feeds", faults),
    }
}
