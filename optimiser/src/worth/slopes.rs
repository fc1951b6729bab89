//! Concave functions of a level, as falling slopes.

use crate::problem::ValueStep;
use crate::units::{Energy, Price};

/// Steps narrower than this are joined to their neighbour [kWh].
const NARROW: f64 = 1e-6;

/// What two slopes differ by that were reckoned in another order.
const ROUNDING: f64 = 1e-9;

/// A concave function of a level from 0 to a capacity, as falling slopes.
#[derive(Debug, PartialEq)]
pub(crate) struct Slopes {
    capacity: f64,
    /// Width and slope of each piece, from level 0 up, slopes falling.
    pieces: Vec<(f64, f64)>,
}

impl Clone for Slopes {
    fn clone(&self) -> Self {
        Self { capacity: self.capacity, pieces: self.pieces.clone() }
    }

    // In the memory that is there: that of each slot is copied for every candidate.
    fn clone_from(&mut self, source: &Self) {
        self.capacity = source.capacity;
        self.pieces.clone_from(&source.pieces);
    }
}

/// Pieces that there is room for from the start.
const ROOM: usize = 32;

impl Slopes {
    pub(super) fn zero(capacity: f64) -> Self {
        let mut pieces = Vec::with_capacity(ROOM);
        pieces.push((capacity, 0.0));
        Self { capacity, pieces }
    }

    /// What levels up to a capacity are worth in steps.
    pub(crate) fn of(steps: &[ValueStep], capacity: f64) -> Self {
        let mut slopes = Self { capacity, pieces: Vec::with_capacity(ROOM) };
        slopes.pieces.extend(steps.iter().map(|s| (s.width.kwh(), s.value.per_kwh())));
        slopes.cut();
        slopes
    }

    /// Width of the piece above a level that is left, and its slope; at the
    /// capacity there is none.
    pub(crate) fn above(&self, level: f64) -> Option<(f64, f64)> {
        let mut top = 0.0;
        self.pieces.iter().find_map(|&(width, slope)| {
            top += width;
            (top > level + NARROW).then_some((top - level, slope))
        })
    }

    /// Width of the piece below a level, as far as it reaches down, and its slope.
    pub(crate) fn below(&self, level: f64) -> Option<(f64, f64)> {
        let mut bottom = 0.0;
        let mut found = None;
        for &(width, slope) in &self.pieces {
            if bottom >= level - NARROW {
                break;
            }
            found = Some((level - bottom, slope));
            bottom += width;
        }
        found
    }

