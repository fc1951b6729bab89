//! The judge of one input.

use std::collections::BTreeMap;

use optimiser::time::Instant;

use super::fault::{Kind, ReadingFault};
use super::limits::Limits;
use super::payload::{Raw, Shape};
use super::unit::{Quantity, Unit};

/// A clock may be off by this before it is called wrong [s].
const CLOCK_TOLERANCE_S: i64 = 60;

/// Readings that must agree, over at least a minute, before a jump is believed.
const WITNESSES: u32 = 3;

/// Numbers that devices send in place of a value, whatever they measure: the ends
/// of 16-bit registers, and what is left of them after a decimal factor.
const REGISTER_ENDS: [f64; 8] =
    [65_535.0, 6_553.5, 655.35, 32_767.0, -32_768.0, 3_276.7, -3_276.8, -999.0];

/// Temperatures that mean "no answer" on 1-wire and 8-bit probes [°C].
const NO_ANSWER_C: [f64; 3] = [-127.0, 127.0, 1_200.0];

/// Temperatures that a probe sends after power-up or in place of an absent one,
/// but that water may have as well [°C].
const DOUBTFUL_C: [f64; 2] = [85.0, 0.0];

/// How near the reading before must be to vouch for a doubtful one [K].
const NEIGHBOUR_K: f64 = 5.0;

/// A message on the topic of an input.
#[derive(Debug, Clone, Copy)]
pub struct Arrival<'a> {
    /// What it says.
    pub payload: &'a [u8],
    /// It was kept by the broker.
    pub retained: bool,
}

/// A reading that was believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Value in the unit of its [`Quantity`]; always finite and in range.
    pub value: f64,
    /// When it was measured.
    pub at: Instant,
    /// For a counter: what was added since the reading before [kWh].
    pub added: f64,
}

/// What became of a message.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// It is believed, perhaps with something to say.
    Accepted(Reading, Option<ReadingFault>),
    /// It is not.
    Refused(ReadingFault),
}

/// What is known of an input now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Freshness {
    /// Never heard.
    Missing,
    /// Recent enough to act on.
    Fresh(Reading),
    /// Too old to act on.
    Stale {
        /// The last one believed.
        last: Reading,
        /// Its age [s].
        age_s: i64,
    },
}

/// A value that is not believed yet, and how many readings speak for it.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    first: Reading,
    last: Reading,
    witnesses: u32,
}

/// The judge of one input.
#[derive(Debug, Clone)]
pub struct Gate {
    shape: Shape,
    unit: Unit,
    limits: Limits,
    last: Option<Reading>,
    last_stamp: Option<Instant>,
    /// Offset of the last stamp that was too old, and when it arrived.
    late: Option<(i64, Instant)>,
    candidate: Option<Candidate>,
    /// Value that the heat since then should have moved.
    still: Option<f64>,
    heat_kwh: f64,
    refused: BTreeMap<Kind, u64>,
}

impl Gate {
    /// A judge that has heard nothing yet.
    pub fn new(shape: Shape, unit: Unit, limits: Limits) -> Self {
        Self {
            shape,
            unit,
            limits,
            last: None,
            last_stamp: None,
            late: None,
            candidate: None,
            still: None,
            heat_kwh: 0.0,
            refused: BTreeMap::new(),
        }
    }

    /// Judges a message.
    pub fn accept(&mut self, now: Instant, arrival: Arrival<'_>) -> Verdict {
        match self.judge(now, arrival) {
            Ok((reading, note)) => {
                self.last = Some(reading);
                self.candidate = None;
                if self.still.is_none_or(|s| (reading.value - s).abs() > self.limits.noise) {
                    self.still = Some(reading.value);
                    self.heat_kwh = 0.0;
                }
                Verdict::Accepted(reading, note)
            }
            Err(fault) => {
                *self.refused.entry(fault.kind).or_default() += 1;
                Verdict::Refused(fault)
            }
        }
    }

    /// Heat went in that this input should show [kWh].
    pub fn heated(&mut self, kwh: f64) {
        self.heat_kwh += kwh.max(0.0);
    }

    /// Whether so much heat went in without the input moving, or without any word
    /// from it, that heating must stop. This does not wait for a message.
    pub fn is_heat_spent(&self) -> bool {
        self.limits.frozen_after_kwh.is_some_and(|limit| self.heat_kwh > limit)
    }

    /// What is known now.
    pub fn freshness(&self, now: Instant) -> Freshness {
        match self.last {
            None => Freshness::Missing,
            Some(last) => {
                let age_s = now - last.at;
                if (-CLOCK_TOLERANCE_S..=self.limits.max_age_s).contains(&age_s) {
                    Freshness::Fresh(last)
                } else {
                    Freshness::Stale { last, age_s }
                }
            }
        }
    }

    /// Whether it reads a counter.
    pub fn is_counter(&self) -> bool {
        self.unit.quantity == Quantity::Counter
    }

    /// How many messages were refused, by kind.
    pub fn refused(&self) -> &BTreeMap<Kind, u64> {
        &self.refused
    }

    fn judge(
        &mut self,
        now: Instant,
        arrival: Arrival<'_>,
    ) -> Result<(Reading, Option<ReadingFault>), ReadingFault> {
        let raw = self.shape.read(arrival.payload, now)?;
        let (at, note) = self.date(now, raw, arrival.retained)?;
        let reading = Reading { value: self.unit.convert(raw.number), at, added: 0.0 };
        self.refuse_sentinel(raw.number, reading)?;
        self.refuse_impossible(reading)?;
        let reading = self.follow(reading)?;
        self.refuse_frozen(reading)?;
        if note.is_none() {
            self.last_stamp = raw.time.or(self.last_stamp);
        }
        Ok((reading, note))
    }

