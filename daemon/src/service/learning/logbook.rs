//! The half-hours that are remembered.

use std::collections::BTreeMap;

use chrono::NaiveTime;
use optimiser::forecast::{Caution, Diary, MEMORY_DAYS, Readiness};
use optimiser::time::{Horizon, Instant, Slot};
use optimiser::units::{Energy, Temperature};
use serde::{Deserialize, Serialize};

use super::drawn::Drawn;
use super::meters::{HALF_HOUR_S, edge};
use crate::assemble::{Learned, mark};
use crate::house::House;
use crate::local_time::time_of_day;
use crate::service::archive::{self, Archive, ArchiveError, Record};

/// Half-hours that are remembered: as long as forecasts look back, and a day.
const KEPT: i64 = (MEMORY_DAYS as i64 + 1) * 48;

/// Half-hours that a forecast is asked for at most.
const AHEAD: i64 = 5 * 48;

/// Half-hours that caution is learned from.
const FORTNIGHT: usize = 14 * 48;

/// Name and version of the caution among what is learned.
const CAUTION: (&str, u32) = ("caution", 2);

/// A half-hour as it was measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Logged {
    /// PV energy [kWh].
    pub pv: Option<f64>,
    /// Energy of the house without its heaters [kWh].
    pub load: Option<f64>,
    /// What was drawn from each store.
    pub drawn: Vec<Option<Drawn>>,
}

/// What is kept of [`Caution`].
#[derive(Serialize, Deserialize)]
struct CautionForm {
    target: f64,
    share: f64,
}

/// The half-hours that are remembered, and the caution learned from them.
#[derive(Debug, Default)]
pub struct Logbook {
    half_hours: BTreeMap<Instant, Logged>,
    caution: Caution,
    readiness: Readiness,
}

impl Logbook {
    /// Remembers what the archive holds.
    ///
    /// # Errors
    /// If the archive cannot be read.
    pub fn recall(archive: &Archive, house: &House, now: Instant) -> Result<Self, ArchiveError> {
        let mut logbook = Self::default();
        let stores = house.site.stores.len();
        let Some(span) = Slot::new(edge(now) + -KEPT * HALF_HOUR_S, now) else {
            return Ok(logbook);
        };
        let mut fill = |name: &str, set: &dyn Fn(&mut Logged, f64)| -> Result<(), ArchiveError> {
            for (at, value) in archive.readings(name, span)? {
                let empty = || Logged { drawn: vec![None; stores], ..Logged::default() };
                set(logbook.half_hours.entry(at).or_insert_with(empty), value);
            }
            Ok(())
        };
        fill(PV, &|logged, value| logged.pv = Some(value))?;
        fill(LOAD, &|logged, value| logged.load = Some(value))?;
        for (index, store) in house.site.stores.iter().enumerate() {
            fill(&litres(&store.name), &|logged, value| {
                logged.drawn[index] = Some(Drawn { litres: value, cold: 0.0 });
            })?;
            fill(&cold(&store.name), &|logged, value| {
                if let Some(drawn) = &mut logged.drawn[index] {
                    drawn.cold = value;
                }
            })?;
        }
        if let Some(json) = archive.learned(CAUTION.0, CAUTION.1)?
            && let Ok(form) = serde_json::from_str::<CautionForm>(&json)
        {
            logbook.caution = Caution { target: form.target, share: form.share, ..logbook.caution };
        }
        Ok(logbook)
    }

    /// Notes a half-hour that is over; what is to be kept of it. With the last of a
    /// local day, caution is learned.
    pub fn note(&mut self, slot: Slot, logged: Logged, house: &House) -> Vec<Record> {
        let at = slot.start();
        let reading = |input: String, value| Record::Reading { input, at, value };
        let mut records: Vec<Record> = Vec::new();
        records.extend(logged.pv.map(|kwh| reading(PV.to_owned(), kwh)));
        records.extend(logged.load.map(|kwh| reading(LOAD.to_owned(), kwh)));
        for (store, drawn) in house.site.stores.iter().zip(&logged.drawn) {
            let Some(Drawn { litres: all, cold: part }) = drawn else { continue };
            records.push(reading(litres(&store.name), *all));
            if *part > 0.0 {
                records.push(reading(cold(&store.name), *part));
            }
        }
        self.half_hours.insert(at, logged);
        self.half_hours = self.half_hours.split_off(&(at + -KEPT * HALF_HOUR_S));
        if time_of_day(slot.end(), house.time_zone) == NaiveTime::MIN {
            records.extend(self.learn_caution(slot.end(), house));
        }
        records
    }

    /// Notes the layers of each store, from bottom to top, as a half-hour begins.
    pub fn stands(&mut self, now: Instant, stores: Vec<Vec<Temperature>>) {
        self.readiness.note(edge(now), stores);
    }

