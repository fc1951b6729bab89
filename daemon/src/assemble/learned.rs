//! What the house's own meters say about the coming slots.

use optimiser::forecast::{self, Caution, Correction, Knowledge, RECENT, Reserve};
use optimiser::problem::{Draw, Weights};
use optimiser::time::{Horizon, Instant, Series};
use optimiser::units::{Energy, Price};

use super::{Known, Learned};
use crate::house::House;

/// Days of measurement that a forecast is made of; fewer say too little
/// (common practice, no published source).
const PV_DAYS: usize = 3;
const LOAD_DAYS: usize = 7;
const DRAW_DAYS: usize = 14;

/// Half-hours of a day.
const DAY: usize = 48;

/// Share of half-hours that must be measured in those days.
const COMPLETE: f64 = 0.8;

impl Known {
    /// What was learned, if it is of this time.
    fn learned_at(&self, at: Instant) -> Option<&Learned> {
        let learned = self.learned.as_deref()?;
        let diary = &learned.diary;
        diary.slot(diary.now).contains(at).then_some(learned)
    }

    /// PV as the last days lead to expect it.
    pub(super) fn learned_pv(&self, all: &Horizon) -> Option<Vec<Energy>> {
        let Learned { diary, .. } = self.learned_at(all.start())?;
        let enough = is_enough(diary.now, PV_DAYS, |slot| diary.pv[slot].is_some());
        enough.then(|| onto(diary, &forecast::pv(diary, ahead(diary, all)), all))
    }

    /// Base load as the last weeks lead to expect it.
    pub(super) fn learned_load(&self, all: &Horizon) -> Option<Vec<Energy>> {
        let Learned { diary, .. } = self.learned_at(all.start())?;
        let enough = is_enough(diary.now, LOAD_DAYS, |slot| diary.base_load[slot].is_some());
        enough.then(|| onto(diary, &forecast::base_load(diary, ahead(diary, all)), all))
    }

    /// Draws from a store to be ready for.
    pub(super) fn learned_draws(&self, store: usize, all: &Horizon) -> Option<Vec<Draw>> {
        let Learned { diary, caution } = self.learned_at(all.start())?;
        let litres = &diary.litres[store];
        if !is_enough(diary.now, DRAW_DAYS, |slot| litres[slot].is_some()) {
            return None;
        }
        let expected = forecast::draws(diary, ahead(diary, all), caution).into_iter();
        let of_now = expected.filter(|draw| draw.store == store && draw.start < all.end());
        let some = of_now.filter(|draw| draw.volume.litres() > 0.1);
        // What was expected of this half-hour may still come.
        Some(some.map(|draw| Draw { start: draw.start.max(all.start()), ..draw }).collect())
    }

    /// What to keep for draws that nobody foresees, in the stores whose draws were
    /// learned.
    pub(super) fn learned_reserve(
        &self,
        house: &House,
        plan: (&Horizon, &Series<Price>),
        weights: &Weights,
    ) -> Reserve {
        let horizon = plan.0;
        let Some(Learned { diary, caution }) = self.learned_at(horizon.start()) else {
            return Reserve::default();
        };
        let is_learned = |store: usize| {
            is_enough(diary.now, DRAW_DAYS, |slot| diary.litres[store][slot].is_some())
        };
        if !(0..house.site.stores.len()).any(is_learned) {
            return Reserve::default();
        }
        let comfort = (Caution::ALLOWED, caution);
        let mut reserve =
            forecast::reserve(diary, &house.site, plan, weights, comfort, &house.state.stores);
        reserve.guards.retain(|guard| is_learned(guard.heater.store));
        reserve.ready.retain(|ready| is_learned(ready.store));
        reserve
    }

    /// A forecast of PV put right by the last hours; `past` is what it said of the
    /// half-hours of [`Known::recent`].
    pub(super) fn corrected_pv(
        &self,
        stated: &mut [Energy],
        past: &[Option<Energy>],
        all: &Horizon,
    ) {
        let Some(Learned { diary, .. }) = self.learned_at(all.start()) else { return };
        let recent = diary.pv[diary.now - RECENT..diary.now].iter().zip(past);
        let pairs = recent.filter_map(|(was, said)| Some(((*was)?.kwh(), (*said)?.kwh())));
        let (was, said) = pairs.fold((0.0, 0.0), |(a, b), (was, said)| (a + was, b + said));
        let correction = Correction::of_pv(was, said);
        for (energy, slot) in stated.iter_mut().zip(all.slots()) {
            let hours = slot.start().hours_since(all.start());
            *energy = Energy::clamped(energy.kwh() * correction.at(hours));
        }
    }

    /// The half-hours just gone by, if their measurements are known.
    pub(super) fn recent(&self, at: Instant) -> Option<Horizon> {
        let Learned { diary, .. } = self.learned_at(at)?;
        Horizon::new(diary.horizon.slots()[diary.now - RECENT..diary.now].to_vec()).ok()
    }
}

