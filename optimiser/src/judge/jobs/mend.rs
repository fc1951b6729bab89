//! Rooms that a plan leaves too cold, warmed in all slots at once.
//!
//! A search that adds a quantum to one slot at a time takes a simulation for each. The
//! rooms answer heat linearly, so what all slots lack is known after one.

use crate::judge::score::Judge;
use crate::model::Response;
use crate::site::Sink;

use super::{Draft, Jobs};

/// Air so far below its comfort is short [K].
const SHORT_K: f64 = 0.01;

impl Jobs<'_> {
    /// Warms what is too cold, if the plant scores that better; whether it does.
    pub(super) fn mend_rooms(&self, judge: &mut Judge<'_>, draft: &mut Draft) -> bool {
        let mut trial = draft.clone();
        let changed = self.warmed(&mut trial);
        !changed.is_empty() && self.keep(judge, draft, trial, &changed)
    }

    /// Adds the heat that the air lacks in each slot; the slots that changed.
    fn warmed(&self, draft: &mut Draft) -> Vec<usize> {
        let problem = self.chains.problem;
        let (Some(rooms), Some(bands), Some(trace)) = (
            &problem.site.plant_room.rooms,
            &problem.comfort.rooms,
            &draft.candidate.outcome.plant_room,
        ) else {
            return Vec::new();
        };
        let air: Vec<f64> = trace.slots().iter().map(|slot| slot.air).collect();
        let mut changed = Vec::new();
        // How much warmer the mass is by now than it was in the simulation.
        let mut warmer = 0.0;
        for (slot, air) in air.into_iter().enumerate() {
            let response = Response::new(problem, rooms, slot);
            let lacks = bands[slot].low.celsius() - air - response.air[0] * warmer;
            let mut given = 0.0;
            if lacks > SHORT_K {
                given = self.given(draft, slot, lacks / response.air[1]);
                if given > 0.0 {
                    changed.extend([slot.saturating_sub(1), slot]);
                }
            }
            warmer = response.mass[0] * warmer + response.mass[1] * given;
        }
        changed
    }

    /// Gives heat [kWh] to the rooms in a slot, by the cheapest ways first; what there
    /// was room for.
    fn given(&self, draft: &mut Draft, slot: usize, kwh: f64) -> f64 {
        let all = (0..self.chains.all.len()).filter(|&c| self.chains.all[c].sink == Sink::Rooms);
        let mut ways: Vec<usize> = all.collect();
        ways.sort_by(|&a, &b| self.cost(a, slot).total_cmp(&self.cost(b, slot)));
        let mut left = kwh;
        for chain in ways {
            let part = left.min(self.chains.room_kwh(&draft.wishes, chain, slot));
            if part > 0.0 {
                self.chains.add(&mut draft.wishes, chain, slot, part);
                left -= part;
            }
        }
        kwh - left
    }
}
