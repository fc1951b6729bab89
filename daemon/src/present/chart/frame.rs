//! Where instants and values lie in the picture.

use chrono_tz::Tz;
use optimiser::time::Instant;

use super::{Anchor, Svg};
use crate::present::digits::text;
use crate::present::local;

/// The time axis that all plots share.
pub(super) struct Timeline {
    zone: Tz,
    from: Instant,
    until: Instant,
    pub(super) left: f64,
    pub(super) right: f64,
}

/// A plot: a timeline across, a scale of values up.
pub(super) struct Frame<'a> {
    pub(super) time: &'a Timeline,
    scale: Scale,
    pub(super) top: f64,
    pub(super) height: f64,
}

/// A range of values and the values marked on it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    marks: Vec<f64>,
}

impl Timeline {
    pub(super) fn new(zone: Tz, from: Instant, until: Instant, (left, right): (f64, f64)) -> Self {
        Self { zone, from, until, left, right }
    }

    pub(super) fn x(&self, at: Instant) -> f64 {
        let at = at.max(self.from).min(self.until);
        let share = (at - self.from) as f64 / ((self.until - self.from) as f64).max(1.0);
        self.left + share * (self.right - self.left)
    }

    /// Full hours that are labelled, with their hour.
    fn marks(&self) -> impl Iterator<Item = (f64, u32)> + '_ {
        let step = match self.until.hours_since(self.from) {
            hours if hours <= 13.0 => 1,
            hours if hours <= 26.0 => 2,
            hours if hours <= 50.0 => 3,
            hours if hours <= 100.0 => 6,
            _ => 12,
        };
        let hours = local::full_hours(self.zone, self.from, self.until + 1);
        hours
            .into_iter()
            .filter(move |(_, hour)| hour % step == 0)
            .map(|(at, hour)| (self.x(at), hour))
    }

    /// Names of the days, each where it begins, unless it has no room.
    pub(super) fn days(&self, svg: &mut Svg, y: f64) {
        let midnights = local::full_hours(self.zone, self.from + 1, self.until);
        let midnights = midnights.into_iter().filter(|(_, hour)| *hour == 0).map(|(at, _)| at);
        let starts: Vec<Instant> = std::iter::once(self.from).chain(midnights).collect();
        for (index, &start) in starts.iter().enumerate() {
            let end = starts.get(index + 1).copied().unwrap_or(self.until);
            let day = local::short_day(self.zone, start);
            let name = match local::hours_in_day(self.zone, local::date(self.zone, start)) {
                Some(24) | None => day,
                Some(hours) => format!("{day} · {hours} h"),
            };
            if self.x(end) - self.x(start) > 8.0 * name.chars().count() as f64 {
                svg.text("day", Anchor::Start, (self.x(start) + 5.0, y), &name);
            }
        }
    }

    /// Hours under the last plot.
    pub(super) fn hours(&self, svg: &mut Svg, y: f64) {
        for (x, hour) in self.marks() {
            svg.text("tick", Anchor::Middle, (x, y), &format!("{hour:02}:00"));
        }
    }
}

impl<'a> Frame<'a> {
    pub(super) fn new(time: &'a Timeline, scale: Scale, top: f64, height: f64) -> Self {
        Self { time, scale, top, height }
    }

    pub(super) fn bottom(&self) -> f64 {
        self.top + self.height
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.scale.low) / (self.scale.high - self.scale.low);
        self.bottom() - share.clamp(0.0, 1.0) * self.height
    }

    pub(super) fn point(&self, at: Instant, value: f64) -> (f64, f64) {
        (self.time.x(at), self.y(value))
    }

    /// Rules across and down, with the values at the left.
    pub(super) fn grid(&self, svg: &mut Svg, number: impl Fn(f64) -> String) {
        let (left, right) = (self.time.left, self.time.right);
        for &mark in &self.scale.marks {
            let y = self.y(mark);
            let class = if mark.abs() < 1e-9 { "zero" } else { "rule" };
            svg.line(class, (left, y), (right, y));
            svg.text("tick", Anchor::End, (left - 8.0, y + 4.0), &number(mark));
        }
        for (x, hour) in self.time.marks() {
            let class = if hour == 0 { "midnight" } else { "rule" };
            svg.line(class, (x, self.top), (x, self.bottom()));
        }
    }
}

impl Scale {
    /// A scale over values with about `marks` round marks, with some room at
    /// its ends as shares of the range.
    pub(super) fn around(low: f64, high: f64, marks: f64, (below, above): (f64, f64)) -> Self {
        let range = (high - low).max(1e-6);
        let step = round_step(range / marks);
        let low = low - below * range;
        let high = high + above * range;
        let first = (low / step).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        Self { low, high, marks: (first..=last).map(|i| i as f64 * step).collect() }
    }
}

/// The decimals that a scale's marks need.
pub(super) fn plain_number(value: f64) -> String {
    let decimals = i32::from((value - value.round()).abs() > 1e-6);
    text(value, decimals)
}

/// The smallest of 1, 2, 5 times a power of ten that is not below a number.
fn round_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|m| m * power)
        .find(|&s| s >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_within_the_scale() {
        let scale = Scale::around(-6.3, 38.8, 4.0, (0.1, 0.1));
        assert_eq!(scale.marks, [0.0, 20.0, 40.0]);
        assert!(scale.low <= -6.3 && scale.high >= 38.8);
        assert_eq!(Scale::around(0.0, 3.0, 3.0, (0.0, 0.0)).marks, [0.0, 1.0, 2.0, 3.0]);
    }

    #[test]
    fn values_that_never_change_still_have_a_scale() {
        let scale = Scale::around(5.0, 5.0, 4.0, (0.1, 0.1));
        assert!(scale.high > scale.low && scale.marks.len() < 10, "{scale:?}");
    }
}
