//! Everything that happens over a period, on slots of half an hour.

use std::collections::BTreeMap;
use std::ops::Range;

use super::surroundings::Surroundings;
use crate::forecast::Mark;
use crate::problem::{Draw, Ready};
use crate::time::{Horizon, Instant, TimeError};
use crate::units::{Energy, Price, Temperature};
use crate::water::heat_kwh;

/// Length of a slot of a replay [s].
pub const SLOT_SECONDS: i64 = 1_800;

/// A pasteurisation that must be repeated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HygieneRule {
    /// Index of the store.
    pub store: usize,
    /// Temperature of the coldest water.
    pub temperature: Temperature,
    /// How long it must hold [s].
    pub hold_seconds: i64,
    /// Longest time between two holds [s].
    pub every_seconds: i64,
}

/// What somebody in the house could say in advance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is known or not, apart from the others")]
pub struct Foreknown {
    /// Draws follow the list in the site file.
    pub draws: bool,
    /// The base load follows the steps in the site file.
    pub base_load: bool,
    /// The sun is known; only to measure what its forecast costs.
    pub pv: bool,
    /// Prices are known however far ahead; only to measure what theirs costs.
    pub prices: bool,
}

/// The parts of a [`Timeline`]; every series has a value for each slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Half-hours without gap.
    pub horizon: Horizon,
    /// Local time of each slot.
    pub marks: Vec<Mark>,
    /// Unit rate of import; `None` where the price is missing.
    pub import_price: Vec<Option<Price>>,
    /// Unit rate of export; `None` where the price is missing.
    pub export_price: Vec<Option<Price>>,
    /// When the prices of each slot became known.
    pub published: Vec<Instant>,
    /// Energy the PV could give.
    pub pv: Vec<Energy>,
    /// Energy of the rest of the house.
    pub base_load: Vec<Energy>,
    /// Draws, in any order.
    pub draws: Vec<Draw>,
    /// Promises, in any order.
    pub ready: Vec<Ready>,
    /// Pasteurisations.
    pub hygiene: Vec<HygieneRule>,
    /// What is known in advance.
    pub foreknown: Foreknown,
    /// The slots that are replayed; earlier ones are memory.
    pub judged: Range<usize>,
    /// Mains temperature of each store.
    pub mains: Vec<Temperature>,
}

/// Why parts do not make a timeline.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TimelineError {
    /// A series does not fit the slots.
    #[error(transparent)]
    Series(#[from] TimeError),
    /// The slots are not half-hours.
    #[error("slot {0} is not half an hour long")]
    NotHalfHours(usize),
    /// Too little lies behind the period for the last plans.
    #[error("the period ends {0} slots before the end of the calendar; {need} are needed", need = super::LOOK_AHEAD)]
    TooShort(usize),
    /// The period holds no slot.
    #[error("there is no slot to replay")]
    Empty,
}

/// A period, ready to be replayed.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    record: Record,
    /// What a plant room meets.
    pub(super) surroundings: Surroundings,
    /// Litres at the tap in each slot, `[store][slot]`.
    litres: Vec<Vec<f64>>,
    /// The first slot of each store with a draw: what was drawn before is not known. The
    /// first of all where nothing is ever drawn.
    drawn_from: Vec<usize>,
    /// Slots at each local half-hour of the day, rising.
    at_half_hour: Vec<Vec<usize>>,
    /// Place of each slot in its row of `at_half_hour`.
    place: Vec<usize>,
}

impl Timeline {
    /// Takes a record.
    ///
    /// # Errors
    /// If a series does not fit the slots, or the period is empty or too close
    /// to the end of the calendar.
    pub fn new(mut record: Record) -> Result<Self, TimelineError> {
        let slots = record.horizon.len();
        for (what, values) in [
            ("the calendar", record.marks.len()),
            ("the import price", record.import_price.len()),
            ("the export price", record.export_price.len()),
            ("the publication", record.published.len()),
            ("the PV", record.pv.len()),
            ("the base load", record.base_load.len()),
        ] {
            if values != slots {
                return Err(TimeError::Length { what, values, slots }.into());
            }
        }
        if let Some(odd) = record.horizon.slots().iter().position(|s| s.seconds() != SLOT_SECONDS) {
            return Err(TimelineError::NotHalfHours(odd));
        }
        if record.judged.is_empty() {
            return Err(TimelineError::Empty);
        }
        let behind = slots.saturating_sub(record.judged.end);
        if behind < super::LOOK_AHEAD {
            return Err(TimelineError::TooShort(behind));
        }
        record.draws.sort_by_key(|draw| (draw.start, draw.store));
        record.ready.sort_by_key(|ready| (ready.by, ready.store));
        let mut litres = vec![vec![0.0; slots]; record.mains.len()];
        for draw in &record.draws {
            if let (Some(row), Some(slot)) =
                (litres.get_mut(draw.store), record.horizon.index_at(draw.start))
            {
                row[slot] += draw.volume.litres();
            }
        }
        let first = |row: &Vec<f64>| row.iter().position(|own| *own > 0.0).unwrap_or(0);
        let drawn_from = litres.iter().map(first).collect();
        let mut at_half_hour = vec![Vec::new(); 48];
        let mut place = Vec::with_capacity(slots);
        for (slot, mark) in record.marks.iter().enumerate() {
            let row = &mut at_half_hour[usize::from(mark.half_hour.min(47))];
            place.push(row.len());
            row.push(slot);
        }
        Ok(Self {
            record,
            surroundings: Surroundings::default(),
            litres,
            drawn_from,
            at_half_hour,
            place,
        })
    }

