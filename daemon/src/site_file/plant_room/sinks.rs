//! Coils, return loops, rooms and pool.

use chrono::NaiveTime;
use optimiser::physics::coil::{SPREAD_K, from_rating};
use optimiser::problem::Band;
use optimiser::site::{Coil, Evaporation, Exposure, HeatingCurve, Pool, ReturnLoop, Rooms};
use optimiser::standards::pipes;
use optimiser::units::{Conductance, Flow, Fraction, HeatLoss, Power, Temperature, Volume};

use super::super::fault::Faults;
use super::super::service::refuse;
use super::super::steps::steps;
use super::super::tree::Node;
use crate::house::{LoopHabit, PoolComfort, PoolWish, RoomsWish};

/// Thermal mass by class [kJ/(m²·K)], ISO 13790:2008 table 12 (seen in two open
/// implementations).
const MASS: [(&str, f64); 5] = [
    ("very light", 80.0),
    ("light", 110.0),
    ("medium", 165.0),
    ("heavy", 260.0),
    ("very heavy", 370.0),
];

/// Gains for each m² of floor where none are stated [kW].
const GAINS_PER_M2: f64 = 0.003;

/// Loss of each m² of a pool's walls and floor where none is stated [W/(m²·K)].
const POOL_WALL: f64 = 0.4;

/// Keys of a pool that only the weather gives a meaning to.
const OUTDOORS: [&str; 6] = [
    "evaporation",
    "wind_share_fraction",
    "cover_watts_per_m2_k",
    "absorbed_open_fraction",
    "absorbed_covered_fraction",
    "covered",
];

pub(in super::super) fn coil(node: &Node) -> Coil {
    let transfer = from_rating(node.number("rated_kw"), node.number("rated_difference_kelvin"));
    Coil {
        bottom: node.quantity("bottom_fraction", Fraction::new),
        top: node.quantity("top_fraction", Fraction::new),
        transfer: Conductance::clamped(transfer),
    }
}

pub(in super::super) fn return_loop(node: &Node, faults: &mut Faults) -> ReturnLoop {
    let length_m = node.number("length_metres");
    let loss = "loss_watts_per_metre_kelvin";
    let diameter = node.maybe_number("diameter_millimetres");
    let insulation = node.maybe_number("insulation_millimetres").unwrap_or(0.0);
    if node.has(loss) {
        node.stray(&["insulation_millimetres"], "the loss of a metre is stated", faults);
    }
    if diameter.is_none() && !node.blamed("diameter_millimetres") {
        for key in [loss, "content_litres"] {
            if !node.has(key) {
                let message = format!("neither `diameter_millimetres` nor `{key}` is given");
                let hint = Some("add `diameter_millimetres = 22`, the outer diameter".to_owned());
                faults.error(node.span.clone(), &node.path, message, hint);
            }
        }
    }
    let diameter = diameter.unwrap_or(22.0);
    let by_pipe = pipes::watts_per_metre_kelvin(diameter, insulation);
    let content = Volume::clamped(length_m * pipes::litres_per_metre(diameter));
    ReturnLoop {
        length_m,
        loss_w_per_mk: node.maybe_number(loss).unwrap_or(by_pipe),
        content: node.maybe_quantity("content_litres", Volume::new).unwrap_or(content),
        flow: node.quantity("flow_litres_per_minute", Flow::new),
        surroundings: node.quantity("surroundings_celsius", Temperature::new),
        cut_off: node.quantity("cut_off_celsius", Temperature::new),
        return_height: node.quantity("return_height_fraction", Fraction::new),
        pump: Power::clamped(node.number("pump_watts") / 1_000.0),
    }
}

/// Runs of the pumps of all return loops.
pub(super) fn loop_runs(root: &Node) -> Vec<LoopHabit> {
    let loops = root.tables("store").iter().enumerate();
    loops
        .filter_map(|(store, node)| Some((store, node.table("return_loop")?)))
        .flat_map(|(store, node)| {
            node.tables("runs").iter().filter_map(move |run| {
                Some(LoopHabit {
                    store,
                    at: run.time("at")?,
                    days: run.days("days"),
                    seconds: (run.number("minutes") * 60.0).round() as i64,
                })
            })
        })
        .collect()
}

