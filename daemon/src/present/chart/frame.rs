//! Where instants and values lie in the picture.

use chrono_tz::Tz;
use optimiser::time::Instant;

use super::{Anchor, Svg};
use crate::present::digits::text;
use crate::present::local;
use crate::present::scale::Scale;

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
        self.bottom() - self.scale.share(value) * self.height
    }

    pub(super) fn point(&self, at: Instant, value: f64) -> (f64, f64) {
        (self.time.x(at), self.y(value))
    }

    /// Rules across and down, with the values at the left.
    pub(super) fn grid(&self, svg: &mut Svg, number: impl Fn(f64) -> String) {
        let (left, right) = (self.time.left, self.time.right);
        for &mark in self.scale.marks() {
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

/// The decimals that a scale's marks need.
pub(super) fn plain_number(value: f64) -> String {
    let decimals = i32::from((value - value.round()).abs() > 1e-6);
    text(value, decimals)
}