fn is_enough(now: usize, days: usize, is_known: impl Fn(usize) -> bool) -> bool {
    let span = days * DAY;
    let known = (now.saturating_sub(span)..now).filter(|slot| is_known(*slot)).count();
    known as f64 >= COMPLETE * span as f64
}

/// Half-hours from now to the end of the slots.
fn ahead(diary: &forecast::Diary, all: &Horizon) -> usize {
    let most = diary.horizon.len() - diary.now;
    diary.horizon.slots()[diary.now..]
        .iter()
        .take_while(|s| s.start() < all.end())
        .count()
        .min(most)
}

/// Half-hours from now on, on other slots.
fn onto(diary: &forecast::Diary, half_hours: &[Energy], all: &Horizon) -> Vec<Energy> {
    let coming = &diary.horizon.slots()[diary.now..];
    let on_slot = |slot: &optimiser::time::Slot| {
        let shares = coming.iter().zip(half_hours).map(|(half_hour, energy)| {
            energy.kwh() * half_hour.overlap_seconds(*slot) as f64 / half_hour.seconds() as f64
        });
        Energy::clamped(shares.sum())
    };
    all.slots().iter().map(on_slot).collect()
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use optimiser::time::Slot;

    use super::*;
    use crate::assemble::assemble;
    use crate::service::learning::{Drawn, Logbook, Logged};
    use crate::site_file;

    const SITE: &str = include_str!("../../../fixtures/sites/mill-cottage.toml");

    fn at(half_hours: i64) -> Instant {
        // Midnight in Dublin, a Thursday.
        Instant::from_unix(1_768_435_200 + half_hours * 1_800)
    }

    /// Days with 0.3 kWh of load in every half-hour and a shower of 60 L at eleven.
    fn known(house: &House, days: i64) -> Known {
        let mut logbook = Logbook::default();
        for index in -days * 48..0 {
            let litres = if index.rem_euclid(48) == 22 { 60.0 } else { 0.0 };
            let drawn = vec![Some(Drawn { litres, cold: 0.0 })];
            let logged = Logged { pv: None, load: Some(0.3), drawn };
            logbook.note(Slot::new(at(index), at(index + 1)).expect("a slot"), logged, house);
        }
        let learned = logbook.learned(house, at(0)).expect("half-hours");
        Known { learned: Some(Arc::new(learned)), ..Known::default() }
    }

    #[test]
    fn what_was_measured_is_planned_with_after_a_while() {
        let house = site_file::read(SITE, "site").expect("a good site").house;
        let planned = |days| assemble(&house, &known(&house, days), at(0)).expect("a problem");
        let stated = planned(2);
        assert!((stated.problem.base_load[5].kwh() - 0.125).abs() < 1e-9, "the site's 0.25 kW");
        assert!(stated.problem.draws.iter().all(|draw| draw.start != at(22)));
        let learned = planned(20);
        assert!((learned.problem.base_load[5].kwh() - 0.3).abs() < 1e-9);
        let litres: Vec<(Instant, f64)> = learned
            .problem
            .draws
            .iter()
            .filter(|draw| draw.start < at(48))
            .map(|draw| (draw.start, draw.volume.litres()))
            .collect();
        assert_eq!(litres.len(), 1, "{litres:?}");
        assert!(litres[0].0 == at(22) && (litres[0].1 - 60.0).abs() < 0.1, "{litres:?}");
        assert!(learned.notes.iter().any(|note| note.contains("expected from what was drawn")));
        // What was learned of another time is not used.
        let late = assemble(&house, &known(&house, 20), at(5)).expect("a problem");
        assert!((late.problem.base_load[5].kwh() - 0.125).abs() < 1e-9);
    }

    // Half of the sun that was forecast came: less is planned with, and the more of
    // it again the later.
    #[test]
    fn a_forecast_of_sun_is_put_right_by_the_last_hours() {
        let house = site_file::read(SITE, "site").expect("a good site").house;
        let mut logbook = Logbook::default();
        for index in -6..0 {
            let logged = Logged { pv: Some(0.5), load: None, drawn: vec![None] };
            logbook.note(Slot::new(at(index), at(index + 1)).expect("a slot"), logged, &house);
        }
        let learned = Arc::new(logbook.learned(&house, at(0)).expect("half-hours"));
        let known = Known { learned: Some(learned), ..Known::default() };
        let all = Horizon::regular(at(0), 1_800, 48).expect("slots");
        let mut stated = vec![Energy::constant(1.0); 48];
        known.corrected_pv(&mut stated, &[Some(Energy::constant(1.0)); 6], &all);
        assert!((stated[0].kwh() - 0.5).abs() < 1e-9);
        // The error fades with a time constant of 4 h: after 4 h 1 - 0.5/e.
        assert!((stated[8].kwh() - (1.0 - 0.5 * (-1.0_f64).exp())).abs() < 1e-9);
        assert!(stated[47].kwh() > 0.99);
    }
}
