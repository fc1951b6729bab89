//! When to hold a pasteurisation: a few candidate starts, no binaries.

use super::memory::Memory;
use super::{Attempt, Planner, Solved};
use crate::model::{HygieneStart, Ladder, Refinement};
use crate::physics::coil::SPREAD_K;
use crate::problem::{Hygiene, Problem};
use crate::site::{Sink, Source};
use crate::solution::Solution;
use crate::solve::SolveError;
use crate::time::Instant;

/// How many candidate starts are tried.
const CANDIDATES: usize = 5;

/// Hours of heating before a hold whose price ranks a candidate.
const HEATING_HOURS: f64 = 3.0;

/// Answers that differ by less are as cheap as each other [minor].
const AS_CHEAP: f64 = 1e-3;

impl Planner {
    /// The holds of a last plan that goes on without news.
    pub(super) fn known_holds(&self, problem: &Problem) -> Vec<Option<HygieneStart>> {
        let goes_on = |memory: &&Memory| {
            self.effort.rolling && memory.follows(problem) && !memory.is_outdated(problem)
        };
        let starts = self.memory.as_ref().filter(goes_on).map(|memory| memory.holds(problem));
        let starts = starts.unwrap_or_else(|| vec![None; problem.hygiene.len()]);
        let starts = starts.into_iter().enumerate();
        starts.map(|(rule, start)| at(problem, rule, start?)).collect()
    }

    /// Tries each candidate hold for a pasteurisation and keeps the cheapest, of equal
    /// ones the first.
    pub(super) fn cheapest_hold(
        &mut self,
        problem: &Problem,
        refinement: &mut Refinement,
        rule: usize,
        without: Box<Solved>,
    ) -> Result<Box<Solved>, SolveError> {
        let mut best: Option<(Box<Solved>, HygieneStart)> = None;
        for hold in candidates(problem, rule) {
            refinement.hygiene[rule] = Some(hold);
            if let Attempt::Solved(solved) = self.solved(problem, refinement)?
                && best.as_ref().is_none_or(|(b, _)| {
                    solved.solution.objective < b.solution.objective - AS_CHEAP
                })
            {
                best = Some((solved, hold));
            }
        }
        refinement.hygiene[rule] = best.as_ref().map(|(_, hold)| *hold);
        Ok(best.map_or(without, |(solved, _)| solved))
    }
}

/// A hold that the answer contains without having been asked for.
pub(super) fn already_met(
    problem: &Problem,
    solution: &Solution,
    rule: usize,
) -> Option<HygieneStart> {
    let hygiene = &problem.hygiene[rule];
    let ladder = Ladder::new(&problem.site.stores[hygiene.store]);
    let rung = ladder.rung_for(hygiene.temperature)?;
    let hot = |slot: usize| {
        let litres = &solution.slots[slot].stores[hygiene.store].litres;
        litres.iter().zip(&ladder.volumes).all(|(zone, volume)| zone[rung - 1] >= volume - 1e-6)
    };
    possible(problem, rule)
        .into_iter()
        .find(|hold| (hold.first.saturating_sub(1)..=hold.last).all(hot))
}

/// The hold that begins at an instant, if it is one.
fn at(problem: &Problem, rule: usize, start: Instant) -> Option<HygieneStart> {
    let slots = problem.horizon.slots();
    all_holds(problem, rule).into_iter().find(|hold| slots[hold.first].start() == start)
}

/// More heat drawn in a hold than this lets cold water in that breaks it [kWh].
const BREAKS_KWH: f64 = 0.03;

/// Holds worth trying: the ones with the cheapest heating before them, far
/// enough apart to differ, and the last that is in time. Where there are some in
/// which nothing is drawn, no others: cold water comes in from below.
fn candidates(problem: &Problem, rule: usize) -> Vec<HygieneStart> {
    if !reaches_bottom(problem, rule) {
        return Vec::new();
    }
    let mut holds = possible(problem, rule);
    let Some(&last) = holds.last() else { return Vec::new() };
    let price = |hold: &HygieneStart| heating_price(problem, hold.first);
    holds.sort_by(|a, b| price(a).total_cmp(&price(b)).then(a.first.cmp(&b.first)));
    let mut chosen: Vec<HygieneStart> = Vec::new();
    for hold in holds {
        if chosen.len() + 1 == CANDIDATES {
            break;
        }
        if chosen.iter().all(|c| c.first.abs_diff(hold.first) > 3) {
            chosen.push(hold);
        }
    }
    if !chosen.contains(&last) {
        chosen.push(last);
    }
    chosen
}

