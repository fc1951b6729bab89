//! What is allowed but deserves a look.

mod plant_room;

use optimiser::site::{Site, Store};
use optimiser::standards::{hygiene, losses};
use optimiser::water;

use super::fault::Faults;
use super::tree::Node;
use super::{LossBasis, Wiring};
use crate::house::{DrawKind, House, Pv};

/// Warns of everything that deserves a look in a house without errors.
pub(super) fn warn(
    root: &Node,
    house: &House,
    losses: &[LossBasis],
    wiring: &[Wiring],
    faults: &mut Faults,
) {
    warn_of_fuse(root, house, wiring, faults);
    warn_of_arrays(root, house, faults);
    for ((node, store), basis) in root.tables("store").iter().zip(&house.site.stores).zip(losses) {
        warn_of_cut_out(node, store, faults);
        warn_of_loss(node, store, basis, faults);
    }
    warn_of_hygiene(root, house, faults);
    plant_room::warn(root, house, faults);
    warn_of_draws(root, house, faults);
    warn_of_promises(root, house, faults);
    warn_of_state(root, &house.site, faults);
}

/// Total current of a phase if every element is on; elements on one phase are
/// all counted on the same one, since the file does not say which.
pub(super) fn phase_amperes(wiring: &[Wiring]) -> f64 {
    wiring.iter().map(|wired| wired.current.amperes()).sum()
}

fn warn_of_fuse(root: &Node, house: &House, wiring: &[Wiring], faults: &mut Faults) {
    let (total, fuse) = (phase_amperes(wiring), house.supply.fuse.amperes());
    if total > fuse {
        let grid = root.part("grid");
        faults.warning(
            grid.span_of("fuse_amperes"),
            &grid.path_of("fuse_amperes"),
            format!("all elements together draw {total:.1} A on a phase, above the main fuse of {fuse} A"),
            Some("plans keep below the import limit; outside control of the elements must do so too".to_owned()),
        );
    }
}

/// Who counts directions from south writes 0 for the best one.
fn warn_of_arrays(root: &Node, house: &House, faults: &mut Faults) {
    let (Some(Pv::Arrays(system)), Some(place), Some(pv)) =
        (&house.pv, &house.location, root.table("pv"))
    else {
        return;
    };
    let sunny = if place.latitude < 0.0 { 0.0_f64 } else { 180.0 };
    for (node, array) in pv.tables("arrays").iter().zip(&system.arrays) {
        let towards_sun = (array.azimuth.degrees() - sunny).to_radians().cos();
        if array.tilt.degrees() > 15.0 && towards_sun < -0.7 {
            faults.warning(
                node.span_of("azimuth_degrees"),
                &node.path_of("azimuth_degrees"),
                format!(
                    "this array faces away from the sun: {} is counted clockwise from north",
                    array.azimuth
                ),
                Some(format!(
                    "write {sunny} if it faces {}, 90 for east, 270 for west",
                    if sunny > 0.0 { "south" } else { "north" }
                )),
            );
        }
    }
}

fn warn_of_cut_out(node: &Node, store: &Store, faults: &mut Faults) {
    if store.cut_out.is_none() {
        faults.warning(
            node.span.clone(),
            &node.path,
            format!("store `{}` states no cut-out", store.name),
            Some("give `cut_out_celsius` from the plate; the non-self-resetting cut-out must be there".to_owned()),
        );
    }
}

fn warn_of_loss(node: &Node, store: &Store, basis: &LossBasis, faults: &mut Faults) {
    if basis.label.is_some() && basis.site_factor.is_none() {
        faults.warning(
            node.span_of("standing_loss_kwh_per_24h"),
            &node.path_of("standing_loss_kwh_per_24h"),
            "the label's loss is taken as the loss in place; installed stores lose more through pipes, caps and draughts".to_owned(),
            Some("give `site_factor`: 1.2 for a well lagged installation, up to 1.8 for bare pipes, or measure an overnight cooling".to_owned()),
        );
    }
    let litres = store.volume.litres();
    let watts = losses::label_watts(basis.label.unwrap_or(store.heat_loss).watts_per_kelvin());
    let usual = losses::Class::C.limit_watts(litres);
    if !(0.25 * usual..=2.0 * usual).contains(&watts) {
        let key = if basis.label.is_some() {
            "standing_loss_kwh_per_24h"
        } else {
            "heat_loss_watts_per_kelvin"
        };
        let (less_or_more, class) =
            (if watts < usual { "less" } else { "more" }, losses::class(litres, watts));
        faults.warning(
            node.span_of(key),
            &node.path_of(key),
            format!(
                "{watts:.0} W at 45 K is far {less_or_more} than the {usual:.0} W of EU class C for {litres} L (this is class {class})"
            ),
            Some("check the number and its unit".to_owned()),
        );
    }
}