    /// When it was measured, as far as that can be known.
    fn date(
        &mut self,
        now: Instant,
        raw: Raw,
        retained: bool,
    ) -> Result<(Instant, Option<ReadingFault>), ReadingFault> {
        let Some(stamp) = raw.time else {
            return if retained {
                let text = "it was kept by the broker and does not say when it was measured";
                Err(ReadingFault::new(Kind::RetainedOfUnknownAge, text))
            } else {
                Ok((now, None))
            };
        };
        let offset = stamp - now;
        let skewed = || {
            let text = format!("the device's clock says {stamp}, it is {now}");
            ReadingFault::new(Kind::SkewedClock, text)
        };
        if offset > CLOCK_TOLERANCE_S {
            return if retained { Err(skewed()) } else { Ok((now, Some(skewed()))) };
        }
        if self.last_stamp.is_some_and(|last| stamp <= last) {
            let text = format!("{stamp} is not newer than the reading before");
            return Err(ReadingFault::new(Kind::OutOfOrder, text));
        }
        if -offset > self.limits.max_age_s {
            // Messages that queued somewhere come in a burst and catch up; a clock
            // that is behind stays behind by the same time.
            let steady = !retained
                && self.late.is_some_and(|(before, arrived)| {
                    (offset - before).abs() <= 5 && now - arrived >= 10
                });
            self.late = Some((offset, now));
            if steady {
                return Ok((now, Some(skewed())));
            }
            let text = format!("it was measured {} min ago, at {stamp}", -offset / 60);
            return Err(ReadingFault::new(Kind::TooOld, text));
        }
        Ok((stamp.min(now), None))
    }

    fn refuse_sentinel(&self, number: f64, reading: Reading) -> Result<(), ReadingFault> {
        let value = reading.value;
        let is = |list: &[f64], x: f64| list.iter().any(|sentinel| (sentinel - x).abs() < 1e-9);
        let temperature = self.unit.quantity == Quantity::Temperature;
        if is(&REGISTER_ENDS, number) || temperature && is(&NO_ANSWER_C, value) {
            let text = format!("{number} is what devices send when they have no value");
            return Err(ReadingFault::new(Kind::Sentinel, text));
        }
        let neighbour = self.last.filter(|last| reading.at - last.at <= self.limits.max_age_s);
        let agrees = neighbour.is_some_and(|last| {
            (value - last.value).abs() <= NEIGHBOUR_K && self.is_within(last, reading)
        });
        if temperature && is(&DOUBTFUL_C, value) && !agrees {
            let text = format!(
                "exactly {value} °C is sent by probes at power-up or when absent, and the \
                 readings before do not lead there"
            );
            return Err(ReadingFault::new(Kind::Sentinel, text));
        }
        Ok(())
    }

    fn refuse_impossible(&self, reading: Reading) -> Result<(), ReadingFault> {
        let Limits { min, max, .. } = self.limits;
        let value = reading.value;
        if (min..=max).contains(&value) {
            return Ok(());
        }
        let fold = self.last.map_or(0.0, |last| (value / last.value).abs());
        if (300.0..3_000.0).contains(&fold) {
            let text = format!("{value} is {fold:.0} times the value before");
            return Err(ReadingFault::new(Kind::ThousandFold, text));
        }
        let text = format!("{value} is outside {min} to {max}");
        Err(ReadingFault::new(Kind::OutOfRange, text))
    }

    /// Checks that it can follow on the reading before, or has witnesses.
    fn follow(&mut self, reading: Reading) -> Result<Reading, ReadingFault> {
        let Some(last) = self.last else { return Ok(reading) };
        if self.is_within(last, reading) {
            let added = match self.unit.quantity {
                Quantity::Counter => (reading.value - last.value).max(0.0),
                _ => 0.0,
            };
            return Ok(Reading { added, ..reading });
        }
        let candidate = match self.candidate {
            Some(candidate) if self.is_within(candidate.last, reading) => {
                Candidate { last: reading, witnesses: candidate.witnesses + 1, ..candidate }
            }
            _ => Candidate { first: reading, last: reading, witnesses: 1 },
        };
        self.candidate = Some(candidate);
        // A counter that was reset must count before it is believed.
        let moves =
            self.unit.quantity != Quantity::Counter || reading.value > candidate.first.value;
        if candidate.witnesses >= WITNESSES && reading.at - candidate.first.at >= 60 && moves {
            return Ok(reading);
        }
        let (value, before) = (reading.value, last.value);
        if self.unit.quantity == Quantity::Counter && value < before {
            let text = format!("the counter went back from {before} to {value} kWh");
            return Err(ReadingFault::new(Kind::CounterReset, text));
        }
        let seconds = reading.at - last.at;
        let text = format!("from {before} to {value} in {seconds} s is faster than can be");
        Err(ReadingFault::new(Kind::TooSteep, text))
    }

    fn is_within(&self, before: Reading, reading: Reading) -> bool {
        let minutes = ((reading.at - before.at) as f64 / 60.0).max(0.0);
        let step = reading.value - before.value;
        let Limits { rise, fall, noise, .. } = self.limits;
        let back =
            if self.unit.quantity == Quantity::Counter { 0.0 } else { noise + fall * minutes };
        step <= noise + rise * minutes && step >= -back
    }

    fn refuse_frozen(&self, reading: Reading) -> Result<(), ReadingFault> {
        let stands = self.still.is_some_and(|s| (reading.value - s).abs() <= self.limits.noise);
        if stands && self.is_heat_spent() {
            let text = format!(
                "it stands at {} although {:.1} kWh of heat went in",
                reading.value, self.heat_kwh
            );
            return Err(ReadingFault::new(Kind::Frozen, text));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
