//! What a house remembers and was told, as plain data: the service's answer to
//! what a replay answers with its view.

use super::{Knowledge, Mark};
use crate::problem::Draw;
use crate::time::{Horizon, Slot};
use crate::units::{Energy, Flow, Price, Temperature};

/// A calendar of half-hours, from the past that is remembered to the last slot
/// that a forecast is asked for, with what is known of each. Every list has a
/// value for each slot; `None` is what nobody measured or published.
#[derive(Debug, Clone, PartialEq)]
pub struct Diary {
    /// Half-hours without gap.
    pub horizon: Horizon,
    /// Local time of each slot.
    pub marks: Vec<Mark>,
    /// Index of the slot that begins now.
    pub now: usize,
    /// Unit rates of import, as far as they are published.
    pub import_price: Vec<Option<Price>>,
    /// Unit rates of export, as far as they are published.
    pub export_price: Vec<Option<Price>>,
    /// PV energy as it was measured.
    pub pv: Vec<Option<Energy>>,
    /// Base load as it was measured, or agreed.
    pub base_load: Vec<Option<Energy>>,
    /// Litres at the tap from each store, `[store][slot]`.
    pub litres: Vec<Vec<Option<f64>>>,
    /// Temperature and flow of the last draw from each store.
    pub last_draw: Vec<Option<(Temperature, Flow)>>,
    /// Draws to come, by their start, where they are agreed in advance.
    pub agreed: Option<Vec<Draw>>,
}

impl Knowledge for Diary {
    fn now(&self) -> usize {
        self.now
    }

    fn slot(&self, index: usize) -> Slot {
        self.horizon.slots()[index]
    }

    fn mark(&self, index: usize) -> Mark {
        self.marks[index]
    }

    fn days_before(&self, slot: usize, days: usize) -> Option<usize> {
        let wanted = self.marks[slot].half_hour;
        let day = self.marks[slot].day - days as i32;
        // A local day may be an hour longer or shorter than others.
        let about = slot.checked_sub(48 * days)?;
        let around = about.saturating_sub(2)..(about + 3).min(self.marks.len());
        around.into_iter().find(|&k| self.marks[k].day == day && self.marks[k].half_hour == wanted)
    }

    fn stores(&self) -> usize {
        self.litres.len()
    }

    fn prices(&self, slot: usize) -> (Option<Price>, Option<Price>) {
        (self.import_price[slot], self.export_price[slot])
    }

    fn pv(&self, slot: usize) -> Option<Energy> {
        self.pv[slot]
    }

    fn base_load(&self, slot: usize) -> Option<Energy> {
        self.base_load[slot]
    }

    fn litres(&self, store: usize, slot: usize) -> Option<f64> {
        self.litres[store][slot].filter(|_| slot < self.now)
    }

    fn last_draw(&self, store: usize) -> Option<(Temperature, Flow)> {
        self.last_draw[store]
    }

    fn coming_draws(&self, slots: usize) -> Option<&[Draw]> {
        let agreed = self.agreed.as_deref()?;
        let last = self.now + slots - 1;
        let (from, until) = (self.slot(self.now).start(), self.slot(last).end());
        let first = agreed.partition_point(|draw| draw.start < from);
        let end = agreed.partition_point(|draw| draw.start < until);
        Some(&agreed[first..end])
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::{Caution, draws, prices, pv};
    use super::*;
    use crate::time::Instant;

    /// Forty days of memory and four to come, with a shower of 50 L at seven.
    pub(in crate::forecast) fn diary() -> Diary {
        let slots = 44 * 48;
        let horizon = Horizon::regular(Instant::from_unix(0), 1_800, slots).expect("half-hours");
        let mark = |slot: usize| Mark {
            day: (slot / 48) as i32,
            month: 0,
            weekend: matches!(slot / 48 % 7, 5 | 6),
            half_hour: (slot % 48) as u8,
        };
        let now = 40 * 48 + 12;
        let price = |slot: usize| {
            (slot < now + 36).then(|| Price::constant(if slot % 48 < 10 { 10.0 } else { 30.0 }))
        };
        Diary {
            marks: (0..slots).map(mark).collect(),
            now,
            import_price: (0..slots).map(price).collect(),
            export_price: (0..slots).map(price).collect(),
            pv: (0..slots).map(|slot| (slot < now).then(|| Energy::constant(0.2))).collect(),
            base_load: vec![None; slots],
            litres: vec![
                (0..slots).map(|slot| Some(if slot % 48 == 14 { 50.0 } else { 0.0 })).collect(),
            ],
            last_draw: vec![None],
            agreed: None,
            horizon,
        }
    }

    #[test]
    fn forecasts_from_a_diary_repeat_what_always_happened() {
        let diary = diary();
        let caution = Caution::default();
        let expected = draws(&diary, 96, &caution);
        let litres = |slot: usize| expected[slot].volume.litres();
        assert!((litres(2) - 50.0).abs() < 1e-9 && litres(3).abs() < 1e-9, "{expected:?}");
        assert!((litres(50) - 50.0).abs() < 1e-9);
        let coming = prices(&diary, 96).expect("prices are known");
        assert!(coming[35].published && !coming[36].published);
        let night = coming[37 + 48 - 12 + 12].import.per_kwh();
        assert!((10.0..=30.0).contains(&night), "{night}");
        assert!(pv(&diary, 96).iter().all(|e| (e.kwh() - 0.2).abs() < 1e-9));
    }
}
