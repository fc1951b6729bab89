//! Set-points for heaters and sources: short-lived, numbered, refreshed while they hold.

use std::collections::HashMap;

use optimiser::time::{Instant, Slot};

use super::seed::Dice;

/// Time between two set-points that say the same [s].
pub const REFRESH_S: i64 = 90;

/// How long a set-point holds without being refreshed [s]: three refreshes may
/// be lost before the heater goes off by itself. Never above 600.
pub const VALID_S: i64 = 3 * REFRESH_S;

/// Longest delay of a start after the edge of a slot [s].
pub const MAX_START_OFFSET_S: i64 = 600;

/// How long after the edge of a slot this site may switch on [s], from 0 to 600
/// and always the same for the same site. Many houses see the same prices; if all
/// switched on at the same second the network would notice. Switching off is
/// never delayed.
pub fn start_offset_s(site: &str) -> i64 {
    (Dice::from_text(site).share() * (MAX_START_OFFSET_S + 1) as f64) as i64
}

/// When a heater runs in a slot it is planned for: after `delay_s`, for `run_s`,
/// all of it later by the start offset unless it ran already, and never beyond the
/// slot. `None` if nothing is left of it.
pub fn run_window(slot: Slot, delay_s: i64, run_s: i64, offset_s: i64) -> Option<Slot> {
    let start = slot.start() + (delay_s + offset_s);
    Slot::new(start, (start + run_s).min(slot.end()))
}

/// What a device can be told to do.
pub trait Order: Clone + PartialEq {
    /// Whether it is on.
    fn is_on(&self) -> bool;

    /// The same device off.
    #[must_use]
    fn off(&self) -> Self;
}

/// Power of a heater [W].
impl Order for u32 {
    fn is_on(&self) -> bool {
        *self > 0
    }

    fn off(&self) -> Self {
        0
    }
}

/// What a device is wanted to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted<O> {
    /// What it is told.
    pub order: O,
    /// It is over by then at the latest: the end of the slot, boost or plan.
    pub until: Instant,
    /// Why, for people.
    pub reason: String,
}

/// A set-point that is due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due<O> {
    /// Its number, rising by one for each device.
    pub seq: u64,
    /// Now.
    pub issued_at: Instant,
    /// It no longer holds then.
    pub valid_until: Instant,
    /// What the device is told.
    pub order: O,
    /// Why.
    pub reason: String,
}

/// Numbers the set-points of one run of the service.
#[derive(Debug)]
pub struct Issuer<Device, O> {
    last: HashMap<Device, Issued<O>>,
}

#[derive(Debug)]
struct Issued<O> {
    seq: u64,
    at: Instant,
    wanted: Wanted<O>,
}

impl<Device, O> Default for Issuer<Device, O> {
    /// Starts numbering from 1.
    fn default() -> Self {
        Self { last: HashMap::new() }
    }
}

impl<Device: std::hash::Hash + Eq, O: Order> Issuer<Device, O> {
    /// The set-point to send now, if one is due: the first, one with another order or
    /// reason, or a refresh. One that is over already is sent as off.
    pub fn issue(&mut self, now: Instant, device: Device, wanted: Wanted<O>) -> Option<Due<O>> {
        let wanted = if wanted.until <= now && wanted.order.is_on() {
            let order = wanted.order.off();
            Wanted { order, reason: "its time is over".to_owned(), ..wanted }
        } else {
            wanted
        };
        let last = self.last.get(&device);
        let due = last.is_none_or(|last| {
            last.wanted.order != wanted.order
                || last.wanted.reason != wanted.reason
                || now - last.at >= REFRESH_S
                || now < last.at
                || wanted.until < last.wanted.until && wanted.order.is_on()
        });
        if !due {
            return None;
        }
        let seq = last.map_or(1, |last| last.seq + 1);
        let end = now + VALID_S;
        let due = Due {
            seq,
            issued_at: now,
            valid_until: if wanted.order.is_on() { end.min(wanted.until) } else { end },
            order: wanted.order.clone(),
            reason: wanted.reason.clone(),
        };
        self.last.insert(device, Issued { seq, at: now, wanted });
        Some(due)
    }

