//! Rooms and a pool that a plan leaves too cold, warmed in all slots at once.
//!
//! A search that adds a quantum to one slot at a time takes a simulation for each. Both
//! answer heat linearly or nearly so, so what all slots lack is known after one.

use crate::judge::score::Judge;
use crate::model::{PoolResponse, Response};
use crate::problem::Band;
use crate::site::Sink;

use super::{Draft, Jobs};

/// What is so far below its comfort is short [K].
const SHORT_K: f64 = 0.01;

/// Rooms and pool are warmed at most so long before they would be too cold [slots].
const ROOMS_LEAD: usize = 16;
const POOL_LEAD: usize = 24;

/// Rooms or pool, as far as warming them goes.
struct Body {
    sink: Sink,
    /// How much too cold it is in each slot of a simulation [K]; negative where it is not.
    lacks: Vec<f64>,
    answers: Vec<Answer>,
    lead: usize,
}

/// How a body answers heat in a slot.
#[derive(Debug, Clone, Copy)]
struct Answer {
    /// What it keeps for the next slot, of a kelvin and of a kWh [K].
    kept: [f64; 2],
    /// What is felt of both in this slot [K].
    felt: [f64; 2],
}

/// A way and a slot in which heat may be given.
#[derive(Debug, Clone, Copy)]
struct Place {
    chain: usize,
    slot: usize,
    /// Cost of each kelvin that is felt [minor/K].
    cost: f64,
    /// What is felt and kept of each kWh in the slot that it is for [K].
    felt: f64,
    kept: f64,
}

impl Jobs<'_> {
    /// Warms what is too cold, if the plant scores that better; whether it does.
    pub(super) fn mend(&self, judge: &mut Judge<'_>, draft: &mut Draft) -> bool {
        let mut better = false;
        for body in [Self::rooms, Self::pool] {
            let Some(body) = body(self, draft) else { continue };
            let mut trial = draft.clone();
            let changed = self.warm(&mut trial, &body);
            better |= !changed.is_empty() && self.keep(judge, draft, trial, &changed);
        }
        better
    }

    fn rooms(&self, draft: &Draft) -> Option<Body> {
        let problem = self.chains.problem;
        let rooms = problem.site.plant_room.rooms.as_ref()?;
        let aims = self.aims(|slot| problem.comfort.rooms_aim(slot))?;
        let trace = draft.candidate.outcome.plant_room.as_ref()?;
        let slots = trace.slots().iter().zip(aims);
        let answer = |slot: usize| {
            let Response { mass, air } = Response::new(problem, rooms, slot);
            Answer { kept: [mass[0], mass[1]], felt: [air[0], air[1]] }
        };
        Some(Body {
            sink: Sink::Rooms,
            lacks: slots.map(|(own, aim)| aim - own.air).collect(),
            answers: (0..problem.horizon.len()).map(answer).collect(),
            lead: ROOMS_LEAD,
        })
    }

    fn pool(&self, draft: &Draft) -> Option<Body> {
        let problem = self.chains.problem;
        let pool = problem.site.plant_room.pool.as_ref()?;
        let aims = self.aims(|slot| problem.comfort.pool_aim(slot))?;
        let trace = draft.candidate.outcome.plant_room.as_ref()?;
        let answer = |own: PoolResponse| {
            let both = [own.before, own.heat];
            Answer { kept: both, felt: both }
        };
        let lack = |(slot, aim): (usize, f64)| aim - trace.pool(slot + 1);
        Some(Body {
            sink: Sink::Pool,
            lacks: aims.into_iter().enumerate().map(lack).collect(),
            answers: PoolResponse::of(problem, pool).into_iter().map(answer).collect(),
            lead: POOL_LEAD,
        })
    }

    /// The lowest temperatures that are aimed at [°C]; `None` where none are asked for.
    fn aims(&self, aim: impl Fn(usize) -> Option<Band>) -> Option<Vec<f64>> {
        (0..self.values.len()).map(|slot| Some(aim(slot)?.low.celsius())).collect()
    }

    /// Gives the heat that a body lacks in each slot, in that slot or before it, wherever
    /// a kelvin is cheapest; the slots that changed.
    fn warm(&self, draft: &mut Draft, body: &Body) -> Vec<usize> {
        let mut changed = Vec::new();
        // How much warmer it is by now than it was in the simulation.
        let mut warmer = 0.0;
        for (slot, answer) in body.answers.iter().enumerate() {
            let mut lacks = body.lacks[slot] - answer.felt[0] * warmer;
            warmer *= answer.kept[0];
            if lacks <= SHORT_K {
                continue;
            }
            for place in self.places(body, slot) {
                let room = self.chains.room_kwh(&draft.wishes, place.chain, place.slot);
                let kwh = room.min(lacks / place.felt);
                if kwh > 0.0 {
                    self.chains.add(&mut draft.wishes, place.chain, place.slot, kwh);
                    changed.extend([place.slot.saturating_sub(1), place.slot]);
                    lacks -= kwh * place.felt;
                    warmer += kwh * place.kept;
                }
            }
        }
        changed
    }

    /// Where heat for a slot may be given, the cheapest first.
    fn places(&self, body: &Body, slot: usize) -> Vec<Place> {
        let all = 0..self.chains.all.len();
        let ways: Vec<usize> = all.filter(|&c| self.chains.all[c].sink == body.sink).collect();
        let answer = body.answers[slot];
        let mut places = Vec::new();
        // What is left, when the slot begins, of a kelvin at the end of another.
        let mut left = 1.0;
        for from in (slot.saturating_sub(body.lead)..=slot).rev() {
            let own = body.answers[from];
            let [felt, kept] = if from == slot {
                [answer.felt[1], answer.kept[1]]
            } else {
                let before = left * own.kept[1];
                left *= own.kept[0];
                [answer.felt[0] * before, answer.kept[0] * before]
            };
            places.extend(ways.iter().map(|&chain| {
                let cost = self.cost(chain, from) / felt;
                Place { chain, slot: from, cost, felt, kept }
            }));
        }
        places.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(b.slot.cmp(&a.slot)));
        places
    }
}