    /// Whether it differs by rounding only.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= ROUNDING;
        self.pieces.len() == other.pieces.len()
            && self
                .pieces
                .iter()
                .zip(&other.pieces)
                .all(|(own, peer)| near(own.0, peer.0) && near(own.1, peer.1))
    }

    /// The level may be raised by up to `most` at a cost for each unit: the dearest
    /// units, as many, are worth no more than that.
    pub(crate) fn fill(&mut self, most: f64, cost: f64) {
        if most <= NARROW {
            return;
        }
        let at = self.dearer_than(cost);
        let (mut first, mut gone) = (0, 0.0);
        while first < at && gone + self.pieces[first].0 <= most {
            gone += self.pieces[first].0;
            first += 1;
        }
        if first == at {
            // All that is dearer goes.
            if at > 0 {
                self.pieces[at - 1] = (gone, cost);
                self.pieces.drain(..at - 1);
            }
            return;
        }
        self.pieces[first].0 -= most - gone;
        if self.pieces[first].0 <= NARROW && first + 1 < self.pieces.len() {
            let narrow = self.pieces[first].0;
            self.pieces[first + 1].0 += narrow;
            first += 1;
        }
        if first == 0 {
            self.pieces.insert(at, (most, cost));
        } else {
            self.pieces.copy_within(first..at, first - 1);
            self.pieces[at - 1] = (most, cost);
            self.pieces.drain(..first - 1);
        }
    }

    /// The level may be lowered by up to `most` for an income for each unit: the
    /// cheapest units, as many, are worth no less than that.
    pub(crate) fn give(&mut self, most: f64, income: f64) {
        if most <= NARROW {
            return;
        }
        let at = self.dearer_than(income);
        self.pieces.insert(at, (most, income));
        let mut left = most;
        while let Some((width, _)) = self.pieces.pop_if(|piece| piece.0 <= left) {
            left -= width;
        }
        if let Some(last) = self.pieces.last_mut() {
            last.0 -= left;
        }
        if let [.., before, last] = self.pieces.as_mut_slice()
            && last.0 <= NARROW
        {
            before.0 += last.0;
            self.pieces.pop();
        }
    }

    /// How many pieces are worth no less than a slope.
    fn dearer_than(&self, slope: f64) -> usize {
        self.pieces.partition_point(|&(_, other)| other >= slope)
    }

    /// The level must be lowered by `amount`; what is missing costs `penalty`.
    pub(super) fn use_for(&mut self, amount: f64, penalty: f64) {
        if amount > NARROW {
            self.pieces.insert(0, (amount, penalty));
            self.cut();
        }
    }

    /// What is above `floor` shrinks by a factor.
    pub(super) fn lose(&mut self, factor: f64, floor: f64) {
        let mut level = 0.0;
        for (width, slope) in &mut self.pieces {
            if level >= floor && factor > 0.0 {
                let before = *width;
                *width /= factor;
                *slope *= factor;
                level += before;
            } else {
                level += *width;
            }
        }
        self.pieces.sort_by(|a, b| b.1.total_cmp(&a.1));
        self.cut();
    }

    fn cut(&mut self) {
        let mut left = self.capacity;
        self.pieces.retain_mut(|(width, _)| {
            *width = width.min(left);
            left -= *width;
            *width > NARROW
        });
        if left > NARROW {
            self.pieces.push((left, 0.0));
            self.pieces.sort_by(|a, b| b.1.total_cmp(&a.1));
        }
    }

    pub(super) fn steps(&self) -> Vec<ValueStep> {
        let steps = self.pieces.iter().map(|&(width, slope)| ValueStep {
            width: Energy::clamped(width),
            value: Price::clamped(slope),
        });
        steps.filter(|step| step.value.per_kwh() > 0.0).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(actual: f64, expected: f64) {
        assert!((actual - expected).abs() < 1e-9, "{actual} is not {expected}");
    }

    #[test]
    fn heat_is_worth_what_it_saves_later() {
        let mut worth = Slopes::zero(10.0);
        // Last a draw of 4, before it a chance to fill 3 at a price of 7.
        worth.use_for(4.0, 100.0);
        worth.fill(3.0, 7.0);
        assert_eq!(worth.pieces.len(), 3);
        near(worth.pieces[0].0, 1.0);
        near(worth.pieces[0].1, 100.0);
        near(worth.pieces[1].0, 3.0);
        near(worth.pieces[1].1, 7.0);
        near(worth.pieces[2].1, 0.0);
    }

    #[test]
    fn loss_makes_what_is_kept_worth_less() {
        let mut worth = Slopes::zero(10.0);
        worth.use_for(2.0, 50.0);
        worth.lose(0.8, 0.0);
        near(worth.pieces[0].0, 2.5);
        near(worth.pieces[0].1, 40.0);
    }

    #[test]
    fn a_negative_price_makes_an_empty_store_worth_more() {
        let mut worth = Slopes::zero(10.0);
        worth.use_for(4.0, 100.0);
        worth.fill(20.0, -5.0);
        // Room is worth money: the slope is negative and no step is left.
        assert!(worth.steps().is_empty());
    }

    #[test]
    fn charge_is_sold_at_the_best_prices_ahead() {
        let mut worth = Slopes::zero(10.0);
        worth.give(3.0, 20.0);
        worth.give(2.0, 30.0);
        let steps = worth.steps();
        near(steps[0].value.per_kwh(), 30.0);
        near(steps[0].width.kwh(), 2.0);
        near(steps[1].value.per_kwh(), 20.0);
        near(steps[1].width.kwh(), 3.0);
    }
}