    /// The set-point was not sent after all, so it is due again at once. Its
    /// number stays used.
    pub fn forget_sending(&mut self, device: &Device) {
        if let Some(last) = self.last.get_mut(device) {
            last.at = Instant::from_unix(i64::MIN / 2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_unix(1_750_000_000 + seconds)
    }

    fn on(until: i64) -> Wanted<u32> {
        Wanted { order: 3_000, until: at(until), reason: "cheapest before 06:00".into() }
    }

    // Failure case 37: many sites see the same edge of a slot.
    #[test]
    fn ten_thousand_sites_spread_evenly_over_ten_minutes() {
        let mut per_minute = [0_u32; 10];
        for site in 0..10_000 {
            let offset = start_offset_s(&format!("site {site}"));
            assert!((0..=MAX_START_OFFSET_S).contains(&offset));
            per_minute[usize::try_from(offset / 60).expect("positive").min(9)] += 1;
        }
        // 1000 expected in each minute; five standard deviations are 150.
        assert!(per_minute.iter().all(|n| n.abs_diff(1_000) < 150), "{per_minute:?}");
        assert_eq!(start_offset_s("Mill House"), start_offset_s("Mill House"));
    }

    #[test]
    fn a_start_is_delayed_within_its_slot() {
        let slot = |start, end| Slot::new(at(start), at(end));
        let half_hour = slot(0, 1_800).expect("a slot");
        assert_eq!(run_window(half_hour, 0, 600, 240), slot(240, 840), "there is room");
        assert_eq!(run_window(half_hour, 0, 1_800, 240), slot(240, 1_800), "the end stays");
        assert_eq!(run_window(half_hour, 1_200, 600, 0), slot(1_200, 1_800));
        assert_eq!(run_window(half_hour, 1_200, 600, 600), None);
        assert_eq!(run_window(half_hour, 0, 0, 0), None);
    }

    #[test]
    fn a_set_point_is_refreshed_and_never_outlives_its_slot() {
        let mut issuer = Issuer::default();
        let mut sent = Vec::new();
        for second in (0..=1_800).step_by(10) {
            sent.extend(issuer.issue(at(second), "upper", on(1_800)));
        }
        assert_eq!(sent.len(), 21, "every 90 s, and off at the end");
        for (i, set_point) in sent.iter().enumerate() {
            assert_eq!(set_point.seq, i as u64 + 1);
            let lasts = set_point.valid_until - set_point.issued_at;
            assert!((0..=600).contains(&lasts));
            assert!(set_point.order == 0 || set_point.valid_until <= at(1_800));
        }
        assert_eq!(sent.last().map(|set_point| set_point.order), Some(0));
        let gaps = sent.windows(2).map(|p| p[1].issued_at - p[0].issued_at);
        assert!(gaps.into_iter().all(|gap| (60..=120).contains(&gap)));
    }

    #[test]
    fn a_change_goes_out_at_once_and_a_lost_one_again() {
        let mut issuer = Issuer::default();
        assert!(issuer.issue(at(0), "upper", on(1_800)).is_some());
        assert!(issuer.issue(at(1), "upper", on(1_800)).is_none());
        let off = Wanted { order: 0, ..on(1_800) };
        let sent = issuer.issue(at(2), "upper", off.clone()).expect("a change");
        assert_eq!((sent.order, sent.seq), (0, 2));
        issuer.forget_sending(&"upper");
        assert_eq!(issuer.issue(at(3), "upper", off).expect("again").seq, 3);
    }

    #[test]
    fn a_clock_that_steps_back_does_not_silence_the_heater() {
        let mut issuer = Issuer::default();
        assert!(issuer.issue(at(86_400), "upper", on(90_000)).is_some());
        assert!(issuer.issue(at(0), "upper", on(90_000)).is_some());
    }
}