/// Whether some element can bring the coldest water to the temperature: from
/// below it, or with the help of a pump.
fn reaches_bottom(problem: &Problem, rule: usize) -> bool {
    let hygiene = &problem.hygiene[rule];
    let store = &problem.site.stores[hygiene.store];
    let ladder = Ladder::new(store);
    ladder.rung_for(hygiene.temperature).is_some_and(|rung| {
        let mut elements = ladder.element_zone.iter().zip(&ladder.element_rung);
        elements.any(|(&zone, &reach)| reach >= rung && (zone == 0 || store.destratification_pump))
    }) || coil_reaches_bottom(problem, hygiene, &ladder)
}

/// Whether a source reaches the temperature through a coil in the coldest water.
fn coil_reaches_bottom(problem: &Problem, hygiene: &Hygiene, ladder: &Ladder) -> bool {
    let room = &problem.site.plant_room;
    room.routes().iter().any(|route| {
        let Sink::Coil { store, coil } = route.sink else { return false };
        let flow = match route.source {
            Source::HeatPump(index) => room.heat_pumps[index].flow_limit.celsius(),
            Source::Boiler => room.boiler.as_ref().map_or(0.0, |own| own.flow_limit.celsius()),
            // The sun is not to be relied on.
            Source::Collectors | Source::Immersion | Source::Buffer => 0.0,
        };
        store == hygiene.store
            && ladder.coil_zone[coil] == 0
            && flow - 0.5 * SPREAD_K > hygiene.temperature.celsius()
    })
}

/// The holds to choose from: where there are some in which nothing is drawn, no others,
/// since with each draw cold water comes in from below, which the ladder does not see.
fn possible(problem: &Problem, rule: usize) -> Vec<HygieneStart> {
    let holds = all_holds(problem, rule);
    let quiet: Vec<HygieneStart> =
        holds.iter().copied().filter(|hold| drawn(problem, rule, hold) < BREAKS_KWH).collect();
    if quiet.is_empty() { holds } else { quiet }
}

/// Every hold that begins after the first slot and is complete by the due
/// time; for one that is overdue, those in the first day.
fn all_holds(problem: &Problem, rule: usize) -> Vec<HygieneStart> {
    let hygiene = &problem.hygiene[rule];
    let slots = problem.horizon.slots();
    if hygiene.due > problem.horizon.end() {
        return Vec::new();
    }
    let earliest = problem.horizon.start() + hygiene.hold_seconds;
    let due = if hygiene.due < earliest { problem.horizon.start() + 86_400 } else { hygiene.due };
    (1..slots.len())
        .filter_map(|first| {
            let end = slots[first].start() + hygiene.hold_seconds;
            let last = slots.iter().position(|slot| slot.end() >= end)?;
            (slots[last].end() <= due).then_some(HygieneStart { first, last })
        })
        .collect()
}

/// Heat drawn from the store in a hold [kWh].
fn drawn(problem: &Problem, rule: usize, hold: &HygieneStart) -> f64 {
    let store = problem.hygiene[rule].store;
    let slots = problem.horizon.slots();
    let span = slots[hold.first].start()..slots[hold.last].end();
    let draws = problem.draws.iter().filter(|draw| draw.store == store);
    draws
        .filter(|draw| span.contains(&draw.start))
        .map(|draw| draw.heat_kwh(problem.site.stores[store].mains))
        .sum()
}

fn heating_price(problem: &Problem, first: usize) -> f64 {
    let slots = problem.horizon.slots();
    let mut hours = 0.0;
    let mut cost = 0.0;
    for slot in (0..first).rev() {
        if hours >= HEATING_HOURS {
            break;
        }
        hours += slots[slot].hours();
        cost += slots[slot].hours() * problem.import_price[slot].per_kwh();
    }
    if hours > 0.0 { cost / hours } else { f64::INFINITY }
}
