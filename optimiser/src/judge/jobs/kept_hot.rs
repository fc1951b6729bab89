//! A store that a machine keeps hot through a coil, as a thermostat would have it.
//!
//! A coil takes heat only while the water around it is cold enough: what a machine could
//! have given after one draw it can give no more before the next. A search that moves
//! heat from slot to slot does not find its way there from a plan of elements, so the
//! plant is run once with the machine in their place, and the search goes on from what is
//! better.

use std::ops::Range;

use crate::judge::score::Judge;
use crate::plan::{Wish, commanded};
use crate::site::Sink;
use crate::time::Slot;
use crate::water::heat_kwh;

use super::{Draft, Jobs};

/// What a thermostat is set to [°C].
const DIALS: [f64; 3] = [50.0, 55.0, 60.0];

/// It calls for heat so far below [K].
const CALL_K: f64 = 5.0;

/// An element that heats for a pasteurisation does so within this time before it [s].
const HYGIENE_LEAD_SECONDS: i64 = 8 * 3_600;

/// A thermostat, and the way of heat that it calls for.
struct Thermostat {
    store: usize,
    chain: usize,
    celsius: f64,
    /// The layers above the lower end of the coil.
    layers: Range<usize>,
}

impl Jobs<'_> {
    /// Puts machines in the place of elements, store by store, where the plant scores
    /// that better; whether it does.
    pub(super) fn keep_hot(&self, judge: &mut Judge<'_>, draft: &mut Draft) -> bool {
        let before = draft.candidate.score;
        for chain in 0..self.chains.all.len() {
            let Sink::Coil { store, coil } = self.chains.all[chain].sink else { continue };
            let bottom = judge.problem().site.stores[store].coils[coil].bottom.value();
            let tank = judge.plant.tank(store);
            let layers = tank.layer_at(bottom)..tank.layers();
            for celsius in DIALS {
                let own = Thermostat { store, chain, celsius, layers: layers.clone() };
                let mut trial = draft.clone();
                if self.heed(judge, &mut trial, &own) {
                    self.mend_all(judge, &mut trial);
                    if trial.candidate.score < draft.candidate.score {
                        *draft = trial;
                    }
                }
            }
        }
        draft.candidate.score < before
    }

    /// Runs the plant slot by slot with the coil whenever the thermostat calls; false if
    /// that cannot be commanded.
    fn heed(&self, judge: &mut Judge<'_>, trial: &mut Draft, own: &Thermostat) -> bool {
        let problem = judge.problem();
        let slots = problem.horizon.slots();
        for (heater, _) in problem.heaters().enumerate().filter(|(_, id)| id.store == own.store) {
            for (slot, span) in slots.iter().enumerate() {
                if !pasteurises(judge, own.store, *span) {
                    trial.candidate.energies[heater][slot] = judge.range_kwh(heater, slot).0;
                }
            }
        }
        let litres = problem.site.stores[own.store].volume.litres() * own.layers.len() as f64
            / judge.plant.tank(own.store).layers() as f64;
        let mut calls = false;
        for slot in 0..slots.len() {
            let outcome = &trial.candidate.outcome;
            let water = &outcome.stores[own.store].layers(slot)[own.layers.clone()];
            let below = own.celsius - water.iter().sum::<f64>() / water.len() as f64;
            calls = below > if calls { 0.0 } else { CALL_K };
            let missing = if calls { heat_kwh(litres, below) } else { 0.0 };
            self.give_first(trial, own.chain, slot, missing);
            trial.candidate.commands.jobs = commanded(problem, self.chains.routes, &trial.wishes);
            if !judge.run_slot(&mut trial.candidate, slot) {
                return false;
            }
        }
        let all: Vec<usize> = (0..slots.len()).collect();
        judge.rerun_whole(&mut trial.candidate, &all)
    }

    /// Gives heat by a way into a coil; what else its source does has the rest of the slot.
    fn give_first(&self, trial: &mut Draft, chain: usize, slot: usize, missing: f64) {
        let route = self.chains.all[chain].routes[0];
        let source = self.chains.routes[route].source;
        let length = self.chains.problem.horizon.slots()[slot].hours();
        let kw = self.chains.kw(route, slot);
        let hours = if kw > 0.0 { (missing / kw).min(length) } else { 0.0 };
        trial.wishes[route][slot] = Wish { heat: hours * kw, hours };
        let mut left = length - hours;
        for (other, own) in self.chains.routes.iter().enumerate() {
            if other == route || own.source != source {
                continue;
            }
            let wish = &mut trial.wishes[other][slot];
            if wish.hours > left {
                wish.heat *= left / wish.hours;
                wish.hours = left;
            }
            left -= wish.hours;
        }
    }
}

/// Whether elements of a store may be at work for a pasteurisation in a slot.
fn pasteurises(judge: &Judge<'_>, store: usize, slot: Slot) -> bool {
    let rules = judge.problem().hygiene.iter().zip(&judge.holds);
    let mut own = rules.filter(|(rule, _)| rule.store == store);
    own.any(|(rule, start)| {
        start.is_some_and(|start| {
            slot.end() > start + -HYGIENE_LEAD_SECONDS && slot.start() < start + rule.hold_seconds
        })
    })
}
