//! How often to try, how often to say so, and when being thrown out is no accident.

use std::collections::{HashMap, VecDeque};
use std::time::Duration;

use crate::service::seed::Dice;

/// Waiting times between attempts: at first 1 to 2 s, doubling up to a limit, each
/// shortened by a random share of up to a half, so that many clients do not return at once.
#[derive(Debug)]
pub(super) struct Backoff {
    dice: Dice,
    longest_s: f64,
    next_s: f64,
}

impl Backoff {
    /// Starts with short waits.
    pub(super) fn new(longest: Duration, seed: u64) -> Self {
        Self { dice: Dice::new(seed), longest_s: longest.as_secs_f64().max(1.0), next_s: 2.0 }
    }

    /// How long to wait now; never under 1 s.
    pub(super) fn wait(&mut self) -> Duration {
        let wait_s = self.next_s * (1.0 - self.dice.share() / 2.0);
        self.next_s = (self.next_s * 2.0).min(self.longest_s);
        Duration::from_secs_f64(wait_s.clamp(1.0, self.longest_s))
    }

    /// The connection held; the next wait is short again.
    pub(super) fn reset(&mut self) {
        self.next_s = 2.0;
    }
}

/// Lets each cause be said once a minute, and counts the rest.
#[derive(Debug, Default)]
pub(super) struct LogGate(HashMap<String, (Duration, u64)>);

impl LogGate {
    const QUIET: Duration = Duration::from_mins(1);
    const MAX_CAUSES: usize = 64;

    /// Asks to say a cause at a time; if allowed, how often it was held back.
    pub(super) fn allow(&mut self, elapsed: Duration, cause: &str) -> Option<u64> {
        if self.0.len() >= Self::MAX_CAUSES && !self.0.contains_key(cause) {
            self.0.clear();
        }
        match self.0.get_mut(cause) {
            Some((said, held)) if elapsed.saturating_sub(*said) < Self::QUIET => {
                *held += 1;
                None
            }
            Some(entry) => {
                let held = entry.1;
                *entry = (elapsed, 0);
                Some(held)
            }
            None => {
                self.0.insert(cause.to_owned(), (elapsed, 0));
                Some(0)
            }
        }
    }
}

/// Counts how often a standing connection was cut.
#[derive(Debug, Default)]
pub(super) struct TakeOvers(VecDeque<Duration>);

impl TakeOvers {
    const SPAN: Duration = Duration::from_mins(1);
    const ALLOWED: usize = 3;

    /// A standing connection was cut; whether that is now too often to be chance.
    pub(super) fn record(&mut self, elapsed: Duration) -> bool {
        self.0.push_back(elapsed);
        while self.0.front().is_some_and(|first| elapsed.saturating_sub(*first) > Self::SPAN) {
            self.0.pop_front();
        }
        self.0.len() > Self::ALLOWED
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_from_one_second_to_the_limit_and_differ_between_seeds() {
        let waits = |seed| {
            let mut backoff = Backoff::new(Duration::from_mins(1), seed);
            (0..20).map(|_| backoff.wait().as_secs_f64()).collect::<Vec<_>>()
        };
        let first = waits(1);
        assert!(first.iter().all(|wait| (1.0..=60.0).contains(wait)), "{first:?}");
        assert!(first[19] >= 30.0);
        assert_eq!(first, waits(1));
        assert_ne!(first, waits(2));
    }

    #[test]
    fn a_long_outage_makes_one_line_a_minute() {
        let mut gate = LogGate::default();
        let lines = (0..3_600).filter_map(|s| gate.allow(Duration::from_secs(s), "refused"));
        let held: Vec<_> = lines.collect();
        assert_eq!(held.len(), 60);
        assert_eq!(held[1], 59);
    }

    // Failure case 33: an hour in which every attempt fails at once.
    #[test]
    fn an_hour_of_failures_is_tried_seldom_and_told_seldom() {
        let (mut backoff, mut gate) = (Backoff::new(Duration::from_mins(1), 1), LogGate::default());
        let (mut elapsed, mut attempts, mut lines) = (Duration::ZERO, 0, 0);
        while elapsed < Duration::from_hours(1) {
            lines += usize::from(gate.allow(elapsed, "no such name").is_some());
            let wait = backoff.wait();
            assert!(wait >= Duration::from_secs(1), "more than one attempt a second");
            elapsed += wait;
            attempts += 1;
        }
        assert!((60..150).contains(&attempts), "{attempts} attempts");
        assert!((30..=61).contains(&lines), "{lines} lines");
    }

    #[test]
    fn four_cuts_in_a_minute_are_no_chance() {
        let mut cuts = TakeOvers::default();
        let told: Vec<_> =
            [0, 10, 20, 30].map(|s| cuts.record(Duration::from_secs(s))).into_iter().collect();
        assert_eq!(told, [false, false, false, true]);
        assert!(!cuts.record(Duration::from_secs(200)));
    }
}