pub(super) fn rooms(node: &Node, faults: &mut Faults) -> (Rooms, RoomsWish) {
    let cold = node.quantity("design_outdoor_celsius", Temperature::new);
    let design_indoor = node.quantity("design_indoor_celsius", Temperature::new);
    let flow = node.quantity("flow_on_design_day_celsius", Temperature::new);
    let difference = design_indoor.above(cold);
    if difference < 5.0 && !node.blamed("design_outdoor_celsius") {
        let message = format!("a design day of {cold} needs no heating for {design_indoor}");
        refuse(node, "design_outdoor_celsius", message, "give the coldest days' mean", faults);
    }
    let loss = match node.only_one(&["heat_loss_watts_per_kelvin", "design_loss_kw"], faults) {
        Some("design_loss_kw") => node.number("design_loss_kw") * 1_000.0 / difference.max(5.0),
        _ => node.number("heat_loss_watts_per_kelvin"),
    };
    let emitter_k = flow.celsius() - 0.5 * SPREAD_K - design_indoor.celsius();
    if emitter_k <= 0.0 && !node.blamed("flow_on_design_day_celsius") {
        let message = format!("a flow of {flow} gives no heat to rooms of {design_indoor}");
        let hint = "30 to 45 °C is usual for floors, 45 to 70 °C for radiators";
        refuse(node, "flow_on_design_day_celsius", message, hint, faults);
    }
    let emitted_w = node.maybe_number("emitters_kw").map_or(loss * difference, |kw| kw * 1_000.0);
    let floor_m2 = node.number("floor_square_metres");
    if node.has("capacity_kwh_per_k") {
        node.stray(&["mass"], "the capacity is stated", faults);
    }
    let class = MASS.iter().find(|(name, _)| *name == node.text("mass")).map_or(165.0, |m| m.1);
    let gains = node.maybe_number("gains_kw").unwrap_or(GAINS_PER_M2 * floor_m2);
    let rooms = Rooms {
        heat_loss: HeatLoss::clamped(loss),
        measured_loss: node.maybe_quantity("measured_loss_watts_per_kelvin", HeatLoss::new),
        window_share: node.quantity("window_share_fraction", Fraction::new),
        ventilation_share: node.quantity("ventilation_share_fraction", Fraction::new),
        floor_m2,
        capacity_kwh_per_k: node
            .maybe_number("capacity_kwh_per_k")
            .unwrap_or(class * floor_m2 / 3_600.0),
        gains: Power::clamped(gains),
        emitters: Conductance::clamped(emitted_w / emitter_k.max(1.0)),
        curve: HeatingCurve {
            cold,
            flow_when_cold: flow,
            mild: node.quantity("mild_outdoor_celsius", Temperature::new),
            flow_when_mild: node.quantity("flow_on_mild_day_celsius", Temperature::new),
        },
        limit: node.quantity("limit_celsius", Temperature::new),
    };
    (rooms, RoomsWish { design_indoor, comfort: bands(node, "the comfort of the rooms", faults) })
}

fn bands(node: &Node, what: &str, faults: &mut Faults) -> Vec<(NaiveTime, Band)> {
    let sample = "{ from = \"00:00\", low_celsius = 19, high_celsius = 22 }";
    steps(node, "comfort", (what, sample), faults, |step, faults| {
        let low = step.quantity("low_celsius", Temperature::new);
        let high = step.quantity("high_celsius", Temperature::new);
        if low > high && !step.blamed("low_celsius") && !step.blamed("high_celsius") {
            let message = format!("the lowest comfort {low} is above the highest {high}");
            refuse(step, "low_celsius", message, "exchange them, or correct one", faults);
            return Band { low: high, high: low };
        }
        Band { low, high }
    })
}

pub(super) fn pool(node: &Node, faults: &mut Faults) -> Pool {
    let surface_m2 = node.number("surface_square_metres");
    let depth_m = node.number("depth_metres");
    // Walls of a square pool.
    let walls_m2 = surface_m2 + 4.0 * surface_m2.sqrt() * depth_m;
    let ground_loss = node.maybe_quantity("ground_loss_watts_per_kelvin", HeatLoss::new);
    let exposure = if node.text("place") == "indoor" {
        node.stray(&OUTDOORS, "the pool is indoors", faults);
        Exposure::Indoor { loss_w_per_m2: node.number("loss_watts_per_m2") }
    } else {
        node.stray(&["loss_watts_per_m2"], "the pool is outdoors", faults);
        Exposure::Outdoor {
            evaporation: match node.text("evaporation") {
                "ashrae" => Evaporation::Ashrae,
                _ => Evaporation::SmithLofJones,
            },
            wind_share: node.quantity("wind_share_fraction", Fraction::new),
            cover_w_per_m2k: node.number("cover_watts_per_m2_k"),
            absorbed_open: node.quantity("absorbed_open_fraction", Fraction::new),
            absorbed_covered: node.quantity("absorbed_covered_fraction", Fraction::new),
        }
    };
    Pool {
        surface_m2,
        depth_m,
        exposure,
        ground_loss: ground_loss.unwrap_or(HeatLoss::clamped(POOL_WALL * walls_m2)),
        ground: node.quantity("ground_celsius", Temperature::new),
        exchanger: node.quantity("exchanger_kw", Power::new),
        limit: node.quantity("limit_celsius", Temperature::new),
    }
}

pub(super) fn pool_wish(node: &Node, faults: &mut Faults) -> Option<PoolWish> {
    let comfort = match node.only_one(&["comfort", "above_air_kelvin"], faults)? {
        "comfort" => PoolComfort::Bands(bands(node, "the comfort of the pool", faults)),
        _ => PoolComfort::AboveAir(node.number("above_air_kelvin")),
    };
    let covered = node.tables("covered").iter();
    let covered = covered.filter_map(|c| Some((c.time("from")?, c.time("until")?))).collect();
    Some(PoolWish { comfort, covered })
}
