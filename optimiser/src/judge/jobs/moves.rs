//! What is worth trying with the heat of machines.

use crate::judge::moves::short_slots;
use crate::judge::score::Judge;
use crate::site::Sink;

use super::{Draft, Jobs};

/// Slots that heat is carried to, at most, for each slot it is taken from.
const TARGETS: usize = 3;

/// Slots that an element's heat is given in instead, as late as can be.
const LATEST: usize = 2;

/// Slots before something short that heat is added in.
const LEAD_SLOTS: usize = 24;

/// Heat of rooms is carried no farther than this [slots]: they would be cold meanwhile.
const ROOMS_REACH: usize = 12;

/// Less heat than this is not worth a run [kWh].
const NOTHING: f64 = 1e-3;

/// Heat added to a way in a slot, or to an element; negative if taken [kWh].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Change {
    Chain(usize, usize, f64),
    Element(usize, usize, f64),
}

/// Changes that belong together, and what they promise to save [minor].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Move {
    pub(super) changes: Vec<Change>,
    promise: f64,
}

impl Move {
    /// Whether a machine is to give what an element gave.
    pub(super) fn spares_an_element(&self) -> bool {
        matches!(self.changes.first(), Some(Change::Element(..)))
    }
}

impl Jobs<'_> {
    /// The moves worth trying at a quantum, the most promising first.
    pub(super) fn moves(&self, judge: &Judge<'_>, draft: &Draft, quantum: f64) -> Vec<Move> {
        let mut found = Vec::new();
        for chain in 0..self.chains.all.len() {
            let step = self.chains.step_kwh(chain, quantum);
            if step < NOTHING {
                continue;
            }
            for slot in 0..self.values.len() {
                let kwh = step.min(self.chains.heat(&draft.wishes, chain, slot));
                if kwh >= NOTHING {
                    self.carry(draft, (chain, slot, kwh), &mut found);
                }
            }
            self.bargains(draft, chain, step, &mut found);
            match self.chains.all[chain].sink {
                Sink::Coil { store, .. } => {
                    self.in_place_of_elements(judge, draft, (chain, store), step, &mut found);
                    let short = short_slots(judge, &draft.candidate, store);
                    self.in_time(judge, draft, chain, &short, step, &mut found);
                }
                // What is too cold is mended as a whole.
                Sink::Pool | Sink::Rooms | Sink::Buffer => {}
            }
        }
        found.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        found
    }

    /// Heat taken out of a slot, and into others.
    fn carry(&self, draft: &Draft, (chain, slot, kwh): (usize, usize, f64), found: &mut Vec<Move>) {
        let less = Change::Chain(chain, slot, -kwh);
        let own = self.cost(chain, slot);
        let saved = kwh * (own - self.worth(chain, slot));
        found.push(Move { changes: vec![less], promise: saved });
        let sink = self.chains.all[chain].sink;
        let reach = if sink == Sink::Rooms { ROOMS_REACH } else { self.values.len() };
        let near = slot.saturating_sub(reach)..(slot + reach + 1).min(self.values.len());
        let same_sink = (0..self.chains.all.len()).filter(|&c| self.chains.all[c].sink == sink);
        let mut targets: Vec<(f64, usize, usize)> = same_sink
            .flat_map(|other| near.clone().map(move |to| (other, to)))
            .filter(|&at| at != (chain, slot))
            .map(|(other, to)| (self.cost(other, to), other, to))
            .filter(|&(cost, other, to)| cost <= own && self.has_room(draft, other, to, kwh))
            .collect();
        targets.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.2.cmp(&a.2)));
        targets.truncate(TARGETS);
        let later = (slot + 1..near.end).find(|&to| self.has_room(draft, chain, to, kwh));
        targets.extend(later.map(|to| (self.cost(chain, to), chain, to)));
        found.extend(targets.into_iter().map(|(cost, other, to)| Move {
            changes: vec![less, Change::Chain(other, to, kwh)],
            promise: kwh * (own - cost),
        }));
    }

    /// Heat added where it is worth more than it costs.
    fn bargains(&self, draft: &Draft, chain: usize, kwh: f64, found: &mut Vec<Move>) {
        let gain = |slot: usize| self.worth(chain, slot) - self.cost(chain, slot);
        let mut slots: Vec<usize> = (0..self.values.len())
            .filter(|&slot| gain(slot) > 0.0 && self.has_room(draft, chain, slot, kwh))
            .collect();
        slots.sort_by(|&a, &b| gain(b).total_cmp(&gain(a)));
        slots.truncate(TARGETS);
        found.extend(slots.into_iter().map(|slot| Move {
            changes: vec![Change::Chain(chain, slot, kwh)],
            promise: kwh * gain(slot),
        }));
    }

    /// Heat of a machine in place of an element's.
    fn in_place_of_elements(
        &self,
        judge: &Judge<'_>,
        draft: &Draft,
        (chain, store): (usize, usize),
        step: f64,
        found: &mut Vec<Move>,
    ) {
        for (heater, id) in judge.problem().heaters().enumerate() {
            let row = &draft.candidate.energies[heater];
            for slot in (0..row.len()).filter(|&slot| id.store == store && row[slot] > NOTHING) {
                let kwh = step.min(row[slot]);
                let wanted = |other: usize| other <= slot && other + LEAD_SLOTS > slot;
                let mut slots = self.cheapest(draft, chain, kwh, wanted);
                // The cheapest may be too early for what the element is wanted for.
                let late = (0..=slot).rev().take(LEAD_SLOTS).filter(|other| {
                    !slots.contains(other) && self.has_room(draft, chain, *other, kwh)
                });
                let late: Vec<usize> = late.take(LATEST).collect();
                slots.extend(late);
                found.extend(slots.into_iter().map(|other| Move {
                    changes: vec![
                        Change::Element(heater, slot, -kwh),
                        Change::Chain(chain, other, kwh),
                    ],
                    promise: kwh * (self.values[slot] - self.cost(chain, other)),
                }));
            }
        }
    }

    /// Heat before slots at whose beginning something is short.
    fn in_time(
        &self,
        judge: &Judge<'_>,
        draft: &Draft,
        chain: usize,
        short: &[usize],
        kwh: f64,
        found: &mut Vec<Move>,
    ) {
        for &until in short {
            let wanted = |other: usize| other < until && other + LEAD_SLOTS >= until;
            let slots = self.cheapest(draft, chain, kwh, wanted);
            found.extend(slots.into_iter().map(|other| Move {
                changes: vec![Change::Chain(chain, other, kwh)],
                promise: kwh * (judge.problem().weights.unmet_per_kwh - self.cost(chain, other)),
            }));
        }
    }

    /// The cheapest slots of those wanted that have room for so much more heat.
    fn cheapest(
        &self,
        draft: &Draft,
        chain: usize,
        kwh: f64,
        wanted: impl Fn(usize) -> bool,
    ) -> Vec<usize> {
        let mut slots: Vec<usize> = (0..self.values.len())
            .filter(|&slot| wanted(slot) && self.has_room(draft, chain, slot, kwh))
            .collect();
        let cost = |slot: usize| self.cost(chain, slot);
        slots.sort_by(|&a, &b| cost(a).total_cmp(&cost(b)).then(b.cmp(&a)));
        slots.truncate(TARGETS);
        slots
    }

    fn has_room(&self, draft: &Draft, chain: usize, slot: usize, kwh: f64) -> bool {
        self.chains.room_kwh(&draft.wishes, chain, slot) >= kwh - 1e-9
    }
}
