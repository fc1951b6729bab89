//! One direction a slot, only in the slots where the plain program was seen to
//! cheat; which direction is decided by branching outside the program.
//!
//! - meter in: `export ≤ Σ q` and `export ≤ S·(Δt − p/P)` for each element that
//!   switches; meter out: the same for `import`; where `q` is what the element
//!   takes from the grid while on at full power, and the surplus `S` is given
//!   away only while it is off;
//! - battery in: `discharge ≤ 0`; battery out: `charge ≤ 0`;
//! - elements one after the other: `Σ p/P ≤ Δt`, and for the connection and each
//!   phase the strongest of them, what modulates, and all sources that do not rest, at
//!   their most and all the while, within the limit, so that each fits beside all else;
//!   those that never fit, and all where that leaves no answer, are off: `p ≤ 0`.

use crate::lanes::{Lanes, heater_shares, limits, peak_kw};
use crate::problem::Problem;
use crate::site::{Connection, Control};

use super::duty::Duties;
use super::layout::Layout;
use super::node::{circulation_kwh, surplus_kw};
use super::program::{Col, Program};
use super::refinement::{Direction, Refinement};

pub(super) fn rows(
    program: &mut Program,
    problem: &Problem,
    duties: &Duties,
    layout: &Layout,
    refinement: &Refinement,
) {
    for (&slot, &direction) in &refinement.meter {
        let columns = &layout.slots[slot];
        let closed = match direction {
            Direction::In => columns.export,
            Direction::Out => columns.import,
        };
        let terms = [(closed, 1.0)].into_iter().chain(swings(problem, layout, slot));
        program.row(f64::NEG_INFINITY, 0.0, terms);
        off_time_rows(program, problem, layout, slot, closed);
    }
    for (&slot, &direction) in &refinement.battery {
        let Some(battery) = layout.slots[slot].battery else { continue };
        let closed = match direction {
            Direction::In => battery.discharge,
            Direction::Out => battery.charge,
        };
        program.row(f64::NEG_INFINITY, 0.0, [(closed, 1.0)]);
    }
    for (slot, in_turn) in refinement.crowded() {
        let able = duties.able(slot).filter(|source| !refinement.rests(*source, slot));
        let peak = peak_kw(problem, slot, able);
        Crowd { problem, layout, slot, peak }.rows(program, in_turn);
    }
}

/// The lesser register counts no more than the surplus while an element is off.
fn off_time_rows(
    program: &mut Program,
    problem: &Problem,
    layout: &Layout,
    slot: usize,
    closed: Col,
) {
    let surplus = surplus_kw(problem, slot);
    if surplus <= 0.0 {
        return;
    }
    let most = surplus * problem.horizon.slots()[slot].hours();
    let columns = &layout.slots[slot];
    for (heater, id) in columns.heaters.iter().zip(&layout.heaters) {
        let element = &problem.site.stores[id.store].elements[id.element];
        if element.control != Control::Modulating {
            let share = surplus / element.power.kw();
            let terms = [(closed, 1.0), (heater.energy, share)];
            // An element weaker than the surplus never draws from the grid.
            if share < 1.0 {
                program.row(f64::NEG_INFINITY, most, terms);
            }
        }
    }
}

/// What elements that switch draw beyond the surplus at full power, with the sign of a limit.
fn swings(problem: &Problem, layout: &Layout, slot: usize) -> Vec<(Col, f64)> {
    let surplus = surplus_kw(problem, slot);
    let heaters = layout.slots[slot].heaters.iter().zip(&layout.heaters);
    heaters
        .filter_map(|(heater, id)| {
            let element = &problem.site.stores[id.store].elements[id.element];
            let beyond = (1.0 - surplus / element.power.kw()).max(0.0);
            (element.control != Control::Modulating).then_some((heater.energy, -beyond))
        })
        .filter(|_| surplus > 0.0)
        .collect()
}

/// A slot in which not everything may be on at once.
struct Crowd<'a> {
    problem: &'a Problem,
    layout: &'a Layout,
    slot: usize,
    /// What sources may take [kW].
    peak: Lanes,
}