fn warn_of_hygiene(root: &Node, house: &House, faults: &mut Faults) {
    for (node, rule) in root.tables("hygiene").iter().zip(&house.hygiene) {
        let store = &house.site.stores[rule.store];
        let cold_share = store.lowest_heated();
        if cold_share > 0.0 && !store.destratification_pump {
            faults.warning(
                node.span.clone(),
                &node.path,
                format!(
                    "the {:.0} litres under the lowest element of store `{}` never reach {}",
                    cold_share * store.volume.litres(),
                    store.name,
                    rule.temperature
                ),
                Some("a lower element or a destratification pump would let the whole store be pasteurised".to_owned()),
            );
        }
        let logs = hygiene::log_reductions(rule.temperature.celsius(), rule.hold_minutes);
        if logs < hygiene::LOGS_EXPECTED {
            faults.warning(
                node.span_of("temperature_celsius"),
                &node.path_of("temperature_celsius"),
                format!(
                    "{} minutes at {} kill legionella by {logs:.1} powers of ten",
                    rule.hold_minutes, rule.temperature
                ),
                Some(format!(
                    "hold {:.0} minutes, or 60 minutes at 60 °C as is usual",
                    hygiene::hold_minutes(rule.temperature.celsius(), hygiene::LOGS_EXPECTED)
                        .ceil()
                )),
            );
        }
    }
}

fn warn_of_draws(root: &Node, house: &House, faults: &mut Faults) {
    for (node, habit) in root.tables("draws").iter().zip(&house.draws) {
        let store = &house.site.stores[habit.store];
        let reach = store.highest_reach();
        let asked = match &habit.kind {
            DrawKind::Daily(draws) => {
                draws.iter().map(|d| d.temperature.celsius()).fold(0.0, f64::max)
            }
            DrawKind::Series { temperature, .. } => temperature.celsius(),
        };
        if asked > reach.celsius() {
            faults.warning(
                node.span.clone(),
                &node.path,
                format!(
                    "draws ask for {asked} °C, but store `{}` is heated to {reach} at most",
                    store.name
                ),
                Some("those draws will count as partly unmet".to_owned()),
            );
        }
    }
    if house.draws.is_empty() {
        faults.warning(
            root.span.clone(),
            "draws",
            "no hot-water habits are given; plans will only keep what is promised and held back"
                .to_owned(),
            Some("add a table `[[draws]]`, for instance with `pattern = \"M\"`".to_owned()),
        );
    }
}

fn warn_of_promises(root: &Node, house: &House, faults: &mut Faults) {
    for (node, promise) in root.tables("ready").iter().zip(&house.ready) {
        let store = &house.site.stores[promise.store];
        let mains = store.mains.celsius();
        let hot = store.highest_reach().celsius();
        let heated = store.volume.litres() * (1.0 - store.lowest_heated());
        let most = if hot > promise.temperature.celsius() {
            heated * water::mixed_litres_per_litre(hot, promise.temperature.celsius(), mains)
        } else {
            0.0
        };
        if promise.volume.litres() > most {
            faults.warning(
                node.span_of("mixed_litres"),
                &node.path_of("mixed_litres"),
                format!(
                    "{} at {} are promised, but store `{}` can hold {most:.0} L of it at {hot} °C",
                    promise.volume, promise.temperature, store.name
                ),
                Some(
                    "promise less, or raise thermostat and ceiling within their limits".to_owned(),
                ),
            );
        }
    }
}

fn warn_of_state(root: &Node, site: &Site, faults: &mut Faults) {
    let state = root.part("state");
    let described = state.tables("store").len();
    if described < site.stores.len() {
        faults.warning(
            state.span.clone(),
            "state.store",
            format!(
                "the present temperatures of {} of {} stores are not given",
                site.stores.len() - described,
                site.stores.len()
            ),
            Some("plans without readings take them as cold; add `[[state.store]]`".to_owned()),
        );
    }
}