    fn learn_caution(&mut self, at: Instant, house: &House) -> Option<Record> {
        let fortnight = self.half_hours.values().rev().take(FORTNIGHT);
        let drawn = fortnight.flat_map(|logged| logged.drawn.iter().flatten());
        let (all, part) =
            drawn.fold((0.0, 0.0), |(all, part), drawn| (all + drawn.litres, part + drawn.cold));
        if all <= 0.0 {
            return None;
        }
        self.caution.adapt(all, part, Caution::ALLOWED);
        let learned = self.learned(house, at)?;
        if let Some(expected) = self.readiness.expected_cold(&learned.diary, &house.site) {
            self.caution.foresee(expected, Caution::ALLOWED);
        }
        let Caution { target, share, .. } = self.caution;
        Some(Record::Learned(archive::Learned {
            name: CAUTION.0.to_owned(),
            version: CAUTION.1,
            json: serde_json::to_string(&CautionForm { target, share }).ok()?,
            at,
        }))
    }

    /// What is learned, for a plan made now; nothing before the first half-hour.
    pub fn learned(&self, house: &House, now: Instant) -> Option<Learned> {
        let first = edge(now) + -KEPT * HALF_HOUR_S;
        self.half_hours.range(first..).next()?;
        let count = KEPT + AHEAD;
        let horizon = Horizon::regular(first, HALF_HOUR_S, usize::try_from(count).ok()?).ok()?;
        let starts = || horizon.slots().iter().map(|slot| slot.start());
        let mut logged: Vec<Option<&Logged>> = vec![None; horizon.len()];
        for (at, own) in self.half_hours.range(first..) {
            if let Some(place) = horizon.index_at(*at) {
                logged[place] = Some(own);
            }
        }
        let energy = |of: fn(&Logged) -> Option<f64>| {
            logged.iter().map(|own| own.and_then(of).map(Energy::clamped)).collect()
        };
        let stores = house.site.stores.len();
        let litres = |store: usize| {
            let drawn = |logged: &Logged| logged.drawn.get(store).copied().flatten();
            logged.iter().map(|own| Some(own.and_then(drawn)?.litres)).collect()
        };
        let diary = Diary {
            marks: starts().map(|at| mark(at, house.time_zone)).collect(),
            now: usize::try_from(KEPT).ok()?,
            import_price: vec![None; horizon.len()],
            export_price: vec![None; horizon.len()],
            pv: energy(|logged| logged.pv),
            base_load: energy(|logged| logged.load),
            litres: (0..stores).map(litres).collect(),
            last_draw: vec![None; stores],
            agreed: None,
            horizon,
        };
        Some(Learned { diary, caution: self.caution })
    }
}

const PV: &str = "half-hour/pv";
const LOAD: &str = "half-hour/load";

fn litres(store: &str) -> String {
    format!("half-hour/litres/{store}")
}

fn cold(store: &str) -> String {
    format!("half-hour/cold/{store}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site_file;

    const SITE: &str = include_str!("../../../../fixtures/sites/mill-cottage.toml");

    fn house() -> House {
        site_file::read(SITE, "site").expect("a good site").house
    }

    fn at(half_hours: i64) -> Instant {
        // Midnight in Dublin, a Thursday.
        Instant::from_unix(1_768_435_200 + half_hours * HALF_HOUR_S)
    }

    fn filled(house: &House, half_hours: i64, cold: f64) -> (Logbook, Vec<Record>) {
        let mut logbook = Logbook::default();
        let mut records = Vec::new();
        for index in -half_hours..0 {
            let of_day = index.rem_euclid(48);
            let litres = if of_day == 14 { 60.0 } else { 0.0 };
            let drawn = Drawn { litres, cold: cold * litres };
            let pv = if (20..30).contains(&of_day) { 0.4 } else { 0.0 };
            let logged = Logged { pv: Some(pv), load: Some(0.1), drawn: vec![Some(drawn)] };
            let slot = Slot::new(at(index), at(index + 1)).expect("a half-hour");
            records.extend(logbook.note(slot, logged, house));
        }
        (logbook, records)
    }

    #[test]
    fn what_is_noted_is_known_at_its_local_time_and_survives_a_restart() {
        let house = house();
        let (logbook, records) = filled(&house, 20 * 48, 0.0);
        let learned = logbook.learned(&house, at(0) + 600).expect("twenty days");
        let draws = optimiser::forecast::draws(&learned.diary, 48, &learned.caution);
        let shower = draws.iter().find(|draw| draw.volume.litres() > 1.0).expect("a draw");
        assert_eq!(shower.start, at(14));
        assert!((shower.volume.litres() - 60.0).abs() < 1e-6, "{shower:?}");
        let pv = optimiser::forecast::pv(&learned.diary, 48);
        assert!((pv[25].kwh() - 0.4).abs() < 1e-9 && pv[10].kwh().abs() < 1e-9, "{pv:?}");

        let folder = std::env::temp_dir().join(format!("stowheat-logbook-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let (mut archive, _) = Archive::open(&folder.join("a.sqlite"), at(0)).expect("an archive");
        archive.write(&records).expect("a disk");
        let recalled = Logbook::recall(&archive, &house, at(0) + 600).expect("readable");
        assert_eq!(recalled.half_hours, logbook.half_hours);
        assert_eq!(recalled.caution, logbook.caution);
        std::fs::remove_dir_all(&folder).expect("our own folder");
    }

    #[test]
    fn cold_showers_make_cautious_and_warm_ones_bold() {
        let house = house();
        let usual = Caution::default().target;
        assert!(filled(&house, 10 * 48, 0.1).0.caution.target < usual);
        assert!(filled(&house, 10 * 48, 0.0).0.caution.target > usual);
    }
}
