//! The four-state interface of heat pumps: two contacts, of which each pair means
//! one of four states.
//!
//! It is the interface of the heat-pump association of German-speaking countries,
//! whose label is granted there alone while the interface is free to use: contacts
//! 1:0 block the unit (for two hours at most, as a utility's lock does), 0:0 leave
//! it alone, 0:1 encourage it, 1:1 tell it to start. A unit wants each state held for
//! a while; ten minutes here (from memory).

use optimiser::schedule::{Job, Reason, Schedule};
use optimiser::site::Source;
use optimiser::time::{Instant, Slot};

/// Each state is held at least this long [s].
pub const DWELL_S: i64 = 600;

/// A unit is not blocked for longer than this at a stretch [s].
pub const LONGEST_BLOCK_S: i64 = 7_200;

/// What a heat pump is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FourState {
    /// It must not run.
    Blocked,
    /// It runs as it likes.
    Normal,
    /// It should run, if it can.
    Encouraged,
    /// It must run, with more heat than it would make by itself.
    Forced,
}

impl FourState {
    /// The number that the interface gives it.
    pub const fn number(self) -> u8 {
        match self {
            Self::Blocked => 1,
            Self::Normal => 2,
            Self::Encouraged => 3,
            Self::Forced => 4,
        }
    }

    /// Its name on the wire.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Blocked => "blocked",
            Self::Normal => "normal",
            Self::Encouraged => "encouraged",
            Self::Forced => "forced",
        }
    }

    /// Whether the first and the second contact are closed.
    pub const fn contacts(self) -> [bool; 2] {
        match self {
            Self::Blocked => [true, false],
            Self::Normal => [false, false],
            Self::Encouraged => [false, true],
            Self::Forced => [true, true],
        }
    }
}

/// What a schedule asks of a heat pump over its horizon, each state held for its
/// least time, to the minute.
pub fn requests(schedule: &Schedule, pump: usize) -> Vec<(Slot, FourState)> {
    let (Some(first), Some(last)) = (schedule.slots.first(), schedule.slots.last()) else {
        return Vec::new();
    };
    let (start, end) = (first.slot.start(), last.slot.end());
    let mut dwell = Dwell::new(start);
    let mut spans: Vec<(Instant, FourState)> = Vec::new();
    for minute in 0..(end - start) / 60 {
        let now = start + 60 * minute;
        let state = dwell.settle(now, planned(schedule, pump, now));
        if spans.last().is_none_or(|(_, before)| *before != state) {
            spans.push((now, state));
        }
    }
    let ends = spans.iter().skip(1).map(|(at, _)| *at).chain([end]).collect::<Vec<_>>();
    let spans = spans.into_iter().zip(ends);
    spans.filter_map(|((from, state), until)| Some((Slot::new(from, until)?, state))).collect()
}

/// What a schedule asks of a heat pump at an instant: to start where it runs for a
/// price below zero, for sun that would be wasted, for a pasteurisation or at the
/// last chance; encouragement where it runs for less; a block where it would
/// better wait for a run within two hours; else nothing.
pub fn planned(schedule: &Schedule, pump: usize, now: Instant) -> FourState {
    let of_pump = |job: &&Job| job.route.source == Source::HeatPump(pump) && job.minutes > 0.0;
    let Some(at) = schedule.slots.iter().position(|plan| plan.slot.contains(now)) else {
        return FourState::Normal;
    };
    let into_slot = (now - schedule.slots[at].slot.start()) as f64 / 60.0;
    let on = schedule.slots[at]
        .jobs
        .iter()
        .filter(of_pump)
        .find(|job| (job.delay_minutes..job.delay_minutes + job.minutes).contains(&into_slot));
    match on.map(|job| job.why) {
        Some(Reason::PaidToUse | Reason::FreeSun | Reason::Hygiene(_) | Reason::NeededBy(_)) => {
            FourState::Forced
        }
        Some(_) => FourState::Encouraged,
        None => {
            let soon = schedule.slots[at..]
                .iter()
                .take_while(|plan| plan.slot.start() < now + LONGEST_BLOCK_S);
            let starts = soon.flat_map(|plan| {
                let start = plan.slot.start();
                plan.jobs
                    .iter()
                    .filter(of_pump)
                    .map(move |job| start + (job.delay_minutes * 60.0) as i64)
            });
            let waits =
                starts.into_iter().any(|start| start > now && start < now + LONGEST_BLOCK_S);
            if waits { FourState::Blocked } else { FourState::Normal }
        }
    }
}

/// Holds each state for its least time, and a block no longer than its longest.
#[derive(Debug, Clone, Copy)]
pub struct Dwell {
    state: FourState,
    since: Instant,
    /// End of the last block; after one that lasted its longest, the unit is left
    /// alone for as long.
    unblocked_until: Option<Instant>,
}

impl Dwell {
    /// Begins as one that is left alone, and may change at once.
    pub fn new(now: Instant) -> Self {
        Self { state: FourState::Normal, since: now + -DWELL_S, unblocked_until: None }
    }

    /// The state now, with what is wanted.
    pub fn settle(&mut self, now: Instant, wanted: FourState) -> FourState {
        let mut wanted = wanted;
        let held = now - self.since;
        if self.state == FourState::Blocked && held >= LONGEST_BLOCK_S {
            self.unblocked_until = Some(now + LONGEST_BLOCK_S);
        }
        if wanted == FourState::Blocked && self.unblocked_until.is_some_and(|until| now < until) {
            wanted = FourState::Normal;
        }
        if wanted != self.state && held >= DWELL_S {
            *self = Self { state: wanted, since: now, ..*self };
        }
        self.state
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_unix(1_750_000_000 + seconds)
    }

    #[test]
    fn contacts_are_those_of_the_interface() {
        let all = [
            (FourState::Blocked, 1, [true, false]),
            (FourState::Normal, 2, [false, false]),
            (FourState::Encouraged, 3, [false, true]),
            (FourState::Forced, 4, [true, true]),
        ];
        for (state, number, contacts) in all {
            assert_eq!((state.number(), state.contacts()), (number, contacts));
        }
    }

    #[test]
    fn a_state_is_held_for_ten_minutes() {
        let mut dwell = Dwell::new(at(0));
        assert_eq!(dwell.settle(at(0), FourState::Forced), FourState::Forced);
        assert_eq!(dwell.settle(at(599), FourState::Normal), FourState::Forced);
        assert_eq!(dwell.settle(at(600), FourState::Normal), FourState::Normal);
        assert_eq!(dwell.settle(at(700), FourState::Encouraged), FourState::Normal);
        assert_eq!(dwell.settle(at(1_200), FourState::Encouraged), FourState::Encouraged);
    }

    #[test]
    fn a_block_ends_after_two_hours_and_does_not_come_back_at_once() {
        let mut dwell = Dwell::new(at(0));
        let mut blocked = Vec::new();
        for minute in 0..300 {
            let state = dwell.settle(at(minute * 60), FourState::Blocked);
            if state == FourState::Blocked {
                blocked.push(minute);
            }
        }
        assert_eq!(blocked.len(), 120 + 60, "two hours, two hours of rest, and again");
        assert!(blocked.iter().all(|minute| *minute < 120 || *minute >= 240));
    }
}
