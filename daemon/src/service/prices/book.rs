//! Everything that is known about prices, from lists that correct each other.

use optimiser::time::{Instant, Slot};

use super::list::{PriceList, Quantity};

/// A slot for which a later list says something else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conflict {
    /// The slot.
    pub slot: Slot,
    /// Value before.
    pub before: f64,
    /// Value now.
    pub now: f64,
}

/// All lists of one quantity. Where they overlap, the lower priority number wins,
/// then the later issue, then the later arrival.
#[derive(Debug, Clone, PartialEq)]
pub struct Book {
    quantity: Quantity,
    /// From the weakest to the strongest.
    lists: Vec<PriceList>,
}

impl Book {
    /// Knows nothing yet.
    pub fn new(quantity: Quantity) -> Self {
        Self { quantity, lists: Vec::new() }
    }

    /// Adds a list and says what it changes. A list of another quantity or unit is
    /// not for this book, and changes nothing.
    pub fn add(&mut self, list: PriceList) -> Vec<Conflict> {
        let same_unit = self.lists.first().is_none_or(|held| held.unit == list.unit);
        if list.quantity != self.quantity || !same_unit || self.lists.contains(&list) {
            return Vec::new();
        }
        let rank = |list: &PriceList| (std::cmp::Reverse(list.priority), list.issued_at);
        let before: Vec<_> =
            list.points().iter().map(|(slot, _)| (*slot, self.value(*slot))).collect();
        let index = self.lists.partition_point(|held| rank(held) <= rank(&list));
        self.lists.insert(index, list);
        before
            .into_iter()
            .filter_map(|(slot, before)| {
                let (before, now) = (before?, self.value(slot)?);
                ((before - now).abs() > 1e-9).then_some(Conflict { slot, before, now })
            })
            .collect()
    }

    /// Forgets what ended before an instant.
    pub fn prune(&mut self, before: Instant) {
        self.lists.retain(|list| list.points().last().is_some_and(|(slot, _)| slot.end() > before));
    }

    /// The value at an instant, and how long the list goes on saying so.
    pub fn at(&self, instant: Instant) -> Option<(Slot, f64)> {
        self.lists.iter().rev().find_map(|list| list.at(instant))
    }

    /// Mean over a slot by time; `None` if any part of it is unknown.
    pub fn value(&self, slot: Slot) -> Option<f64> {
        let (mut instant, mut sum) = (slot.start(), 0.0);
        while instant < slot.end() {
            let (_, value) = self.at(instant)?;
            let next = self.next_edge(instant).min(slot.end());
            sum += value * (next - instant) as f64;
            instant = next;
        }
        Some(sum / slot.seconds() as f64)
    }

    /// The first instant from which nothing is known, looking on from `from`.
    pub fn known_until(&self, from: Instant) -> Instant {
        let mut instant = from;
        while self.at(instant).is_some() {
            instant = self.next_edge(instant);
        }
        instant
    }

    /// Everything that is known, in order, cut wherever any list has an edge.
    pub fn pieces(&self) -> Vec<(Slot, f64)> {
        let starts = self.lists.iter().filter_map(|list| list.points().first());
        let ends = self.lists.iter().filter_map(|list| list.points().last());
        let Some(mut instant) = starts.map(|(slot, _)| slot.start()).min() else {
            return Vec::new();
        };
        let end = ends.map(|(slot, _)| slot.end()).max().unwrap_or(instant);
        let mut pieces = Vec::new();
        while instant < end {
            let next = self.next_edge(instant);
            if let Some((_, value)) = self.at(instant) {
                pieces.extend(Slot::new(instant, next).map(|slot| (slot, value)));
            }
            instant = next;
        }
        pieces
    }

    /// The next start or end of any entry.
    fn next_edge(&self, after: Instant) -> Instant {
        let edges = self.lists.iter().filter_map(|list| {
            let index = list.points().partition_point(|(slot, _)| slot.end() <= after);
            let slot = list.points().get(index)?.0;
            Some(if slot.start() > after { slot.start() } else { slot.end() })
        });
        edges.min().unwrap_or(after + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Instant {
        Instant::from_unix(minutes * 60)
    }

    fn slot(start: i64, end: i64) -> Slot {
        Slot::new(at(start), at(end)).expect("a slot")
    }

    fn list(issued: i64, points: &[(i64, i64, f64)]) -> PriceList {
        let points = points.iter().map(|&(start, end, value)| (slot(start, end), value)).collect();
        PriceList::new(Quantity::Price, "p/kWh".into(), at(issued), u32::MAX, points).0
    }

    // Failure case 17: partly, then corrected, then an old list again.
    #[test]
    fn corrections_win_by_issue_and_gaps_stay_gaps() {
        let mut book = Book::new(Quantity::Price);
        assert_eq!(book.add(list(0, &[(0, 30, 1.0), (30, 60, 2.0), (90, 120, 4.0)])), []);
        assert_eq!(book.value(slot(60, 90)), None);
        assert_eq!(book.value(slot(45, 75)), None, "half of it is unknown");
        assert_eq!(book.known_until(at(0)), at(60));
        let conflicts = book.add(list(20, &[(30, 60, 5.0), (60, 90, 3.0)]));
        assert_eq!(conflicts, [Conflict { slot: slot(30, 60), before: 2.0, now: 5.0 }]);
        assert_eq!(book.known_until(at(0)), at(120));
        assert_eq!(book.add(list(10, &[(30, 60, 9.0)])), [], "issued before the correction");
        assert_eq!(book.value(slot(30, 60)), Some(5.0));
        let known = [(0, 30, 1.0), (30, 60, 5.0), (60, 90, 3.0), (90, 120, 4.0)];
        let known = known.map(|(start, end, value)| (slot(start, end), value));
        assert_eq!(book.pieces(), known);
        book.prune(at(120));
        assert_eq!(book.value(slot(0, 30)), None);
    }

    // C37: quarter-hours 4, 8, -2, 6 make half-hours 6 and 2.
    #[test]
    fn shorter_slots_are_averaged_by_time() {
        let mut book = Book::new(Quantity::Price);
        book.add(list(0, &[(0, 15, 4.0), (15, 30, 8.0), (30, 45, -2.0), (45, 60, 6.0)]));
        assert_eq!(book.value(slot(0, 30)), Some(6.0));
        assert_eq!(book.value(slot(30, 60)), Some(2.0));
        assert_eq!(book.value(slot(0, 60)), Some(4.0));
        assert_eq!(book.value(slot(10, 20)), Some(6.0));
    }

    #[test]
    fn a_lower_priority_number_wins_over_a_later_issue() {
        let mut book = Book::new(Quantity::Price);
        let mut event = list(0, &[(0, 60, 50.0)]);
        event.priority = 0;
        book.add(event);
        book.add(list(99, &[(0, 60, 10.0), (60, 120, 10.0)]));
        assert_eq!(book.value(slot(0, 60)), Some(50.0));
        assert_eq!(book.value(slot(30, 90)), Some(30.0));
    }

    #[test]
    fn another_unit_is_not_mixed_in() {
        let mut book = Book::new(Quantity::Price);
        book.add(list(0, &[(0, 60, 10.0)]));
        let mut other = list(1, &[(0, 60, 100.0)]);
        other.unit = "EUR/MWh".into();
        book.add(other);
        assert_eq!(book.value(slot(0, 60)), Some(10.0));
    }
}
