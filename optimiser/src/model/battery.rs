//! The battery.
//!
//! `b_t = b_{t−1} + η_c·charge − discharge/η_d`, `reserve ≤ b ≤ capacity`, and
//! the site's rules, in which PV serves the base load first:
//!
//! - not charging from the grid: `charge ≤ pv − min(base load, forecast pv)`;
//! - not exporting: `export ≤ max(0, forecast pv − base load)`;
//! - not feeding heaters: `discharge ≤ max(0, base load − forecast pv) + export`.

use crate::problem::Problem;

use super::layout::Layout;
use super::program::{Program, Row};

/// Adds the rows of a slot and returns that of the level.
pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    layout: &Layout,
    slot: usize,
) -> Option<Row> {
    let columns = &layout.slots[slot];
    let (battery, own) = (problem.site.battery.as_ref()?, columns.battery?);
    let mut terms = vec![
        (own.level, 1.0),
        (own.charge, -battery.charge_efficiency.value()),
        (own.discharge, 1.0 / battery.discharge_efficiency.value()),
    ];
    let before = match slot {
        0 => problem.state.battery.kwh().min(battery.capacity.kwh()),
        _ => 0.0,
    };
    if let Some(previous) = slot.checked_sub(1).and_then(|s| layout.slots[s].battery) {
        terms.push((previous.level, -1.0));
    }
    let level = program.row(before, before, terms);

    let (pv, base) = (problem.pv[slot].kwh(), problem.base_load[slot].kwh());
    if !battery.charges_from_grid {
        program.row(pv.min(base), f64::INFINITY, [(columns.pv, 1.0), (own.charge, -1.0)]);
    }
    if !battery.exports {
        program.row(f64::NEG_INFINITY, (pv - base).max(0.0), [(columns.export, 1.0)]);
    }
    if !battery.feeds_heaters {
        let gap = (base - pv).max(0.0);
        program.row(f64::NEG_INFINITY, gap, [(own.discharge, 1.0), (columns.export, -1.0)]);
    }
    Some(level)
}
