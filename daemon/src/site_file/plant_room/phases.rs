//! What hangs on which phase.

use optimiser::site::{Connection, Metering, Phases};

use super::super::fault::Faults;
use super::super::tree::Node;
use crate::house::Supply;

/// The phases, where the file speaks of them.
pub(super) fn phases(root: &Node, supply: &Supply, faults: &mut Faults) -> Option<Phases> {
    let elements: Vec<&Node> =
        root.tables("store").iter().flat_map(|s| s.tables("element")).collect();
    let pumps: Vec<&Node> = root.tables("heat_pump").iter().collect();
    let single = ["base_load", "pv", "battery", "buffer"].map(|name| root.table(name));
    let grid = root.part("grid");
    let devices = || elements.iter().chain(&pumps).copied().chain(single.iter().flatten().copied());
    let metering = grid.maybe_text("metering");
    if supply.phases == 1 {
        for node in devices() {
            node.stray(&["phase"], "the supply has a single phase", faults);
        }
        grid.stray(&["metering"], "the supply has a single phase", faults);
        return None;
    }
    if metering.is_none() && !devices().any(|node| node.has("phase")) {
        return None;
    }
    if metering.is_none() && !grid.blamed("metering") {
        faults.error(
            grid.span.clone(),
            &grid.path,
            "devices name their phase, but not how the meter counts three phases".to_owned(),
            Some(
                "add `metering = \"net\"` or `metering = \"per-phase\"`; the contract says which"
                    .to_owned(),
            ),
        );
    }
    let mut wired = |node: &&Node| connection(node, true, faults);
    let heaters = elements.iter().map(&mut wired).collect();
    let heat_pumps = pumps.iter().map(&mut wired).collect();
    let [base_load, pv, battery, immersion] =
        single.map(|node| node.map_or(Connection::Three, |node| connection(node, false, faults)));
    Some(Phases {
        fuse: supply.fuse.power_at(supply.volts, 1),
        metering: if metering == Some("per-phase") { Metering::PerPhase } else { Metering::Net },
        base_load,
        pv,
        battery,
        heaters,
        heat_pumps,
        immersion,
    })
}

/// What a device hangs on. One that says how many phases it has must name the
/// one; others lie on all three if they name none.
fn connection(node: &Node, counted: bool, faults: &mut Faults) -> Connection {
    let three = counted && node.number("phases") > 2.0;
    match node.maybe_number("phase") {
        Some(_) if three => {
            node.stray(&["phase"], "it is wired to all three", faults);
            Connection::Three
        }
        Some(phase) => Connection::Phase(phase as u8 - 1),
        None if three || !counted => Connection::Three,
        None => {
            if !node.blamed("phase") {
                faults.error(
                    node.span.clone(),
                    &node.path,
                    format!("\"{}\" does not say on which phase it is", node.text("name")),
                    Some("add `phase = 1`, 2 or 3, or `phases = 3`".to_owned()),
                );
            }
            Connection::Three
        }
    }
}
