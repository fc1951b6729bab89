//! A tank in which nothing happens but what it does by itself.

use super::super::water::{Shares, Water};
use super::{Tank, sum};

/// Most of a layer that is exchanged with a neighbour, or lost through a cap, in one
/// step of standing: what caps and conduction do together is then off by some 1e-5 of
/// the difference between two layers at most.
const MOST_EXCHANGED: f64 = 0.25;
const MOST_THROUGH_CAP: f64 = 0.03;

/// What a tank does in a time in which nothing else happens.
#[derive(Debug, Clone)]
pub(in crate::plant) struct Standing {
    /// That time [h].
    hours: f64,
    /// Parts that it is done in.
    parts: usize,
    shares: Shares,
    /// What the caps leave of the excess, half before and half after.
    ends: f64,
}

/// What a tank does in times in which it stood lately.
#[derive(Debug, Clone, Default)]
pub(in crate::plant) struct Standings([Option<Standing>; 8]);

impl Standings {
    /// What a tank does in a time [h], from memory if it is there.
    pub(in crate::plant) fn of(&mut self, tank: &Tank, hours: f64) -> &Standing {
        // The golden ratio spreads what differs in a few bits only (Knuth, The Art of
        // Computer Programming 3, 6.4); three bits say which of the eight.
        let place = hours.to_bits().wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 61;
        let own = &mut self.0[place as usize];
        if own.as_ref().is_some_and(|known| known.hours.to_bits() != hours.to_bits()) {
            *own = None;
        }
        own.get_or_insert_with(|| tank.standing(hours))
    }
}

impl Tank {
    /// What standing for a time [h] does.
    pub(super) fn standing(&self, hours: f64) -> Standing {
        let by_exchange = self.exchange * hours / MOST_EXCHANGED;
        let by_caps = self.cap_loss * hours / MOST_THROUGH_CAP;
        let parts = by_exchange.max(by_caps).ceil().max(1.0);
        let part = hours / parts;
        Standing {
            hours,
            parts: parts as usize,
            shares: Shares::new(self.exchange * part, (-self.side_loss * part).exp()),
            ends: (-0.5 * self.cap_loss * part).exp(),
        }
    }

    /// [`Tank::stand`] where it is known what that does.
    pub(in crate::plant) fn stand_as(&self, water: &mut Water, standing: &Standing) -> f64 {
        let before = sum(water.layers());
        for _ in 0..standing.parts {
            water.cool_ends(self.surroundings, standing.ends);
            water.conduct(&standing.shares, self.surroundings);
            water.cool_ends(self.surroundings, standing.ends);
        }
        let lost = before - sum(water.layers());
        water.settle();
        lost * self.capacity
    }

    /// As fast as a layer can at most become colder while the tank stands: as if the
    /// layer below were as cold as anything here ever gets, and what is lost through
    /// the top were lost here too [K/h].
    pub(in crate::plant) fn fastest_fall(&self, water: &Water, layer: usize) -> f64 {
        let coldest = water.layers()[0].min(self.surroundings);
        let lost = (water.top() - self.surroundings).max(0.0);
        self.exchange * (water.layers()[layer] - coldest) + (self.side_loss + self.cap_loss) * lost
    }
}