    /// The same with the replayed slots beginning elsewhere.
    ///
    /// # Errors
    /// If none are left, or there are not so many.
    pub fn beginning(&self, slot: usize) -> Result<Self, TimelineError> {
        let record = Record { judged: slot..self.record.judged.end, ..self.record.clone() };
        Ok(Self::new(record)?.with_surroundings(self.surroundings.clone()))
    }

    /// The parts.
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// The same with other things known in advance.
    #[must_use]
    pub fn with_foreknown(mut self, foreknown: Foreknown) -> Self {
        self.record.foreknown = foreknown;
        self
    }

    /// The slots that are replayed.
    pub fn judged(&self) -> Range<usize> {
        self.record.judged.clone()
    }

    /// Import and export price of each replayed slot where known, else the mean of those
    /// known at its time of day, else of all.
    pub(super) fn usual_prices(&self) -> Vec<(Price, Price)> {
        let Record { import_price, export_price, marks, .. } = &self.record;
        let usual = |prices: &[Option<Price>]| -> Vec<Price> {
            let mean = |half_hour: Option<u8>| {
                let own = self
                    .judged()
                    .filter(|&slot| half_hour.is_none_or(|own| marks[slot].half_hour == own));
                let (sum, count) = own
                    .filter_map(|slot| prices[slot])
                    .fold((0.0, 0.0), |(sum, count), price| (sum + price.per_kwh(), count + 1.0));
                (count > 0.0).then(|| Price::clamped(sum / count))
            };
            let mut means = BTreeMap::new();
            let all = mean(None).unwrap_or(Price::constant(0.0));
            self.judged()
                .map(|slot| {
                    prices[slot].unwrap_or_else(|| {
                        let at = marks[slot].half_hour;
                        *means.entry(at).or_insert_with(|| mean(Some(at)).unwrap_or(all))
                    })
                })
                .collect()
        };
        usual(import_price).into_iter().zip(usual(export_price)).collect()
    }

    /// Litres drawn in each slot from a store.
    pub(crate) fn litres(&self, store: usize) -> &[f64] {
        &self.litres[store]
    }

    /// Litres drawn in a slot from a store, if that is known.
    pub(crate) fn measured_litres(&self, store: usize, slot: usize) -> Option<f64> {
        (slot >= self.drawn_from[store]).then(|| self.litres[store][slot])
    }

    /// The slot at the same local time a number of days before.
    pub(crate) fn days_before(&self, slot: usize, days: usize) -> Option<usize> {
        let row = &self.at_half_hour[usize::from(self.record.marks[slot].half_hour.min(47))];
        self.place[slot].checked_sub(days).map(|place| row[place])
    }

    /// Draws that begin in a range of slots.
    pub(crate) fn draws_in(&self, slots: Range<usize>) -> &[Draw] {
        let (from, until) = self.span(slots);
        let draws = &self.record.draws;
        let first = draws.partition_point(|draw| draw.start < from);
        let last = draws.partition_point(|draw| draw.start < until);
        &draws[first..last]
    }

    /// Promises that fall due after the start of a range and by its end.
    pub(crate) fn ready_in(&self, slots: Range<usize>) -> &[Ready] {
        let (from, until) = self.span(slots);
        let ready = &self.record.ready;
        let first = ready.partition_point(|ready| ready.by <= from);
        let last = ready.partition_point(|ready| ready.by <= until);
        &ready[first..last]
    }

    fn span(&self, slots: Range<usize>) -> (Instant, Instant) {
        let all = self.record.horizon.slots();
        let end = slots.end.min(all.len());
        (all[slots.start].start(), all[end - 1].end())
    }

    /// Heat drawn from a store in a slot [kWh].
    pub(crate) fn draw_heat(&self, store: usize, slot: usize) -> f64 {
        let mains = self.record.mains[store];
        let draws = self.draws_in(slot..slot + 1).iter().filter(|d| d.store == store);
        draws.map(|d| heat_kwh(d.volume.litres(), d.temperature.above(mains))).sum()
    }
}