impl Crowd<'_> {
    fn rows(&self, program: &mut Program, in_turn: bool) {
        let (problem, columns) = (self.problem, &self.layout.slots[self.slot]);
        let hours = problem.horizon.slots()[self.slot].hours();
        let base_kw =
            (problem.base_load[self.slot].kwh() + circulation_kwh(problem, self.slot)) / hours;
        let shares = self.connected(base_kw);
        let limits = limits(problem, base_kw);
        let left: Lanes =
            std::array::from_fn(|lane| limits[lane] - shares.base[lane] - self.peak[lane]);
        // Sun and battery may help the connection, but no phase.
        let spared = problem.site.battery.map_or(0.0, |b| b.discharge_limit.kw());
        let help = [problem.pv[self.slot].kwh() / hours + spared, 0.0, 0.0, 0.0];
        let fits = |load: &Load| {
            let lanes = left.iter().zip(help).zip(load.shares);
            lanes.into_iter().all(|((left, help), share)| load.kw * share <= left + help + 1e-9)
        };
        let (switched, modulating): (Vec<Load>, Vec<Load>) =
            self.loads().partition(|load| load.switches);
        let (fitting, off): (Vec<Load>, Vec<Load>) =
            switched.into_iter().partition(|load| in_turn && fits(load));
        off_rows(program, &off);
        if in_turn {
            let minutes = fitting.iter().map(|load| (load.energy, 1.0 / load.kw));
            program.row(f64::NEG_INFINITY, hours, minutes);
        }
        for lane in (0..left.len()).filter(|&lane| limits[lane].is_finite()) {
            let strongest = fitting.iter().map(|load| load.kw * load.shares[lane]);
            let most = (left[lane] - strongest.fold(0.0, f64::max)) * hours;
            let steady = modulating.iter().map(|load| (load.energy, load.shares[lane]));
            let steady: Vec<(Col, f64)> = steady.filter(|(_, share)| *share != 0.0).collect();
            let pv = (columns.pv, -shares.pv[lane]);
            let charge = columns.battery.map(|own| (own.charge, shares.battery[lane]));
            let sun = [pv].into_iter().chain(charge);
            if lane == 0 {
                let discharge = columns.battery.map(|own| (own.discharge, -1.0));
                let terms = steady.into_iter().chain(sun).chain(discharge);
                program.row(f64::NEG_INFINITY, most, terms);
            } else {
                program.row(f64::NEG_INFINITY, most.max(0.0), steady.iter().copied());
                program.row(f64::NEG_INFINITY, most.max(0.0), steady.into_iter().chain(sun));
            }
        }
    }

    fn connected(&self, base_kw: f64) -> Connected {
        let phases = self.problem.site.plant_room.phases.as_ref();
        let of = |at: Option<Connection>| {
            let [first, second, third] = at.map_or([0.0; 3], Connection::shares);
            [1.0, first, second, third]
        };
        Connected {
            base: of(phases.map(|own| own.base_load)).map(|share| share * base_kw),
            pv: of(phases.map(|own| own.pv)),
            battery: of(phases.map(|own| own.battery)),
        }
    }

    fn loads(&self) -> impl Iterator<Item = Load> + '_ {
        let heaters = self.layout.slots[self.slot].heaters.iter().zip(&self.layout.heaters);
        heaters.enumerate().map(|(index, (heater, id))| {
            let element = &self.problem.site.stores[id.store].elements[id.element];
            Load {
                energy: heater.energy,
                kw: element.power.kw(),
                shares: heater_shares(self.problem, index),
                switches: element.control != Control::Modulating,
            }
        })
    }
}

/// Power of the rest of the house [kW] and shares of PV and battery, lane by lane.
struct Connected {
    base: Lanes,
    pv: Lanes,
    battery: Lanes,
}

/// An element as a load.
struct Load {
    energy: Col,
    kw: f64,
    shares: Lanes,
    switches: bool,
}

fn off_rows(program: &mut Program, elements: &[Load]) {
    for load in elements {
        program.row(f64::NEG_INFINITY, 0.0, [(load.energy, 1.0)]);
    }
}
